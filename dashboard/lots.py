"""What a lot has been taught by the coats laid from it: worked out from entries and readings alone.

A coat teaches if a thumb felt it without contradiction, if its panel's own temperature is known without a gap up to
then, and if nothing is said against its mix. The coats of a lot teach one after another, in the order in which they
were first felt; a coat learns from those that were felt before it was, so that nothing comes back to where it was
said. So an entry that is taken back takes back what it taught, on every panel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial

from collector.reading import Quantity
from dashboard import stays
from dashboard.coat_course import range_of, told_by, touches_of
from dashboard.facts import start_of
from dashboard.follow import Follower, Trace
from dashboard.lot_known import LotKey, LotKnown, lot_of
from dashboard.panel import Coat, Panel, ThumbTest
from model.blocks import MINUTE_MS
from model.coat import HOUR_MS, course
from model.coat_kinds import RULES, CoatKind
from model.history import minute_blocks
from model.lot import LotRange
from model.members import Members, Weights
from model.observation import FILM_WORDS, on_top
from model.resin_card import ResinCard

CardOf = Callable[[str], ResinCard | None]

MOST_TEACHERS = 8
"""The newest so many teach: those before them are worth little beside the drift from panel to panel."""
LATEST_MS = 72 * HOUR_MS
"""What is felt later than this says nothing of how fast it was."""
AROUND_MS = 15 * MINUTE_MS
"""The longest that two samples are joined over: so much is read before a coat and after it was felt."""
WIDENING_K_H = 3.0
MOST_KEPT = 512


@dataclass(frozen=True)
class Evidence:
    """What the touches of one coat say of its members, without any lot."""

    of: Members
    weights: Weights


class Lots:
    """Works out what is known of lots; keeps what each coat says until something that it rests on changes."""

    def __init__(self) -> None:
        self._kept: dict[tuple[object, ...], Evidence | None] = {}

    def known(
        self, panel: Panel, every: Iterable[Panel], follower: Follower, card_of: CardOf, at: int
    ) -> dict[int, LotKnown]:
        """Of the panel's coats by number, as of `at` (UTC ms); none for a coat of which nobody knows the lot."""
        wanted = {coat.number: key for coat in panel.coats if (key := lot_of(coat)) is not None}
        if not wanted:
            return {}
        listed = [other for other in every if other.id != panel.id] + [panel]
        found = {}
        for coat in panel.coats:
            if coat.number in wanted and (card := card_of(coat.card)) is not None:
                key = wanted[coat.number]
                before = list(_teachers(listed, key, at, (panel.id, coat)))
                known = self._taught(key, card, before, follower, at)
                if known is not None:
                    found[coat.number] = known
        return found

    def _taught(
        self, key: LotKey, card: ResinCard, teachers: list[tuple[Panel, Coat]], follower: Follower, at: int
    ) -> LotKnown | None:
        said = []
        for panel, coat in reversed(teachers):
            evidence = self._evidence(panel, coat, card, follower, at)
            if evidence is not None:
                said.append((panel.id, evidence))
            if len(said) == MOST_TEACHERS:
                break
        if not said:
            return None
        lot = LotRange.new(card)
        for number, (_, evidence) in enumerate(reversed(said)):
            weights = evidence.weights
            if number:
                weights = on_top(weights, lot.weights(evidence.of, card))
            lot = lot.taught(evidence.of, weights)
        panels = tuple(dict.fromkeys(name for name, _ in reversed(said)))
        return LotKnown(key, panels, len(said), lot.by_its_hand())

    def _evidence(
        self, panel: Panel, coat: Coat, card: ResinCard, follower: Follower, at: int
    ) -> Evidence | None:
        tests = _tests(coat, at)
        start, end = start_of(coat, card), max(test.at for test in tests)
        versions = tuple(follower.version_of(probe, end) for probe in sorted(panel.probes))
        spans = follower.unsure(panel.probes)
        mark = (panel.mark, coat.number, card, len(tests), spans, *versions)
        if mark not in self._kept:
            if any(span.start < end and (span.end is None or span.end > start) for span in spans):
                self._kept[mark] = None
            else:
                self._kept[mark] = _evidence(panel, coat, card, follower, start, end)
            while len(self._kept) > MOST_KEPT:
                del self._kept[next(iter(self._kept))]
        return self._kept[mark]


def _teachers(
    panels: Iterable[Panel], key: LotKey, at: int, asking: tuple[str, Coat]
) -> Iterator[tuple[Panel, Coat]]:
    """Coats of that lot that may teach the one that asks, by when they were first felt."""
    mine = _tests(asking[1], at)
    until = min((test.at for test in mine), default=at + 1)
    found = []
    for panel in panels:
        for coat in panel.coats:
            tests = _tests(coat, at)
            if (panel.id, coat.number) == (asking[0], asking[1].number) or lot_of(coat) != key or not tests:
                continue
            first = min(test.at for test in tests)
            if first < until and panel.scrapped is None and _simple(coat):
                found.append((first, coat.event, panel, coat))
    for _, _, panel, coat in sorted(found, key=lambda item: item[:2]):
        yield panel, coat


def _simple(coat: Coat) -> bool:
    """Of one pot, and no warmer inside than its panel: else nobody knows how old a film a thumb met."""
    return coat.last_pot_at is None and not RULES[CoatKind(coat.kind)].warmer_K


def _tests(coat: Coat, at: int) -> tuple[ThumbTest, ...]:
    """What was felt of its cure."""
    until = min(at, coat.mixed_at + LATEST_MS)
    return tuple(test for test in coat.thumb_tests if test.at <= until and test.words[0] not in FILM_WORDS)


def _evidence(
    panel: Panel, coat: Coat, card: ResinCard, follower: Follower, start: int, end: int
) -> Evidence | None:
    """What its touches up to `end` (UTC ms) say; None if it may not teach."""
    if end <= start:
        return None
    trace = _surface(panel, follower, start - AROUND_MS, end + AROUND_MS)
    if trace is None or not len(trace.samples):
        return None
    history = minute_blocks(trace.samples, trace.interval_s, start, end + MINUTE_MS, WIDENING_K_H)
    if history.has_gap:
        return None
    of = range_of(card, trace.half_width_from(start))
    learned, touches = told_by(coat, of, touches_of(coat, course(of, history, start), end))
    if learned.suspect or learned.disagrees or not touches or not learned.telling:
        return None
    return Evidence(of.members, learned.weights)


def _surface(panel: Panel, follower: Follower, start: int, end: int) -> Trace | None:
    """Temperature of the panel itself; the air's does not say how warm a film was."""
    return stays.surface(panel, partial(_past, follower, start, end))


def _past(
    follower: Follower, start: int, end: int, probe: str | None, quantity: Quantity, beside: bool
) -> Trace | None:
    return follower.past(probe, quantity, start, end, beside)
