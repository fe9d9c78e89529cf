"""What one coat teaches the next of its lot, on any panel, and what takes it back: on real readings."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.writer import Writer
from dashboard import lots as lots_module
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.fold import fold
from dashboard.follow import Follower
from dashboard.live import facts_of
from dashboard.lot_known import LotKnown, lots_between
from dashboard.lots import MOST_TEACHERS, Lots
from dashboard.panel import Event, Panel
from model.resin_card import ResinCard
from tests.dashboard.night import HOUR_MS, MIXED, card

OWN = card()
KIT = {"resin_lot": "R-1", "hardener_lot": "H-1"}
SLOW = ["soft tack"]
"""Felt three hours after mixing at 20 degC: an ordinary film of this card is tacky like tape by then."""


def at(hour: float) -> int:
    return MIXED + round(hour * HOUR_MS)


class Shop:
    """Readings of three days at 20 degC on S1, S2 and S3, and the entries of as many panels as are wanted."""

    def __init__(self, folder: Path) -> None:
        self.clock = SteppedClock(at(30))
        self.writer = Writer.open(folder / "readings.db", self.clock)
        self.path = folder / "readings.db"
        self.events: list[Event] = []
        self.lots = Lots()
        self.writer.describe([ProbeFacts(name, "shed", "surface", 60.0, 0.8) for name in ("S1", "S2", "S3")])

    def measured(self, probe: str, first_h: float, last_h: float, value: float = 20.0) -> None:
        minutes = range(round(60 * first_h), round(60 * last_h))
        times = [MIXED + minute * 60_000 for minute in minutes]
        self.writer.commit([Reading(probe, Quantity.TEMPERATURE, value, t, t) for t in times])

    def log(self, hour: float, panel: str, kind: str, /, **body: Any) -> str:
        name = f"e{len(self.events)}"
        self.events.append(Event(name, at(hour), at(hour), "", kind, panel, body))
        return name

    def coat(
        self, panel: str, hour: float, probe: str | None = "S1", air: str | None = None, **body: Any
    ) -> str:
        if panel not in fold(self.events):
            self.log(hour - 0.5, panel, "panel registered", name=panel, zone="shed", surface_probe=probe,
                     air_probe=air, substrate="wood")  # fmt: skip
        return self.log(hour, panel, "coat mixed", **{"card": OWN.id, "applied_at": at(hour), **KIT, **body})

    def felt(self, panel: str, hour: float, words: list[str] = SLOW, **body: Any) -> str:
        return self.log(hour, panel, "thumb test", words=words, **body)

    def follower(self, hour: float) -> Follower:
        made = Follower(self.path, at(hour))
        made.refresh()
        return made

    @property
    def panels(self) -> dict[str, Panel]:
        return fold(self.events)

    def known(self, panel: str, hour: float, coat: int = 1) -> LotKnown | None:
        every, follower = self.panels, self.follower(hour)
        kept = self.lots.known(every[panel], every.values(), follower, self.card, at(hour))
        anew = Lots().known(every[panel], every.values(), follower, self.card, at(hour))
        assert plain(kept) == plain(anew), "what is kept is what is worked out anew"
        return anew.get(coat)

    def answer(self, panel: str, hour: float) -> Assessment:
        every, follower = self.panels, self.follower(hour)
        lots = self.lots.known(every[panel], every.values(), follower, self.card, at(hour))
        return assess(facts_of(every[panel], follower, self.card, lots=lots), at(hour))

    def card(self, name: str) -> ResinCard | None:
        return OWN if name == OWN.id else card("invented-45min") if name == "invented-45min" else None


def plain(known: dict[int, LotKnown]) -> list[tuple[int, dict[str, Any]]]:
    return [(number, item.to_json()) for number, item in known.items()]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = Shop(tmp_path)
    for probe in ("S1", "S2", "S3"):
        made.measured(probe, -2.0, 30.0)
    yield made
    made.writer.close()


def sand(answer: Assessment) -> int:
    late = next(item.late for item in answer.milestones if item.name == "sand")
    assert late is not None
    return late


def test_a_slow_coat_teaches_the_next_of_its_lot_on_another_panel_and_the_answer_says_so(shop: Shop) -> None:
    shop.coat("one", 0.0)
    shop.coat("two", 4.0, "S2")
    before = shop.answer("two", 6.0)
    assert before.lot is None
    test = shop.felt("one", 3.0)
    taught = shop.answer("two", 6.0)
    assert taught.lot == (OWN.id, "R-1", "H-1")
    assert taught.lot_panels == ("one",)
    assert sand(taught) > sand(before), "what opens waits for it"
    said = next(why for why in taught.verdict.why if why.key == "why_lot_one")
    assert said.values["pace"] == "slower"
    assert Assessment.from_json(taught.to_json()) == taught
    shop.log(7.0, "one", "withdrawn", event=test)
    again = shop.answer("two", 6.0)
    assert (again.verdict, again.milestones, again.lot) == (before.verdict, before.milestones, None)


def test_no_lot_keeps_a_window_open_longer(shop: Shop) -> None:
    """However slow two panels were: what closes is claimed as if nobody had said anything."""
    for name, probe, hour in (("one", "S1", 0.0), ("two", "S2", 0.5)):
        shop.coat(name, hour, probe)
    shop.coat("three", 4.0, "S3")
    plainly = {item.name: item for item in shop.answer("three", 6.0).milestones}
    shop.felt("one", 3.0)
    shop.felt("two", 3.6)
    known = shop.known("three", 6.0)
    assert known is not None
    assert (known.panels, known.coats) == (("one", "two"), 2)
    taught = {item.name: item for item in shop.answer("three", 6.0).milestones}
    for name in ("working", "recoat_until"):
        assert taught[name].early <= plainly[name].early, name
        assert taught[name].passed >= plainly[name].passed, name
    assert taught["recoat_from"].late > plainly["recoat_from"].late


def test_earlier_coats_of_the_same_panel_teach_and_none_teaches_itself(shop: Shop) -> None:
    shop.coat("one", 0.0)
    shop.felt("one", 3.0)
    assert shop.known("one", 3.5) is None
    shop.coat("one", 4.0)
    known = shop.known("one", 6.0, coat=2)
    assert known is not None
    assert known.panels == ("one",)
    assert shop.known("one", 6.0, coat=1) is None


def test_what_was_said_never_comes_back_to_where_it_was_said(shop: Shop) -> None:
    """Two coats felt in turn: the first teaches the second, not the other way round."""
    shop.coat("one", 0.0)
    shop.coat("two", 0.2, "S2")
    shop.felt("one", 3.0)
    shop.felt("two", 3.2)
    assert shop.known("one", 6.0) is None
    known = shop.known("two", 6.0)
    assert known is not None
    assert known.panels == ("one",)
    assert shop.known("two", 2.9) is None, "nothing is known before it is felt"


@pytest.mark.parametrize(
    "other", [{"resin_lot": "R-2"}, {"hardener_lot": "H-2"}, {"card": "invented-45min"}, {"resin_lot": None}]
)
def test_another_lot_or_card_is_taught_nothing(shop: Shop, other: dict[str, Any]) -> None:
    shop.coat("one", 0.0)
    shop.felt("one", 3.0)
    shop.coat("two", 4.0, "S2", **other)
    assert shop.known("two", 6.0) is None


WRONG: dict[str, tuple[dict[str, Any], list[tuple[float, dict[str, Any]]]]] = {
    "off its ratio": ({"pot": {"resin_g": 100.0, "hardener_g": 60.0}}, [(3.0, {"words": SLOW})]),
    "not stirred": ({"pot": {"stirred": False}}, [(3.0, {"words": SLOW})]),
    "hard here and soft there": ({}, [(3.0, {"words": SLOW, "patchy": True})]),
    "still wet after a day": ({}, [(26.0, {"words": ["wet"]})]),
    "a hand that contradicts itself": (
        {},
        [(3.0, {"words": ["thumbnail dents"]}), (3.4, {"words": ["wet"]})],
    ),
    "only greasy": ({}, [(3.0, {"words": ["greasy"]})]),
    "a fillet, warmer inside": ({"kind": "fillet"}, [(3.0, {"words": SLOW})]),
}


@pytest.mark.parametrize("what", WRONG)
def test_what_is_in_doubt_teaches_nothing(shop: Shop, what: str) -> None:
    body, tests = WRONG[what]
    shop.coat("one", 0.0, **body)
    for hour, said in tests:
        shop.felt("one", hour, **said)
    shop.coat("two", 27.0, "S2")
    assert shop.known("two", 28.0) is None


def test_a_coat_of_two_pots_a_scrapped_panel_and_the_air_alone_teach_nothing(shop: Shop) -> None:
    shop.coat("pots", 0.0)
    shop.log(0.5, "pots", "pot mixed")
    shop.coat("scrapped", 0.0, "S2")
    shop.coat("air", 0.0, None, "S3")
    for name in ("pots", "scrapped", "air"):
        shop.felt(name, 3.0)
    shop.log(4.0, "scrapped", "scrapped", reason="dropped")
    shop.coat("two", 5.0)
    assert shop.known("two", 6.0) is None


def test_a_gap_before_it_was_felt_teaches_nothing_until_its_readings_come_late(tmp_path: Path) -> None:
    """And what came late counts at once, though all that was worked out is kept."""
    shop = Shop(tmp_path)
    try:
        shop.measured("S1", -1.0, 1.0)
        shop.measured("S1", 2.0, 8.0)
        shop.coat("one", 0.0)
        shop.felt("one", 3.0)
        shop.coat("two", 4.0)
        follower = shop.follower(6.0)

        def known() -> dict[int, LotKnown]:
            every = shop.panels
            return shop.lots.known(every["two"], every.values(), follower, shop.card, at(6.0))

        assert known() == {}
        shop.measured("S1", 1.0, 2.0)
        follower.refresh()
        assert known()[1].panels == ("one",)
    finally:
        shop.writer.close()


def test_a_panel_that_was_closed_long_ago_has_taught_its_lot(tmp_path: Path) -> None:
    """Its readings are no longer kept in memory: they are read from the store."""
    shop = Shop(tmp_path)
    try:
        shop.measured("S1", -1.0, 4.0)
        shop.measured("S1", 24.0 * 40 - 1.0, 24.0 * 40 + 2.0)
        shop.coat("one", 0.0)
        shop.felt("one", 3.0)
        shop.log(4.0, "one", "closed")
        shop.coat("two", 24.0 * 40)
        known = shop.known("two", 24.0 * 40 + 1.0)
        assert known is not None
        assert known.panels == ("one",)
    finally:
        shop.writer.close()


def test_only_the_newest_few_teach_and_what_was_worked_out_is_not_worked_out_again(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(MOST_TEACHERS + 2):
        shop.coat(f"p{number}", 0.1 * number)
        shop.felt(f"p{number}", 3.0 + 0.1 * number, ["tacky like tape"])
    shop.coat("next", 6.0, "S2")
    follower, every = shop.follower(7.0), shop.panels
    worked_out = []
    evidence = lots_module._evidence
    monkeypatch.setattr(lots_module, "_evidence", lambda *of: worked_out.append(of[0].id) or evidence(*of))
    known = shop.lots.known(every["next"], every.values(), follower, shop.card, at(7.0))[1]
    assert known.coats == len(worked_out) == MOST_TEACHERS
    assert known.panels == tuple(f"p{number}" for number in range(2, MOST_TEACHERS + 2))
    shop.lots.known(every["next"], every.values(), follower, shop.card, at(7.1))
    assert len(worked_out) == MOST_TEACHERS


def test_a_hand_that_contradicts_the_lot_and_the_card_falls_back_on_the_card(shop: Shop) -> None:
    shop.coat("one", 0.0)
    shop.felt("one", 3.0)
    shop.coat("two", 4.0, "S2")
    shop.felt("two", 4.6, ["thumbnail dents"])
    answer = shop.answer("two", 6.0)
    assert answer.lot is None
    assert answer.effective == 256.0


def test_which_panels_are_to_be_worked_out_again_is_known_from_their_lots(shop: Shop) -> None:
    shop.coat("one", 0.0)
    shop.coat("two", 4.0, "S2")
    shop.coat("three", 4.0, "S3", resin_lot="R-9")
    before = shop.panels
    shop.felt("one", 3.0)
    assert lots_between(before, shop.panels) == {(OWN.id, "R-1", "H-1")}
    assert lots_between(shop.panels, shop.panels) == frozenset()


def test_what_is_known_goes_to_json_and_back_to_the_last_bit(shop: Shop) -> None:
    shop.coat("one", 0.0)
    shop.felt("one", 3.0)
    shop.coat("two", 4.0, "S2")
    known = shop.known("two", 6.0)
    assert known is not None
    assert LotKnown.from_json(known.to_json()).to_json() == known.to_json()
