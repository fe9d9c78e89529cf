"""From what a record rests on to its numbers: pure, so that anybody can work them out again from the same JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from collector.reading import Quantity, silent_after_ms
from dashboard import stays
from dashboard.cards import CardFileError, card_of, digest_of
from dashboard.course import DATUM_C, PanelCourse, follow_panel
from dashboard.devices import probe_logs
from dashboard.doubts import matters, spans
from dashboard.facts import Facts, last_start_of, start_of
from dashboard.film import first_minute
from dashboard.fold import fold, told, withdrawn
from dashboard.follow import Trace
from dashboard.mix_fault import off_ratio
from dashboard.panel import Coat, Event, Panel, Pot
from dashboard.record.results import CoatResult, DecisionFits, FilmMet, Gap, Numbers, Passed, Poured, Results
from dashboard.record.traces import traces
from dashboard.record.used import RecordError, Used
from model.coat import HOUR_MS
from model.milestones import Passing
from model.mix import hardener_off_percent
from model.resin_card import Milestone, ResinCard

AHEAD = frozenset({Milestone.DEMOULD, Milestone.CLAMPS_OFF})
"""What these ask for depends on the two days that follow: what was said of them stands with the decision."""


@dataclass(frozen=True)
class Life:
    """A panel's facts up to a record's end, and its coats one by one.

    known_to   the newest usable reading, or `at` while the probe speaks; None: nothing was ever measured
    covered_at by coat, when the next one lay on it; washed_at, when it was washed before that
    """

    facts: Facts
    at: int
    known_to: int | None
    covered_at: tuple[int | None, ...]
    washed_at: tuple[int | None, ...]

    @property
    def silent(self) -> tuple[Gap, ...]:
        """What a silent probe did not see at the end."""
        return ((self.known_to, self.at),) if self.known_to is not None and self.known_to < self.at else ()


def life_of(used: Used) -> Life:
    """The panel as its events leave it, and its probes as they were corrected. Raises RecordError without the panel."""
    panel = fold(used.events).get(used.panel)
    if panel is None:
        raise RecordError(f"nothing among the record's entries registers the panel {used.panel!r}")
    cards = {name: card for name, text in used.cards.items() if (card := _card(name, text)) is not None}
    ask = partial(_trace, used)
    facts = Facts(
        panel,
        cards,
        surface=stays.surface(panel, ask),
        air=stays.air(panel, Quantity.TEMPERATURE, ask),
        humidity=stays.air(panel, Quantity.RELATIVE_HUMIDITY, ask),
        batch=used.batch,
        unsure=used.unsure,
        lots=used.lots,
    )
    covered = [coat.applied_at or coat.mixed_at for coat in panel.coats[1:]]
    return Life(facts, used.at, _known_to(facts.temperature, used.at), (*covered, None), _washes(used, panel))


def work_out(used: Used) -> Results:
    """All numbers of the record. Raises RecordError for facts that make no panel."""
    life = life_of(used)
    followed = [_follow(life, index) for index in range(len(life.facts.panel.coats))]
    coats = tuple(_coat(life, index, course) for index, course in enumerate(followed))
    courses = [course for course in followed if course is not None]
    oldest = min(courses, key=lambda course: first_minute(course.newest), default=None)
    begun = min((start_of(coat, life.facts.cards[coat.card]) for coat in _readable(life)), default=used.at)
    missing_h = (used.at - begun) / HOUR_MS
    holes: tuple[Gap, ...] = ((begun, used.at),) if used.at > begun else ()
    if oldest is not None:
        holes = (*((int(a), int(b)) for a, b in oldest.gaps), *life.silent)
        missing_h = oldest.missing_h + _hours(life.silent)
    return Results(
        until=used.at,
        readings_to=_last(life.facts.temperature, used.at),
        measured_h=(used.at - begun) / HOUR_MS - missing_h,
        missing_h=missing_h,
        moisture_missing_h=_dry_h(life, oldest),
        air_only=life.facts.surface is None,
        gaps=holes,
        coats=coats,
        decisions=rested_on(used),
        traces=traces(oldest, followed) if oldest is not None else None,
    )


def rested_on(used: Used) -> tuple[DecisionFits, ...]:
    """Of each decision, whether it rested on the readings and cards that are on the record."""
    return tuple(_fits(event, used) for event in used.events if event.kind == "decided")


def _card(name: str, text: str) -> ResinCard | None:
    try:
        return card_of(text, name)
    except CardFileError:
        return None  # its coats say "no card"


def _trace(used: Used, probe: str | None, quantity: Quantity, beside: bool = False) -> Trace | None:
    """As follow.Follower.trace() makes it, from the record's own rows."""
    facts = next((item for item in used.probes if item.id == probe), None)
    series = used.of(probe, quantity)
    if facts is None or series is None:
        return None
    log = probe_logs(used.events, [facts.id])[facts.id]
    doubtful = spans(matters(used.suspicions, facts.id, quantity, beside), log.put_right)
    keep = series.t <= used.at
    return Trace.of(
        facts,
        quantity,
        series.t[keep],
        series.value[keep],
        series.quality[keep],
        log.stretches(quantity),
        doubtful,
    )


def _last(trace: Trace | None, at: int) -> int | None:
    if trace is None:
        return None
    upto = int(np.searchsorted(trace.samples.t, at, "right"))
    return int(trace.samples.t[upto - 1]) if upto else None


def _known_to(trace: Trace | None, at: int) -> int | None:
    last = _last(trace, at)
    if trace is None or last is None:
        return None
    return last if at - last > silent_after_ms(trace.interval_s) else at


def _washes(used: Used, panel: Panel) -> tuple[int | None, ...]:
    """For each coat when it was last washed before the next was started."""
    gone = withdrawn(used.events)
    found: list[int | None] = []
    for event in told(used.events):
        if event.id in gone or event.panel != panel.id:
            continue
        if event.kind == "coat mixed":
            found.append(None)
        elif event.kind == "washed" and found:
            found[-1] = event.at
    return tuple(found)


def _readable(life: Life) -> list[Coat]:
    return [coat for coat in life.facts.panel.coats if coat.card in life.facts.cards]


def _hours(holes: Sequence[Gap]) -> float:
    return sum(end - begin for begin, end in holes) / HOUR_MS


def _follow(life: Life, index: int, until: int | None = None) -> PanelCourse | None:
    """One coat followed by itself to `until`, or as far as is known; None without a card or a reading of its life."""
    panel = life.facts.panel
    coat = panel.coats[index]
    if life.known_to is None or coat.card not in life.facts.cards:
        return None
    to = life.known_to if until is None else min(until, life.known_to)
    if to <= start_of(coat, life.facts.cards[coat.card]):
        return None
    alone = replace(panel, coats=(coat,), washed_at=life.washed_at[index])
    return follow_panel(replace(life.facts, panel=alone), to)


def _coat(life: Life, index: int, course: PanelCourse | None) -> CoatResult:
    coat = life.facts.panel.coats[index]
    card = life.facts.cards.get(coat.card)
    unknown = "" if course is not None else "no card" if card is None else "no readings"
    numbers = None if course is None else _numbers(life, index, course)
    return CoatResult(
        number=coat.number,
        kind=coat.kind,
        card=coat.card,
        mixed_at=coat.mixed_at,
        applied_at=coat.applied_at,
        covered_at=life.covered_at[index],
        resin_lot=coat.resin_lot,
        hardener_lot=coat.hardener_lot,
        pots=_pots(coat, card),
        unknown=unknown,
        numbers=numbers,
        taught_by=life.facts.lots[coat.number].panels if coat.number in life.facts.lots else (),
    )


def _numbers(life: Life, index: int, course: PanelCourse) -> Numbers:
    newest = course.newest
    begun = start_of(newest.coat, newest.card)
    seen = course.history.central[course.history.measured]
    return Numbers(
        begun=begun,
        last_begun=last_start_of(newest.coat, newest.card),
        measured_h=course.measured_h,
        missing_h=course.missing_h + _hours(life.silent),
        gaps=(*((int(a), int(b)) for a, b in course.gaps), *life.silent),
        coldest_C=float(seen.min()) if len(seen) else None,
        warmest_C=float(seen.max()) if len(seen) else None,
        datum_C=DATUM_C,
        temperature_time_factor_Ch=course.temperature_time_factor_Ch,
        activation_energy_J_mol=float(newest.central.members.E_J_mol[0]),
        reference_C=newest.card.reference_C,
        equivalent_age_h=course.equivalent_age_h,
        equivalent_age_interval_mean_h=course.equivalent_age_interval_mean_h,
        conversion_card=float(1.0 - newest.middle.state(course.at).u[0]),
        conversion=newest.conversion_range,
        age_h=newest.age_range_h,
        rate=newest.rate_range,
        glass_transition_C=newest.glass_transition_C,
        film=_film(life, index, course),
        passed=tuple(
            _passed(item)
            for item in newest.passings.values()
            if item.passed > 0.0 and item.milestone not in AHEAD
        ),
        thumb_tests=len(newest.coat.thumb_tests),
        disagree=len(newest.learned.disagrees),
        suspect_since=newest.suspect_since,
    )


def _film(life: Life, index: int, course: PanelCourse) -> FilmMet:
    """Up to the next coat: what lies under it meets no air any more."""
    covered = life.covered_at[index]
    open_ = course if covered is None or covered >= course.at else _follow(life, index, covered) or course
    met, start = open_.film, first_minute(open_.newest)

    def at(minute: int | None) -> int | None:
        return None if minute is None else start + 60_000 * minute

    return FilmMet(
        until=open_.at,
        level=None if met.level is None else met.level.value,
        exposure_h=met.exposure_h,
        least_margin_K=met.least_margin_K,
        least_margin_at=at(met.least_margin_minute),
        under_3K_h=met.close_h,
        unknown_h=met.unknown_h,
        wet_from=at(met.wet_from),
        wet_to=at(met.wet_to),
        washed_at=open_.washed_at,
    )


def _passed(item: Passing) -> Passed:
    """What was passed by the range's middle, by its safe end; a time that is still to come is none."""
    return Passed(
        item.milestone.value,
        item.likely if item.passed >= 0.5 else None,
        item.safe if item.is_past else None,
        item.passed,
    )


def _pots(coat: Coat, card: ResinCard | None) -> tuple[Poured, ...]:
    """Whatever its own entries say of them."""
    return tuple(_poured(pot, card) for pot in coat.pots or (Pot(coat.mixed_at),))


def _poured(pot: Pot, card: ResinCard | None) -> Poured:
    off = None
    if card is not None and pot.resin_g is not None and pot.hardener_g is not None:
        off = hardener_off_percent(card.mix, pot.resin_g, pot.hardener_g)
    return Poured(
        mixed_at=pot.mixed_at,
        resin_g=pot.resin_g,
        hardener_g=pot.hardener_g,
        off_percent=off,
        in_ratio=None if card is None or off is None else off_ratio(pot, card) is None,
        stirred=pot.stirred,
        vessel=pot.vessel,
        bottles_C=pot.bottles_C,
    )


def _dry_h(life: Life, oldest: PanelCourse | None) -> float | None:
    if not life.facts.measures_moisture:
        return None
    if oldest is None:
        return 0.0
    return float(np.count_nonzero(np.isnan(oldest.dew))) / 60.0 + _hours(life.silent)


def _fits(event: Event, used: Used) -> DecisionFits:
    """None where the decision rested on nothing, or on readings from before the record's first."""
    said = event.body.get("said")
    if not said:
        return DecisionFits(event.id, None, None)
    same = None
    if said["readings"] and all(item["since"] >= used.since for item in said["readings"]):
        same = all(_same_readings(item, item.get("batch", said["batch"]), used) for item in said["readings"])
    digests = {name: digest_of(text) for name, text in used.cards.items()}
    cards: Mapping[str, str] = dict(said["cards"])
    return DecisionFits(event.id, same, all(digests.get(name) == digest for name, digest in cards.items()))


def _same_readings(item: Mapping[str, Any], batch: int, used: Used) -> bool:
    series = used.of(item["probe"], Quantity(item["quantity"]))
    if series is None:
        return False
    return series.digest(item["since"], item["until"], batch) == (item["n"], item["sha256"])
