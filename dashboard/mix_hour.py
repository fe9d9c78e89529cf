"""Before you mix: what this hour and the next 24 are like at a spot, for a coat of one card. Pure: facts and a time.

Whatever cannot be known, because a probe is silent, in doubt or not there, is never "mix now".
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np

from collector.reading import silent_after_ms
from dashboard import unknown
from dashboard.assessment import Assessment, Passing
from dashboard.course import trend_of
from dashboard.facts import Facts
from dashboard.film import dew_now
from dashboard.follow import Trace
from dashboard.outlooks import dew_outlook, panel_outlook, panel_samples
from dashboard.panel import Panel
from model.blocks import MINUTE_MS, Blocks, Floats
from model.blush import AIR_ONLY_K
from model.burner import burnings
from model.calibration import Calibration, calibrate, card_members
from model.decide import not_known
from model.history import HOUR_MS, Samples, minute_blocks
from model.members import PROBE_SD_K
from model.mix_hours import FOLLOWED_H, Start, first_hours, latest_start, start_at, surface_rh
from model.mix_now import LEAST_MARGIN_K, Answer, Conditions, Reason, mix_advice
from model.resin_card import Milestone, ResinCard
from model.verdict import Kind, Say, Verdict
from model.what_if import LatestMixing

AHEAD_H = 24
MEMBERS, RIBBON_MEMBERS = 256, 64
"""Hours to come are forecasts: their range needs no more."""
JUST_MS = 30 * MINUTE_MS
"""Wood that warmed in the last half hour is taken to go on like that for an hour (our own choice)."""
BURNT_H = 2.0
LEAST_TRUST_MS = 3 * MINUTE_MS
"""An answer is never good for less than this past its newest reading."""

Onto = Literal["wood", "foam", "other"]
"""What the coat goes onto: bare wood, bare foam, or anything that neither breathes nor drinks."""


def onto_of(panel: Panel) -> Onto:
    """What the next coat of a panel goes onto, as far as the panel tells."""
    if panel.coats:
        return "other"
    return "wood" if panel.substrate == "wood" else "foam" if panel.substrate == "foam" else "other"


@dataclass(frozen=True)
class Asked:
    """What only the person at the bench can tell. None: nobody looked.

    bottles_C   temperature of resin and hardener, degC; wood_pc  moisture of bare wood, % of its dry mass
    cloudy, crusted   the resin is grainy or cloudy; the hardener is crusted or was long open
    """

    onto: Onto = "other"
    bottles_C: float | None = None
    wood_pc: float | None = None
    cloudy: bool = False
    crusted: bool = False


@dataclass(frozen=True)
class Cold:
    """The next 24 h against the card's minimum, as likely: hours under it, the coldest degC and when (UTC ms)."""

    under_h: float
    coldest_C: float
    coldest_at: int


@dataclass(frozen=True)
class Now:
    """What is measured now. None: not measured. trend as course.trend_of()."""

    panel_C: float
    trend: str
    air_C: float | None
    air_rh: float | None
    dew_C: float | None
    margin_K: float | None
    surface_rh_pc: float | None


@dataclass(frozen=True)
class Choice:
    """One start of the ribbon: what a film mixed then would meet, and whether to mix it."""

    start: Start
    answer: Answer
    reasons: tuple[Reason, ...]


@dataclass(frozen=True)
class MixHour:
    """The answer for `at` (UTC ms) and everything it rests on.

    unheard    why nothing can be said of now; then answer and all below are None or empty
    choices    now, then every full hour of the next 24
    latest, by_cold   the latest mixing time; whether the cold ends it, not the margin. None: margin not known
    good_until   past it the answer is "not known" again, UTC ms; None: there is none to expire
    film       what the panel's newest coat asks for first, where it cannot take another now: that comes before the hour
    best       first and last start of the best stretch among the choices, UTC ms; None: no hour will do
    shut_by    when the recoat window of the film below may shut, UTC ms; None: there is none to keep
    """

    at: int
    card: ResinCard
    asked: Asked
    readings_to: int | None
    unheard: Verdict | None = None
    now: Now | None = None
    answer: Answer | None = None
    reasons: tuple[Reason, ...] = ()
    choices: tuple[Choice, ...] = ()
    latest: LatestMixing | None = None
    by_cold: bool = False
    best: tuple[Choice, Choice] | None = None
    cold: Cold | None = None
    air_only: bool = False
    good_until: int | None = None
    film: Verdict | None = None
    shut_by: int | None = None

    @property
    def room_C(self) -> float | None:
        """What a pot stands in, degC: the warmer of air and panel; None: neither is measured."""
        if self.now is None:
            return None
        return self.now.panel_C if self.now.air_C is None else max(self.now.panel_C, self.now.air_C)


def mix_hour(facts: Facts, card: ResinCard, asked: Asked, at: int, *, ahead_h: int = AHEAD_H) -> MixHour:
    """The answer at `at` (UTC ms). ahead_h: how many full hours to look at after now, 0 to AHEAD_H."""
    trace = facts.temperature
    unheard = unknown.unheard(facts.panel, trace, at)
    last = trace.last_usable(at) if trace else None
    if unheard is not None or trace is None:
        return MixHour(at, card, asked, last, unheard)
    samples = panel_samples(facts, trace, at)
    ahead = first_hours(panel_outlook(facts, samples, at)[0], AHEAD_H + FOLLOWED_H)
    now, dew = _now(facts, samples, at), _dew_ahead(facts, at, len(ahead))
    less_K = AIR_ONLY_K if facts.surface is None else 0.0
    calibration = _film(card, MEMBERS, trace.half_width_from(at) / 2.0)
    known = now.dew_C is not None
    latest, by_cold = latest_start(calibration, ahead, dew, air_only_K=less_K) if known else (None, False)
    first = _choice(start_at(calibration, ahead, dew, at, air_only_K=less_K), card, asked)
    first = _as_measured(first, now, samples, facts, card, asked, at)
    few = _film(card, RIBBON_MEMBERS, PROBE_SD_K)
    later = [
        _choice(start_at(few, ahead, dew, hour, air_only_K=less_K), card, asked)
        for hour in _hours(at, ahead_h)
    ]
    choices = (first, *later)
    return MixHour(
        at, card, asked, last, None, now, first.answer, first.reasons, choices, latest, by_cold, best(choices),
        _cold(ahead, card.minimum_C), facts.surface is None, _good_until(trace, last or at, first.answer, latest),
    )  # fmt: skip


FILM = (Milestone.RECOAT_FROM, Milestone.RECOAT_UNTIL, Milestone.SAND)
"""What tells when a film takes the next coat."""
COATS = frozenset({"planned", "recoatable", "recoatable_last", "sanded"})
"""Headlines of a panel that can take a coat now."""


def after_film(hour: MixHour, film: Verdict | None) -> MixHour:
    """The same hour over a panel that has coats; film: its own verdict, None where none is valid.

    A film that cannot be coated now comes first: the hour alone is never a "mix now" over it.
    """
    if film is None:
        unknown_yet = not_known(Say("not_worked_out"), (Say("why_not_worked_out"),))
        return replace(hour, answer=None, unheard=hour.unheard or unknown_yet)
    if hour.answer is None:
        return hour
    if film.headline.key in COATS:
        said = [say.values["shut_by"] for say in (film.headline, *film.why) if "shut_by" in say.values]
        return replace(hour, shut_by=int(said[0])) if said else hour
    return replace(hour, answer=None if film.kind is Kind.NOT_KNOWN else Answer.NOT_YET, film=film)


def over_panel(hour: MixHour, panel: Panel, item: Assessment | None, now: int) -> MixHour:
    """after_film() of what watch last said of the panel, as far as that still holds at `now` (UTC ms)."""
    if item is None or item.is_old(now) or not item.is_of(panel):
        return after_film(hour, None)
    ends = [end for end in (hour.good_until, item.good_until) if end is not None]
    over = after_film(hour, item.verdict)
    if over.film is not None or over.shut_by is not None:
        over = over_film(over, item.milestones)
    return replace(over, good_until=min(ends))


def over_film(hour: MixHour, milestones: Iterable[Passing]) -> MixHour:
    """The same hour with starts that fit the film below: in its window, or, sanded first, past the slow end of that.

    milestones   of the film; what is not among them never comes
    """
    if hour.film is not None and hour.film.kind is Kind.NOT_KNOWN:
        return replace(hour, choices=hour.choices[:1], best=None)
    passings = {one.name: one for one in milestones}
    opens, shuts, sand = (passings.get(one.value) for one in FILM)
    shut_by = hour.shut_by if hour.shut_by is not None else shuts.early if shuts else None

    def fit(choice: Choice) -> Choice:
        at = choice.start.at_ms
        if choice.answer is Answer.NOT_YET:
            return choice
        if _since(opens, at) and shut_by is not None and at < shut_by:
            washed_first = hour.film is not None and hour.film.kind is Kind.CARE
            return replace(choice, answer=Answer.MIX_IF) if washed_first else choice
        return replace(choice, answer=Answer.MIX_IF if _since(sand, at) else Answer.NOT_YET)

    choices = tuple(fit(choice) for choice in hour.choices)
    return replace(hour, choices=choices, best=best(choices))


def _since(one: Passing | None, at: int) -> bool:
    """Whether even the slow end of the range has passed it by then."""
    return one is not None and one.late is not None and one.late <= at


def best(choices: tuple[Choice, ...]) -> tuple[Choice, Choice] | None:
    """First and last of the stretch of equally good starts around the one whose film keeps the widest margin."""
    for answer in (Answer.MIX_NOW, Answer.MIX_IF):
        fit = [index for index, choice in enumerate(choices) if choice.answer is answer]
        if fit:
            first = last = max(fit, key=lambda index: _kept(choices[index].start))
            while first - 1 in fit:
                first -= 1
            while last + 1 in fit:
                last += 1
            return choices[first], choices[last]
    return None


@lru_cache(maxsize=64)
def _film(card: ResinCard, members: int, probe_sd_K: float) -> Calibration:
    """A card's range; the same for every minute."""
    return calibrate(card, card_members(card, members, probe_sd_K))


def _good_until(trace: Trace, last: int, answer: Answer, latest: LatestMixing | None) -> int:
    """The latest mixing time while the answer is "mix now", or when a reading must have come, whichever is sooner."""
    trusted = last + max(silent_after_ms(trace.interval_s), LEAST_TRUST_MS)
    if answer is not Answer.MIX_NOW or latest is None or latest.latest_ms is None:
        return trusted
    return min(trusted, latest.latest_ms)


def _kept(start: Start) -> tuple[float, float]:
    margin = start.least_margin_K if start.least_margin_K is not None else -np.inf
    return margin, start.coldest_C


def _now(facts: Facts, samples: Samples, at: int) -> Now:
    panel, dew = float(samples.value[-1]), dew_now(facts, at)
    surface = panel - (AIR_ONLY_K if facts.surface is None else 0.0)
    return Now(
        panel_C=panel,
        trend=trend_of(samples, at),
        air_C=facts.air.value_at(at) if facts.air else None,
        air_rh=facts.humidity.value_at(at) if facts.humidity else None,
        dew_C=dew,
        margin_K=None if dew is None else surface - dew,
        surface_rh_pc=None if dew is None else surface_rh(surface, dew),
    )


def _dew_ahead(facts: Facts, at: int, minutes: int) -> Floats:
    """The dew point of the coming minutes, degC: as forecast; NaN if it is not measured now."""
    dew = dew_outlook(facts, at, minutes / 60.0)
    return np.full(minutes, np.nan) if dew is None else dew.central


def _choice(start: Start, card: ResinCard, asked: Asked) -> Choice:
    answer, reasons = mix_advice(_conditions(start, card, asked))
    return Choice(start, answer, reasons)


def _conditions(start: Start, card: ResinCard, asked: Asked) -> Conditions:
    late = None
    if start.closes_ms is not None and start.margin_K is not None and start.margin_K >= LEAST_MARGIN_K:
        late = LatestMixing(None, start.closes_ms, start.closes_ms, start.tack_free_ms)
    bare = asked.onto == "wood"
    return Conditions(
        now_ms=start.at_ms,
        panel_C=start.panel_C,
        minimum_C=card.minimum_C,
        maximum_C=card.maximum_C,
        coldest_C=start.coldest_C,
        margin_K=start.margin_K,
        surface_rh_pc=start.surface_rh_pc,
        bottles_C=asked.bottles_C,
        cloudy=asked.cloudy,
        crusted=asked.crusted,
        wood_moisture_pc=asked.wood_pc if bare else None,
        wood_rise_K=start.rise_K if bare else None,
        latest=late,
    )


def _as_measured(
    first: Choice, now: Now, samples: Samples, facts: Facts, card: ResinCard, asked: Asked, at: int
) -> Choice:
    """The start that is now, with what was measured in place of what was forecast."""
    begun, was = np.interp([at, at - JUST_MS], samples.t, samples.value)
    an_hour_K = float(begun - was) * HOUR_MS / JUST_MS
    start = replace(
        first.start,
        panel_C=now.panel_C,
        margin_K=now.margin_K,
        surface_rh_pc=now.surface_rh_pc,
        rise_K=max(first.start.rise_K, an_hour_K),
    )
    answer, reasons = mix_advice(replace(_conditions(start, card, asked), burnt_ms=_burnt(facts, at)))
    return Choice(start, answer, reasons)


def _burnt(facts: Facts, at: int) -> int | None:
    """When something last burned without a flue, in the last two hours; UTC ms."""
    if facts.air is None or facts.humidity is None:
        return None
    begin = at - round(BURNT_H * HOUR_MS)
    if not (len(facts.air.samples) and len(facts.humidity.samples)):
        return None
    air, moist = (
        minute_blocks(trace.samples, trace.interval_s, begin, at, 0.0)
        for trace in (facts.air, facts.humidity)
    )
    found = burnings(
        np.where(air.measured, air.central, np.nan),
        np.where(moist.measured, np.minimum(moist.central, 100.0), np.nan),
    )
    return air.start + found[-1].from_minute * MINUTE_MS if found else None


def _hours(at: int, count: int) -> list[int]:
    """The full hours after `at`, UTC ms."""
    first = -(-(at + 1) // HOUR_MS) * HOUR_MS
    return [first + number * HOUR_MS for number in range(count)]


def _cold(ahead: Blocks, minimum_C: float) -> Cold:
    day = ahead.central[: AHEAD_H * 60]
    coldest = int(np.argmin(day))
    return Cold(
        float(np.count_nonzero(day < minimum_C)) / 60.0,
        float(day[coldest]),
        ahead.start + coldest * MINUTE_MS,
    )
