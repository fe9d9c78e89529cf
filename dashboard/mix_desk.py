"""What the pages of the mix and its API share: the spot that was asked for, its hour, and the mix that goes with it."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from collector.store.schema import NotYet
from dashboard.desk import Desk
from dashboard.display import View
from dashboard.facts import Facts
from dashboard.live import nobody
from dashboard.measures import FIELDS, typed
from dashboard.mix_asked import AskError, Given, asked_of
from dashboard.mix_hour import AHEAD_H, Asked, MixHour, mix_hour, over_panel
from dashboard.panel import Panel
from dashboard.spots import Spot, spots
from model.resin_card import ResinCard

MINUTE_MS = 60_000
KEPT = 64


@dataclass(frozen=True)
class Question:
    """A spot, a card, and what was told of the bottles. wrong: what cannot be understood, or ""."""

    spot: Spot
    card: ResinCard
    asked: Asked
    wrong: str = ""

    def address(self, view: View) -> dict[str, str]:
        """The same as names and values of an address, in this viewer's units."""
        field = FIELDS["bottles"][view.unit]
        told = {
            "spot": self.spot.id,
            "card": self.card.id,
            "onto": self.asked.onto,
            f"bottles_{field.end}": ""
            if self.asked.bottles_C is None
            else typed(self.asked.bottles_C, field),
            "wood_pc": "" if self.asked.wood_pc is None else f"{self.asked.wood_pc:g}",
            "cloudy": "1" if self.asked.cloudy else "",
            "crusted": "1" if self.asked.crusted else "",
        }
        return {name: text for name, text in told.items() if text}


class MixDesk:
    """Answers for a spot; each is worked out once a minute, however many pages ask."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._kept: OrderedDict[object, MixHour] = OrderedDict()

    def spots(self) -> list[Spot]:
        return spots(self.desk.panels(), self.desk.probes())

    def question(self, given: Given) -> Question | None:
        """None if there is no spot or no card to ask for. Raises AskError for a spot or a card that is not there."""
        there, names = self.spots(), self.desk.shop.cards()
        if not there or not names:
            return None
        spot = there[0]
        if given.get("spot"):
            spot = _one(given.get("spot"), {item.id: item for item in there}, "spot")
        name = given.get("card") or usual_card(spot.panel, self.desk.panels(), names)
        card = self.desk.shop.card(name)
        if card is None:
            raise AskError(f"card: no card is called {name[:64]!r}; there are: {', '.join(names)}")
        try:
            return Question(spot, card, asked_of(given, spot.panel))
        except AskError as error:
            return Question(spot, card, Asked(), str(error))

    def facts(self, panel: Panel, now: int) -> Facts:
        """The panel's facts; those of a shop without readings while collect has never run."""
        try:
            return self.desk.shop.facts(panel, now)
        except NotYet:
            return nobody(panel, now)

    def hour(self, question: Question, view: View, *, ahead_h: int = AHEAD_H) -> MixHour:
        """The answer of this minute."""
        facts = self.facts(question.spot.panel, view.now)
        key = (
            question.spot.id, question.spot.panel.mark, question.card, question.asked, ahead_h,
            view.now // MINUTE_MS, facts.batch, facts.corrections,
        )  # fmt: skip
        kept = self._kept.get(key)
        if kept is None:
            kept = mix_hour(facts, question.card, question.asked, view.now, ahead_h=ahead_h)
            self._kept[key] = kept
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        panel = question.spot.panel
        if not (panel.coats or panel.hold):
            return kept
        return over_panel(kept, panel, self.desk.assessment(panel.id)[0], view.now)

    def others(self, question: Question, view: View) -> list[MixHour]:
        """Now, with every other card."""
        cards = [card for name in self.desk.shop.cards() if (card := self.desk.shop.card(name)) is not None]
        return [
            self.hour(Question(question.spot, card, question.asked), view, ahead_h=0)
            for card in cards
            if card.id != question.card.id
        ]


def usual_card(panel: Panel, panels: Mapping[str, Panel], names: list[str]) -> str:
    """The card the panel plans next or had last, else the one that was mixed last anywhere, else the first."""
    planned = panel.next_planned.card if panel.next_planned else None
    used = [coat for item in panels.values() for coat in item.coats]
    last = max(used, key=lambda coat: coat.mixed_at, default=None)
    wanted = (planned, panel.newest.card if panel.newest else None, last.card if last else None)
    return next((name for name in wanted if name in names), names[0])


def link(path: str, told: Mapping[str, str]) -> str:
    """An address with its names and values."""
    return f"{path}?{urlencode(told)}"


def _one(name: str, there: Mapping[str, Spot], what: str) -> Spot:
    if name not in there:
        raise AskError(f"{what}: there is no {name[:80]!r}; allowed: {', '.join(there)}")
    return there[name]
