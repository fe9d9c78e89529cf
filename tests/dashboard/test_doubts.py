"""A probe that is not to be believed: the panel's answer, the alarm, the pages, and what people say of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from collector.reading import Quality, Quantity, Reading, Suspicion
from dashboard.devices import PutRight
from dashboard.display import View, say
from dashboard.doubts import matters, spans, standing
from model.verdict import Flag, Kind, Say
from tests.dashboard.test_watch import MINUTE, START, Shed

VIEW = View(zone=ZoneInfo("UTC"), unit="degC", now=START)


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Shed]:
    made = Shed(tmp_path)
    made.measured(-30, 120)
    made.register()
    made.clock.at = START + 119 * MINUTE
    made.log("coat mixed", 0, card="invented-25min", applied_at=START, kind="laminate")
    made.round_at(119)
    yield made
    made.readings.close()
    made.logbook.close()
    made.store.close()


def suspicion(
    kind: str = "tape_off", since: int = 60, shown: tuple[int, int] = (60, 110), **numbers: float | str
) -> Suspicion:
    """From minutes after START."""
    given = numbers or {"near_K": 0.2}
    return Suspicion(
        "S1", kind, START + since * MINUTE, None, START + shown[0] * MINUTE, START + shown[1] * MINUTE, given
    )


def alarms(shed: Shed) -> list[tuple[str, str | None, bool]]:
    return [(item.kind, item.probe, item.returned_at is None) for item in shed.seen.alarms()]


def test_a_panel_whose_probe_seems_to_have_come_off_is_not_known_and_rings(shed: Shed) -> None:
    assert shed.headline() not in ("head_tape_off", "silent_probe")
    shed.readings.suspect([suspicion()])
    shed.round_at(119.1)
    answer = shed.seen.assessment("lid-4")
    assert answer is not None
    assert answer.verdict.kind is Kind.NOT_KNOWN
    assert answer.verdict.headline.key == "head_tape_off"
    assert answer.verdict.why[0].key == "why_doubt_tape_off"
    assert Flag.PROBE_SUSPECT in answer.verdict.flags
    assert answer.readings_to == START + 59 * MINUTE, "what it said since is not used"
    assert alarms(shed) == [("probe suspect", "S1", True)]


def test_once_it_is_mended_the_answer_comes_back_with_a_gap_and_the_alarm_is_over(shed: Shed) -> None:
    shed.readings.suspect([suspicion()])
    shed.round_at(119.1)
    shed.clock.at = START + 120 * MINUTE
    shed.log("probe put right", 115, panel=None, probe="S1", serial="", fixed=True)  # type: ignore[arg-type]
    shed.round_at(119.3)
    answer = shed.seen.assessment("lid-4")
    assert answer is not None
    assert answer.verdict.kind is not Kind.NOT_KNOWN
    assert answer.missing_h == pytest.approx(55 / 60, abs=0.05)
    shed.round_at(121)
    assert alarms(shed) == [("probe suspect", "S1", False)]


def test_a_suspicion_that_somebody_found_wrong_leaves_no_gap(shed: Shed) -> None:
    shed.readings.suspect([suspicion()])
    shed.round_at(119.1)
    shed.clock.at = START + 120 * MINUTE
    shed.log("probe put right", 115, panel=None, probe="S1", serial="", fixed=False)  # type: ignore[arg-type]
    shed.round_at(119.3)
    answer = shed.seen.assessment("lid-4")
    assert answer is not None
    assert answer.missing_h == 0.0


def test_readings_taken_after_it_was_seen_to_may_raise_it_again(shed: Shed) -> None:
    shed.clock.at = START + 120 * MINUTE
    shed.log("probe put right", 62, panel=None, probe="S1", serial="", fixed=True)  # type: ignore[arg-type]
    shed.readings.suspect([suspicion(shown=(61, 100))])
    shed.round_at(119.1)
    assert shed.headline() != "head_tape_off"
    shed.readings.suspect([suspicion(shown=(64, 112))])
    shed.round_at(119.9)
    assert shed.headline() == "head_tape_off"


def test_a_probe_that_readings_lean_against_makes_the_answer_not_known_rings_nothing_and_tells_a_way_out(
    shed: Shed,
) -> None:
    before = shed.headline()
    shed.readings.suspect([suspicion("unsure", near_K=0.3)])
    shed.round_at(119.1)
    answer = shed.seen.assessment("lid-4")
    assert answer is not None
    assert answer.verdict.kind is Kind.NOT_KNOWN
    why = answer.verdict.why[0]
    assert say(Say("head_unsure", {"probe": "S1"}), VIEW) == "Not known: probe S1 may not be on its panel"
    assert say(why, VIEW) == "It trembles as air does. Touch it: is its tape on? Then say so."
    assert answer.verdict.headline.key == "head_unsure"
    assert answer.verdict.next == Say("next_put_right")
    assert answer.readings_to == START + 59 * MINUTE, "what it said since is in doubt"
    assert alarms(shed) == []
    shed.readings.suspect([replace(suspicion("unsure", near_K=0.3), until=START + 118 * MINUTE)])
    shed.round_at(119.9)
    assert shed.headline() == before, "it goes when its evidence goes"


def test_who_says_that_the_probe_is_right_as_it_is_has_the_answer_back_without_a_gap(shed: Shed) -> None:
    shed.readings.suspect([suspicion("unsure", near_K=0.3)])
    shed.round_at(119.1)
    shed.clock.at = START + 120 * MINUTE
    shed.log("probe put right", 115, panel=None, probe="S1", serial="", fixed=False)  # type: ignore[arg-type]
    shed.round_at(119.3)
    answer = shed.seen.assessment("lid-4")
    assert answer is not None
    assert answer.verdict.kind is not Kind.NOT_KNOWN
    assert answer.missing_h == 0.0


def test_humidity_that_may_be_stuck_is_left_out_and_rings_nothing(shed: Shed) -> None:
    before = shed.headline()
    lean = suspicion("unsure_humidity", near_K=0.0)
    assert matters([lean], "S1", Quantity.RELATIVE_HUMIDITY) == [lean]
    shed.readings.suspect([lean])
    shed.round_at(119.1)
    assert shed.headline() == before
    assert alarms(shed) == []


def test_a_notice_neither_rings_nor_hides_an_answer(shed: Shed) -> None:
    shed.readings.suspect([suspicion("drift", other="S4", day_K=2.4)])
    shed.round_at(119.1)
    assert shed.headline() != "head_drift"
    answer = shed.seen.assessment("lid-4")
    assert answer is not None
    assert answer.verdict.kind is not Kind.NOT_KNOWN
    assert alarms(shed) == []


def test_b65_a_node_slowed_by_the_cold_is_one_alarm_not_one_each_pause(shed: Shed) -> None:
    """Sends each ten minutes where the settings say one: by the settings it is silent in between, rung once."""
    slow = suspicion("slow", learned_h=1 / 6, interval="60 s")
    shed.readings.suspect([slow])
    for minute in range(120, 172, 2):
        if minute % 10 == 0:
            at = START + minute * MINUTE
            shed.readings.commit([Reading("S1", Quantity.TEMPERATURE, 20.0, at, at)])
        shed.round_at(minute + 0.5)
    assert alarms(shed) == [("probe silent", "S1", True)]
    assert shed.seen.alarms()[0].say.key == "alarm_slow"
    shed.round_at(205)
    assert shed.seen.alarms()[0].say.key == "alarm_silent", "truly silent is told as such"


def test_b25_a_probe_that_is_stuck_rings_after_three_intervals(shed: Shed) -> None:
    stuck = [
        Reading("S1", Quantity.TEMPERATURE, 20.0, at, at, Quality.STUCK)
        for at in range(START + 120 * MINUTE, START + 126 * MINUTE, MINUTE)
    ]
    shed.readings.commit(stuck[:2])
    shed.round_at(121.5)
    assert alarms(shed) == []
    shed.readings.commit(stuck[2:])
    shed.round_at(125.5)
    assert alarms(shed) == [("probe suspect", "S1", True)]
    assert shed.headline() == "probe_suspect"


def test_humidity_in_doubt_leaves_the_temperature_in_use(shed: Shed) -> None:
    before = shed.headline()
    shed.readings.suspect([suspicion("wet_end", read_pc=99.4)])
    shed.round_at(119.1)
    assert shed.headline() == before
    assert alarms(shed) == [("probe suspect", "S1", True)]


def test_what_lies_between_is_in_doubt_whoever_ended_it() -> None:
    told = suspicion()
    begin, shown = told.since, told.shown_from
    assert spans([told], ()) == [(begin, 2**62)]
    assert spans([told], (PutRight(begin - 1, True),)) == [(begin, 2**62)], "said before it began"
    later = PutRight(told.shown_to, True)
    assert spans([told], (later,)) == [(begin, later.at)]
    assert spans([told], (PutRight(later.at, False),)) == []
    again = Suspicion("S1", "tape_off", begin, None, later.at + 1, later.at + 9, {})
    assert spans([again], (later,)) == [(begin, later.at), (later.at + 1, 2**62)]
    assert standing([again], (later,)) == again
    assert shown == told.shown_from
