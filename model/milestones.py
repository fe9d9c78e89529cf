"""When a coat passes its milestones, as shares of the range: what "open", "ready" and "closed" rest on.

A fixed conversion is the wrong rule past vitrification, where everything lies in a tail of logarithmic
time; equivalent age alone is too early after warming; Tg less temperature alone says "sandable" the moment
the heater goes off. So the late milestones ask for age and for a glassiness like the sheet's, both.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from model.blocks import MINUTE_MS, Bools, Floats
from model.coat import HOUR_MS, QUARTER_MS, Course, Path
from model.coat_kinds import PLAIN, Rules
from model.kinetics import acceleration
from model.members import Weights
from model.resin_card import CLOSING, Milestone

RECOAT_LIMIT_H = 24.0
"""No recoat window outlives this, whatever the sheet and the cold say (common practice, no source)."""
DEMOULD_LOOKAHEAD_H = 48.0

SAFE_SHARE: Mapping[Milestone, float] = {
    Milestone.WORKING: 0.10,
    Milestone.RECOAT_FROM: 0.93,
    Milestone.TACK_FREE: 0.90,
    Milestone.RECOAT_UNTIL: 0.05,
    Milestone.TRIM_UNTIL: 0.10,
    Milestone.SAND: 0.90,
    Milestone.DEMOULD: 0.95,
    Milestone.CURED: 0.90,
    Milestone.TRIM_FROM: 0.90,
    Milestone.CARVE_FROM: 0.90,
    Milestone.CARVE_UNTIL: 0.10,
    Milestone.TAPE_UNTIL: 0.10,
    Milestone.PEEL_PLY_OFF: 0.90,
    Milestone.CLAMPS_OFF: 0.95,
}
"""Share of the range that must have passed before we say so: nearly all to open, hardly any to close.

The recoat window opens a little later than the rest: the start of the reaction may have an energy of its own,
which no sheet gives. With 0.90 one in six simulated films of such a resin was called open too early.
"""

_SOFT = frozenset({Milestone.TRIM_FROM, Milestone.CARVE_FROM})
"""Milestones of a film that has gelled and is not hard yet."""
_BEARING = frozenset({Milestone.DEMOULD, Milestone.CLAMPS_OFF})
"""Milestones past which it bears its load, also when it warms."""
_LATCHED = CLOSING | _SOFT | {Milestone.RECOAT_FROM, Milestone.CURED}
"""Conversion and age never fall, so these stay passed; tack-free, sand and demould can be lost by warming."""
_CHUNK = 512


@dataclass(frozen=True)
class Passing:
    """When 10, 50 and 90 % of the range have passed a milestone; UTC ms, None beyond the outlook.

    passed  share that has passed it at the time asked about, 0 to 1
    safe    when SAFE_SHARE of the range has passed it: the time a headline may promise
    What can be lost again by warming counts from when it was last gained.
    """

    milestone: Milestone
    early: int | None
    likely: int | None
    late: int | None
    passed: float
    safe: int | None

    @property
    def is_past(self) -> bool:
        """Passed, seen from the safe side."""
        return self.passed >= SAFE_SHARE[self.milestone]


@dataclass(frozen=True)
class Reached:
    """What the minutes of one path up to `t_ms` (UTC ms, all past) leave for the course that resumes there.

    share   of the members, likely and claimed, that have passed a milestone at the end of the last of them
    when    by milestone, claimed or likely, and share: when that share was reached, UTC ms; None: not, or lost again
    """

    t_ms: int
    share: Mapping[Milestone, tuple[float, float]]
    when: Mapping[tuple[Milestone, bool, float], int | None]


def reached(
    course: Course,
    until_ms: int,
    weights: Weights | None = None,
    rules: Rules = PLAIN,
    before: Reached | None = None,
) -> Reached | None:
    """Of the minutes that have ended by `until_ms` (UTC ms), all past; before: of those before the course's first.

    With it passings() of the course resumed there answers as of the whole, to the same bits. None before the first.
    """
    rows = course.row(until_ms) + 1
    if rows <= 0:
        return before
    past = course.first(rows)
    of = _shares(past, weights, rules, rows)
    wanted = [
        (m, claimed, q)
        for m in of
        for claimed, q in ((False, 0.1), (False, 0.5), (False, 0.9), (True, SAFE_SHARE[m]))
    ]
    return Reached(
        int(past.t_ms[-1]),
        {
            milestone: (float(shares.likely[-1]), float(shares.claimed[-1]))
            for milestone, shares in of.items()
        },
        {(m, claimed, q): _when(m, past, of[m], claimed, q, until_ms, before) for m, claimed, q in wanted},
    )


def passings(
    courses: Mapping[Path, Course],
    now_ms: int,
    weights: Weights | None = None,
    rules: Rules = PLAIN,
    before: Mapping[Path, Reached] | None = None,
) -> dict[Milestone, Passing]:
    """Every milestone of all coats that the card gives (tack-free always), and those that the rules of the coat's
    kind add, from its course on one or three paths.

    With three paths the answer is their envelope: early from the earliest, late from the latest, and the
    share passed at `now_ms` (UTC ms) the greatest for what closes, the least for what opens. weights of the
    members, equal if None: the range by `likely`; `passed` and `safe` by the later of `likely` and `cautious`
    for what opens, by the earlier of `likely` and equal weights for what closes: no thumb keeps a window open.
    Times are rounded to the minute: down for what closes, up for what opens. In longer rows of the outlook
    they are interpolated, good to a few minutes. before: by path, from reached(), for courses that were resumed.
    """
    shares = {
        path: _shares(course, weights, rules, max(course.row(now_ms), 0)) for path, course in courses.items()
    }
    return {
        milestone: _envelope(
            milestone, courses, {path: of[milestone] for path, of in shares.items()}, now_ms, before or {}
        )
        for milestone in shares["central"]
    }


@dataclass(frozen=True)
class _Shares:
    """Share of the members that have passed a milestone at the end of each row, float64 (n,): for the range shown,
    and for what may be claimed.
    """

    likely: Floats
    claimed: Floats


def _envelope(
    milestone: Milestone,
    courses: Mapping[Path, Course],
    shares: Mapping[Path, _Shares],
    now_ms: int,
    before: Mapping[Path, Reached],
) -> Passing:
    def at(path: Path, claimed: bool, q: float) -> int | None:
        return _when(milestone, courses[path], shares[path], claimed, q, now_ms, before.get(path))

    closes = milestone in CLOSING
    passed = [
        _passed(milestone, courses[path], of.claimed, now_ms, before.get(path)) for path, of in shares.items()
    ]
    safe = [at(path, True, SAFE_SHARE[milestone]) for path in shares]
    return Passing(
        milestone,
        early=_earliest(at(path, False, 0.1) for path in shares),
        likely=at("central", False, 0.5),
        late=_latest(at(path, False, 0.9) for path in shares),
        passed=max(passed) if closes else min(passed),
        safe=_earliest(safe) if closes else _latest(safe),
    )


def _earliest(times: Iterable[int | None]) -> int | None:
    return min((time for time in times if time is not None), default=None)


def _latest(times: Iterable[int | None]) -> int | None:
    known = list(times)
    return None if None in known else max(time for time in known if time is not None)


def _passed(
    milestone: Milestone, course: Course, share: Floats, now_ms: int, before: Reached | None
) -> float:
    """Share at `now_ms`: for what opens at the last minute that ended, for what closes one minute ahead."""
    row = course.row(now_ms) + (milestone in CLOSING)
    if row < 0 or not len(share):
        return 0.0 if before is None else before.share[milestone][1]
    return float(share[min(row, len(share) - 1)])


def _when(
    milestone: Milestone,
    course: Course,
    shares: _Shares,
    claimed: bool,
    q: float,
    now_ms: int,
    before: Reached | None,
) -> int | None:
    share, begin = shares.claimed if claimed else shares.likely, 0
    done = None if before is None else before.when[milestone, claimed, q]
    if milestone not in _LATCHED:
        below = np.flatnonzero(share[: course.row(now_ms) + 1] < q)
        if len(below):
            begin, done = int(below[-1]) + 1, None
    if done is not None:
        return done
    reached = np.flatnonzero(share[begin:] >= q)
    if not len(reached):
        return None
    row = begin + int(reached[0])
    end = int(course.t_ms[row])
    if row or before is not None:  # rows of the outlook are longer than a minute
        since, left = _row_before(milestone, course, share, claimed, row, before)
        left_ms = (float(share[row]) - q) / (float(share[row]) - left) * (end - since)
        end -= math.floor(left_ms / MINUTE_MS) * MINUTE_MS
    return end if milestone not in CLOSING else max(end - MINUTE_MS, course.start_ms)


def _row_before(
    milestone: Milestone, course: Course, share: Floats, claimed: bool, row: int, before: Reached | None
) -> tuple[int, float]:
    """Where the row before this one ended, UTC ms, and the share then."""
    if row or before is None:
        return int(course.t_ms[row - 1]), float(share[row - 1])
    return before.t_ms, before.share[milestone][claimed]


OF_EVERY_COAT = (
    frozenset(Milestone)
    - _SOFT
    - {
        Milestone.CARVE_UNTIL,
        Milestone.TAPE_UNTIL,
        Milestone.PEEL_PLY_OFF,
        Milestone.CLAMPS_OFF,
    }
)


def _wanted(course: Course, rules: Rules) -> list[Milestone]:
    film = course.calibration.card.film
    of_all = {m for m in OF_EVERY_COAT if film.gives(m)} | {Milestone.TACK_FREE}
    return [milestone for milestone in Milestone if milestone in of_all | rules.more]


def _shares(
    course: Course, weights: Weights | None, rules: Rules, ahead_from: int
) -> dict[Milestone, _Shares]:
    """ahead_from: the first row that is asked what the panel will be; those before it are over."""
    wanted, sooner = _wanted(course, rules), _sooner(course, rules)
    likely = {milestone: np.zeros(len(course)) for milestone in wanted}
    claimed = likely if weights is None else {milestone: np.zeros(len(course)) for milestone in wanted}
    hottest = _hottest_ahead(course, ahead_from)
    # Cut at `ahead_from` too: only what follows it looks ahead.
    cuts = sorted({*range(0, len(course), _CHUNK), min(ahead_from, len(course)), len(course)})
    for begin, end in pairwise(cuts):
        rows = slice(begin, end)
        ahead = hottest if begin >= ahead_from else None
        for milestone, passed in _passed_members(course, rows, wanted, ahead, sooner).items():
            likely[milestone][rows] = _share(passed, weights.likely if weights else None)
            if weights is None:
                continue
            shown = likely[milestone][rows]
            if milestone in CLOSING:
                claimed[milestone][rows] = np.maximum(shown, _share(passed, None))
            else:
                claimed[milestone][rows] = np.minimum(shown, _share(passed, weights.cautious))
    return {milestone: _Shares(likely[milestone], claimed[milestone]) for milestone in wanted}


def _share(passed: Bools, weights: Floats | None) -> Floats:
    """Share of the weight in each row that is True."""
    if weights is None:
        return np.asarray(np.count_nonzero(passed, axis=1) / passed.shape[1])
    return np.asarray(np.minimum((passed * (weights / weights.sum())).sum(axis=1), 1.0))


def _passed_members(
    course: Course, rows: slice, wanted: Iterable[Milestone], hottest: Floats | None, sooner: Floats | float
) -> dict[Milestone, Bools]:
    """Whether each member has passed, bool (rows, N): the rule of each milestone.

    hottest the panel in the hours after each quarter from the first row that looks ahead on; None: rows that are over

    sooner  how many times faster it ages where something closes, (N,) or 1
    """
    calibration, conversion, age = course.calibration, course.conversion[rows], course.age_h[rows]
    temperature, transition = course.temperature(rows), course.glass_transition(rows)
    gelled = conversion >= calibration.law.gel
    answer: dict[Milestone, Bools] = {}
    for milestone in wanted:
        hours = calibration.hours(milestone) or 0.0
        if milestone is Milestone.RECOAT_FROM:
            answer[milestone] = gelled
        elif milestone is Milestone.TACK_FREE:
            answer[milestone] = gelled & (transition >= calibration.needed_transition(milestone, temperature))
        elif milestone is Milestone.CURED:
            answer[milestone] = conversion >= calibration.conversion[milestone]
        elif milestone in CLOSING:
            answer[milestone] = age * sooner >= hours
            if milestone is Milestone.RECOAT_UNTIL:
                too_long = course.t_ms[rows] >= course.start_ms + RECOAT_LIMIT_H * HOUR_MS
                answer[milestone] |= too_long[:, np.newaxis]
        elif milestone in _SOFT:
            answer[milestone] = gelled & (age >= hours)
        else:
            warm = temperature
            if milestone in _BEARING and hottest is not None:
                quarter = _quarters(course)
                warm = np.maximum(temperature, hottest[quarter[rows] - quarter[-1] - 1])
            answer[milestone] = (age >= hours) & (
                transition >= calibration.needed_transition(milestone, warm)
            )
    return answer


def _sooner(course: Course, rules: Rules) -> Floats | float:
    """A coat warmer inside than its panel ages faster there: at the sheet's temperature, by each member's energy."""
    if not rules.warmer_K:
        return 1.0
    reference = course.calibration.card.reference_C
    return acceleration(reference + rules.warmer_K, course.calibration.members.E_J_mol, reference)


def _quarters(course: Course) -> NDArray[np.int64]:
    """Number of the quarter of an hour, in UTC, that each row lies in."""
    return np.asarray((course.t_ms - 1) // QUARTER_MS)


def _hottest_ahead(course: Course, first: int) -> Floats:
    """Hottest panel of the next 48 h as far as the outlook goes, degC (rows, N) by quarters of an hour up to the last;
    from row `first` on.

    A sliding maximum by doubling, over quarters: row by row it would cost more than the whole cure.
    """
    if first >= len(course):
        return np.empty((0, len(course.calibration.members)))
    quarter = _quarters(course)[first:]
    starts = np.searchsorted(quarter, np.arange(quarter[0], quarter[-1] + 1))
    hottest = course.calibration.temperature(
        np.maximum.reduceat(course.panel_C[first:], starts),
        np.maximum.reduceat(course.spread_K[first:], starts),
    )
    window, wanted = 1, round(DEMOULD_LOOKAHEAD_H * HOUR_MS / QUARTER_MS)
    while window < min(wanted, len(starts)):
        step = min(window, wanted - window)
        ahead = hottest.copy()
        np.maximum(hottest[:-step], hottest[step:], out=ahead[:-step])
        hottest, window = ahead, window + step
    return hottest
