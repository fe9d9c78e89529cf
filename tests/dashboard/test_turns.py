"""With a perfect forecast a verdict turns in the very minute that its headline named, however long before."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dashboard import course
from dashboard.assess import assess
from dashboard.display import View
from dashboard.facts import Facts
from dashboard.outlooks import panel_outlook
from dashboard.strips import strip
from model.blocks import Blocks
from model.history import Samples
from model.verdict import Say
from tests.dashboard.night import HOUR_MS, MIXED, card, night
from tests.dashboard.test_watch import MINUTE, START, Shed

Air = Callable[[float], float]
"""The panel's temperature, degC, by the hour since mixing."""


def steady(hour: float) -> float:
    return 20.0


def cold_night(hour: float) -> float:
    """From 19 degC in the evening to 14 at six in the morning and up again."""
    return 16.5 + 2.5 * math.cos(hour / 24.0 * 2.0 * math.pi)


def warming(hour: float) -> float:
    return min(24.0, 15.0 + hour)


def knows_all_of(air: Air) -> Callable[[Facts, Samples, int], tuple[Blocks, Say | None]]:
    """An outlook that is what will be measured, minute by minute, with nothing left open."""

    def outlook(facts: Facts, samples: Samples, at: int) -> tuple[Blocks, Say | None]:
        own, said = panel_outlook(facts, samples, at)
        middles = (own.start + (np.arange(len(own)) + 0.5) * MINUTE - MIXED) / HOUR_MS
        future = np.array([air(hour) for hour in middles])
        return replace(own, cold=future, central=future, hot=future, spread=np.zeros(len(own))), said

    return outlook


def said(air: Air, at: int, own: bool = True, **coat: object) -> Say:
    """The headline at `at`, UTC ms."""
    facts = night(air, (at - MIXED) / HOUR_MS, of=card(own=own))
    (plain,) = facts.panel.coats
    panel = replace(facts.panel, coats=(replace(plain, **coat),))  # type: ignore[arg-type]
    return assess(replace(facts, panel=panel), at).verdict.headline


GLUE, PLY, POT, INVENTED = {"kind": "glue line"}, {"peel_ply": True}, {"applied_at": None}, {"own": False}
TURNS = [
    (steady, "in_the_pot", "pour_by", 0.02, 1, POT),
    (warming, "in_the_pot", "pour_by", 0.02, 1, POT),
    (cold_night, "workable", "work_by", 0.2, 30, {}),
    (cold_night, "setting", "open_from", 3.0, 60, {}),
    (warming, "setting", "open_from", 3.0, 10, {}),
    (steady, "setting_thumb", "open_from", 2.0, 60, INVENTED),
    (cold_night, "recoatable", "shut_by", 5.5, 31, {}),
    (cold_night, "firm", "sand_from", 12.0, 300, {}),
    (cold_night, "firm", "sand_from", 12.0, 60, INVENTED),
    (steady, "clamps_wait", "clamps_from", 6.0, 60, GLUE),
    (cold_night, "ply_wait", "ply_from", 6.0, 60, PLY),
]
"""The panel's temperatures, headline, its time, hours after mixing when it is first read, minutes before its time when
it is read again, and what is said of the coat.
"""


@pytest.mark.parametrize(("air", "key", "name", "first_h", "before_min", "coat"), TURNS)
def test_a_verdict_turns_in_the_minute_that_its_headline_named(
    air: Air, key: str, name: str, first_h: float, before_min: int, coat: dict[str, object],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(course, "panel_outlook", knows_all_of(air))
    first = said(air, MIXED + round(first_h * HOUR_MS), **coat)
    assert first.key == key
    named = int(first.values[name])
    again = said(air, named - before_min * MINUTE, **coat)
    assert again.key == key
    assert abs(int(again.values[name]) - named) < (MINUTE if key == "in_the_pot" else 1)
    turn = -(-named // MINUTE) * MINUTE  # a pot's time is no whole minute
    assert said(air, turn - MINUTE, **coat).key in (key, f"{key}_last")
    assert said(air, turn, **coat).key not in (key, f"{key}_last")


class OwnCards:
    """A shelf with one card, as if the shop had copied a sheet of its own."""

    def get(self, name: str) -> object:
        return card(name)


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Shed]:
    made = Shed(tmp_path)
    made.watch.cards = OwnCards()  # type: ignore[assignment]
    yield made
    made.readings.close()
    made.logbook.close()
    made.store.close()


def shown(shed: Shed) -> str:
    """The headline as a page shows it now."""
    view = View(ZoneInfo("UTC"), "degC", shed.clock.at)
    return strip(shed.logbook.panels()["lid-4"], shed.seen.assessment("lid-4"), view).headline


def test_what_watch_stores_turns_in_the_minute_that_the_page_showed(
    shed: Shed, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each turn of a coat at 20 degC through real files: the last words name a minute, and in it they are no more."""
    monkeypatch.setattr(course, "panel_outlook", knows_all_of(steady))
    shed.measured(-30, 1500)
    shed.register()
    shed.log("coat mixed", 0, card="invented-25min", applied_at=START, kind="laminate")
    turns = []
    for minute, name in ((30, "work_by"), (180, "open_from"), (270, "shut_by"), (1200, "sand_from")):
        shed.round_at(minute)
        item = shed.seen.assessment("lid-4")
        assert item
        named = int(item.verdict.headline.values[name])
        clock = f"{datetime.fromtimestamp(named / 1000, UTC):%H:%M}"
        for before in (9, 1):
            shed.round_at((named - START) / MINUTE - before)
            words = shown(shed)
            assert clock in words or words == "Recoat now, or sand later"
        shed.round_at((named - START) / MINUTE)
        turns.append(shown(shed))
        assert clock not in turns[-1]
    assert [words.split()[0] for words in turns] == ["Wait", "Recoat", "Wait", "Sand"]
