"""Follows one coat through the temperatures it had and those it is likely to have: its range and its middle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from dashboard.facts import last_start_of, start_of
from dashboard.lot_known import LotKnown
from dashboard.mix_fault import fault_of
from dashboard.panel import Coat
from dashboard.settled import NOTHING_SETTLED, CoatSettled, Strand
from model.blocks import Blocks, Floats
from model.calibration import Calibration, calibrate, card_central, card_members
from model.coat import Course, Path, courses
from model.coat_kinds import CoatKind, Rules, rules_of
from model.members import Weights, quantile
from model.milestones import Passing, Reached, passings
from model.observation import Learned, Touch, learn, soft_age_h, suspected_since, touch
from model.pot import PotModel, pot_model
from model.resin_card import CLOSING, Milestone, ResinCard

YOUNG_UNTIL = 1.8
"""A film is young until its equivalent age is so many times the sheet's "recoat from"."""


@dataclass(frozen=True)
class CoatCourse:
    """One coat: its range on each path, the card's own single member, and where it stands now.

    paths, middle  from its start on, or from where what is settled of it ends
    last, first  the same from its last pot and from its first, range and middle together
    conversion, age_h   of the middle of the range now
    learned      what thumb tests, and the lot, did to the range; weights: the same, None if nothing did
    felt         the touches by their place among the coat's thumb tests
    soft_h       the age, h, that a suspected mix is held to
    suspect_since   when the slow end had passed the softness that a thumb still finds, UTC ms; None: not suspected
    aged_from    end of the first minute in which the film is no longer young, UTC ms; None: beyond the outlook
    rate_range   the coat's rate over the card's, 10, 50 and 90 %
    conversion_range, age_range_h, glass_transition_C   10, 50 and 90 % now
    """

    coat: Coat
    card: ResinCard
    paths: Mapping[Path, Course]
    central: Calibration
    middle: Course
    last: Mapping[Path, Course]
    first: Mapping[Path, Course]
    passings: Mapping[Milestone, Passing]
    learned: Learned
    weights: Weights | None
    felt: Mapping[int, Touch]
    soft_h: float | None
    suspect_since: int | None
    aged_from: int | None
    conversion: float
    age_h: float
    conversion_range: tuple[float, float, float]
    rate_range: tuple[float, float, float]
    age_range_h: tuple[float, float, float]
    glass_transition_C: tuple[float, float, float]

    @property
    def quick_rate(self) -> float:
        """The rate of the quick end over the card's; no thumb makes a pot's life longer."""
        calibration = self.paths["central"].calibration
        return max(self.rate_range[2], float(quantile(calibration.rate, 0.9)))


@dataclass(frozen=True)
class _Calibrated:
    """A card's range, the one coat that does what the card says, and both as one, to be followed in one go."""

    range: Calibration
    central: Calibration
    both: Calibration


@lru_cache(maxsize=64)
def _calibrated(card: ResinCard, probe_sd_K: float) -> _Calibrated:
    members, one = card_members(card, probe_sd_K=probe_sd_K), card_central(card)
    return _Calibrated(calibrate(card, members), calibrate(card, one), calibrate(card, members.joined(one)))


def range_of(card: ResinCard, accuracy_K: float) -> Calibration:
    """The card's range, for a probe of this accuracy (95 % half-width)."""
    return _calibrated(card, accuracy_K / 2.0).range


@lru_cache(maxsize=64)
def pot_of(card: ResinCard) -> PotModel:
    """The card's resin in bulk."""
    return pot_model(calibrate(card, card_central(card)))


def range_part(whole: Course, of: Calibration) -> Course:
    """The course of the range, of all that was followed together."""
    return _part(whole, of, slice(len(of.members)))


def _part(whole: Course, calibration: Calibration, members: slice) -> Course:
    """The course of some of the members that were followed together."""
    return replace(
        whole,
        calibration=calibration,
        remaining=whole.remaining[:, members],
        conversion=whole.conversion[:, members],
        age_h=whole.age_h[:, members],
    )


def follow_coat(
    coat: Coat,
    card: ResinCard,
    whole: Blocks,
    at: int,
    accuracy_K: float,
    lot: LotKnown | None = None,
    settled: CoatSettled | None = None,
) -> CoatCourse:
    """The coat's course over `whole`, history and outlook, and where it stands at `at` (UTC ms).

    A coat of several pots closes by the first and becomes ready by the last. lot: what others have taught of its lot.
    settled: of what came before `whole`.
    """
    of, so_far = _calibrated(card, accuracy_K / 2.0), settled or NOTHING_SETTLED
    starts = start_of(coat, card), last_start_of(coat, card)
    last = _resumed(of.both, whole, starts[1], so_far.last)
    first = last if starts[0] == starts[1] else _resumed(of.both, whole, starts[0], so_far.first)
    paths = {path: range_part(item, of.range) for path, item in last.items()}
    eldest = paths if first is last else {path: range_part(item, of.range) for path, item in first.items()}
    middle = _part(last["central"], of.central, slice(len(of.range.members), None))
    # Nobody knows whose film a thumb met: taken for the first pot's, it never makes the last one ready too soon.
    felt = touches_of(coat, eldest["central"], at, so_far.felt)
    learned, touches = told_by(coat, of.range, felt, lot)
    weights = learned.weights if touches or learned.on_lot else None
    soft_h = soft_age_h(of.range, touches)
    passed = _passings(coat, (paths, so_far.last), (eldest, so_far.first), at, weights)
    low, likely, high = _ends(paths, at, learned.weights.likely)
    return CoatCourse(
        coat=coat,
        card=card,
        paths=paths,
        central=of.central,
        last=last,
        first=first,
        learned=learned,
        weights=weights,
        felt=felt,
        soft_h=soft_h,
        suspect_since=None
        if soft_h is None
        else so_far.soft_since or suspected_since(eldest["central"], soft_h),
        aged_from=so_far.aged_from or aged_from(middle, card),
        rate_range=_three(quantile(of.range.rate, (0.1, 0.5, 0.9), learned.weights.likely)),
        middle=middle,
        passings=passed,
        conversion=likely[0],
        age_h=likely[1],
        conversion_range=(low[0], likely[0], high[0]),
        age_range_h=(low[1], likely[1], high[1]),
        glass_transition_C=(low[2], likely[2], high[2]),
    )


def coat_rules(coat: Coat) -> Rules:
    return rules_of(CoatKind(coat.kind), coat.peel_ply, coat.taped)


def _resumed(of: Calibration, whole: Blocks, start: int, strand: Strand | None) -> dict[Path, Course]:
    return courses(of, whole, start, None if strand is None else strand.states)


_Followed = tuple[Mapping[Path, Course], Strand | None]


def _passings(
    coat: Coat, last: _Followed, first: _Followed, at: int, weights: Weights | None
) -> dict[Milestone, Passing]:
    def of(followed: _Followed) -> dict[Milestone, Passing]:
        paths, strand = followed
        before = {} if strand is None else {path: reached_on(strand, path) for path in paths}
        return passings(paths, at, weights, coat_rules(coat), before)

    passed = of(last)
    if first[0] is not last[0]:
        passed |= {milestone: passing for milestone, passing in of(first).items() if milestone in CLOSING}
    return passed


def reached_on(strand: Strand, path: Path) -> Reached:
    """On that path; without a gap so far all are the central one."""
    return strand.reached.get(path, strand.reached["central"])


def aged_from(middle: Course, card: ResinCard) -> int | None:
    """End of the first minute in which the film is no longer young, UTC ms."""
    row = int(np.searchsorted(middle.age_h[:, 0], YOUNG_UNTIL * card.film.recoat_from.middle, "right"))
    return int(middle.t_ms[row]) if row < len(middle) else None


def told_by(
    coat: Coat, of: Calibration, felt: Mapping[int, Touch], lot: LotKnown | None = None
) -> tuple[Learned, list[Touch]]:
    """What was learned of a coat from its touches, by their place among its thumb tests, and from which of them: from
    those that are sure. One that is not may still contradict.

    A pot that was mixed wrongly teaches its card nothing, and a lot says nothing of it.
    """
    if fault_of(coat, of.card):
        return learn(of, []), []
    before = None if lot is None else lot.weights(of.members, of.card)
    sure = [item for i, item in felt.items() if coat.thumb_tests[i].sure]
    learned = learn(of, sure, lot=before)
    if len(sure) == len(felt):
        return learned, sure
    every = learn(of, list(felt.values()))
    return replace(learned, disagrees=every.disagrees, torn=every.torn), sure


def touches_of(
    coat: Coat, central: Course, at: int, before: Mapping[int, Touch] | None = None
) -> dict[int, Touch]:
    """The coat's thumb tests up to `at`, by their place; none of its first minute: nothing stands then.

    before  those that were felt before the course resumes
    """
    found = {}
    for i, test in enumerate(coat.thumb_tests):
        if before is not None and i in before:
            found[i] = before[i]
        elif test.at <= at and central.row(test.at) >= 0:
            found[i] = touch(central, test.at, *test.words, coupon_C=test.tile_C)
    return found


def _ends(paths: Mapping[Path, Course], at: int, weights: Floats) -> list[tuple[float, float, float]]:
    """(conversion, equivalent age in h, Tg in degC) at `at` for the slow end, the middle and the quick end."""
    ends: tuple[tuple[Path, float], ...] = (("cold", 0.1), ("central", 0.5), ("hot", 0.9))
    found = []
    for path, q in ends:
        of = paths.get(path, paths["central"])
        state = of.state(at)
        conversion = 1.0 - state.u
        found.append(
            (
                float(quantile(conversion, q, weights)),
                float(quantile(state.age_h, q, weights)),
                float(quantile(of.calibration.glass_transition(conversion), q, weights)),
            )
        )
    return found


def _three(values: Floats) -> tuple[float, float, float]:
    low, middle, high = (float(value) for value in values)
    return low, middle, high
