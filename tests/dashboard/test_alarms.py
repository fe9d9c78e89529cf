"""Alarms are raised once for a cause, survive noise at the limit, and end when the cause has gone."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from dashboard.alarm import Alarm
from dashboard.alarms import AlarmStates, Condition
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from dashboard.watch_store import WatchReader, WatchWriter
from model.verdict import Say

NOW = 1_795_629_600_000
MINUTE = 60_000


def cold(move: float = 12.0) -> Condition:
    return Condition("too cold", "plug-7", None, Say("alarm_stopped", {"panel": "Plug 7", "move_C": move}))


def silent() -> Condition:
    return Condition("probe silent", None, "S4", Say("alarm_silent", {"probe": "S4", "silent_at": NOW}))


def test_a_short_excursion_rings_nothing_and_a_lasting_one_rings_once() -> None:
    """On-delay two minutes; the occurrence is dated from when the condition began."""
    states = AlarmStates()
    assert states.update([cold()], NOW) == []
    assert states.update([], NOW + MINUTE) == []
    assert states.update([cold()], NOW + 2 * MINUTE) == []
    rung = states.update([cold()], NOW + 4 * MINUTE)
    assert [alarm.raised_at for alarm in rung] == [NOW + 2 * MINUTE]
    assert states.update([cold()], NOW + 9 * MINUTE) == []


def test_a_value_that_sits_on_its_limit_is_one_alarm() -> None:
    """Off-delay ten minutes: an hour of flicker is one occurrence, and it ends once."""
    states = AlarmStates()
    changes = []
    for minute in range(60):
        changes += states.update([cold()] if minute % 3 else [], NOW + minute * MINUTE)
    assert len(changes) == 0, "the on-delay starts anew each time the condition goes away"
    changes += states.update([cold()], NOW + 60 * MINUTE)
    changes += states.update([cold()], NOW + 62 * MINUTE)
    for minute in range(63, 120):
        changes += states.update([cold()] if minute % 5 else [], NOW + minute * MINUTE)
    for minute in range(120, 140):
        changes += states.update([], NOW + minute * MINUTE)
    assert [alarm.returned_at for alarm in changes] == [None, NOW + 120 * MINUTE]


def test_a_condition_may_ask_for_more_patience_than_its_kind() -> None:
    """A probe that was never heard rings once it has had the time to speak, and not at the first look."""
    never = Condition("probe silent", None, "S4", Say("alarm_never_heard", {"probe": "S4"}), 30_000)
    states = AlarmStates()
    assert states.update([never], NOW) == []
    assert states.update([never], NOW + 29_999) == []
    assert [alarm.raised_at for alarm in states.update([never], NOW + 30_000)] == [NOW]


def test_words_that_change_are_told_without_a_new_occurrence() -> None:
    """The same cause, another number: the same id."""
    states = AlarmStates()
    states.update([cold()], NOW)
    first = states.update([cold()], NOW + 2 * MINUTE)[0]
    again = states.update([cold(13.0)], NOW + 3 * MINUTE)[0]
    assert again.id == first.id
    assert again.say.values["move_C"] == 13.0


def test_a_new_watch_goes_on_with_the_alarms_that_stood(tmp_path: Path) -> None:
    """Killed and started again, watch neither rings the same alarm twice nor forgets that it ended."""
    writer = WatchWriter(tmp_path / "watch.db")
    writer.save([], AlarmStates().update([silent()], NOW))
    writer.close()
    writer = WatchWriter(tmp_path / "watch.db")
    states = AlarmStates(writer.standing_alarms())
    assert states.update([silent()], NOW + MINUTE) == []
    assert states.update([], NOW + 2 * MINUTE) == []
    ended = states.update([], NOW + 3 * MINUTE)
    assert [alarm.returned_at for alarm in ended] == [NOW + 2 * MINUTE]
    writer.save([], ended)
    assert writer.standing_alarms() == []
    writer.close()


def test_seen_is_what_a_person_said(tmp_path: Path) -> None:
    """The acknowledgement stands in shop.db and belongs to one occurrence."""
    writer = WatchWriter(tmp_path / "watch.db")
    logbook = Logbook(tmp_path / "shop.db").open()
    reader = WatchReader(tmp_path / "watch.db", logbook)
    writer.save([], AlarmStates().update([silent()], NOW))
    alarm = reader.alarms()[0]
    assert alarm.seen_at is None
    before = reader.version()
    logbook.append(Event("tap", NOW + 5, NOW + 5, "Shop lead", "alarm seen", None, {"alarm": alarm.id}))
    seen = reader.alarms()[0]
    assert (seen.seen_at, seen.seen_by) == (NOW + 5, "Shop lead")
    assert reader.version() > before, "an open page must hear of it"
    logbook.close()
    writer.close()


def test_alarms_that_stand_as_they_stood_are_read_in_one_statement_and_taken_apart_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many there are; the words of one that changed are new at once."""
    writer = WatchWriter(tmp_path / "watch.db")
    reader = WatchReader(tmp_path / "watch.db", LogbookReader(tmp_path / "shop.db"))
    listed = [Alarm(f"too-cold.p{n}.1", "too cold", f"p{n}", None, NOW, None, cold().say) for n in range(150)]
    writer.save([], listed)
    assert len(first := reader.alarms()) == 150
    asked, taken_apart = list[str](), list[str]()
    rows, loads = WatchReader._rows, json.loads

    def counted_rows(self: WatchReader, sql: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        asked.append(sql)
        return rows(self, sql, values)

    def counted_loads(text: str) -> Any:
        taken_apart.append(text)
        return loads(text)

    monkeypatch.setattr(WatchReader, "_rows", counted_rows)
    monkeypatch.setattr(json, "loads", counted_loads)
    assert reader.alarms() == first
    assert (len(asked), taken_apart) == (1, [])
    writer.save([], [replace(listed[7], say=cold(13.0).say)])
    again = {alarm.id: alarm.say.values["move_C"] for alarm in reader.alarms()}
    assert [key for key, value in again.items() if value == 13.0] == ["too-cold.p7.1"]
    assert 0 < len(taken_apart) <= 2
    writer.close()


def test_an_alarm_that_stands_is_shown_however_many_came_after_it(tmp_path: Path) -> None:
    """A hall that grows cold raises hundreds; the pot that was raised before them burns on."""
    writer = WatchWriter(tmp_path / "watch.db")
    reader = WatchReader(tmp_path / "watch.db", LogbookReader(tmp_path / "shop.db"))
    pot = Alarm("pot.p0.0", "pot", "p0", None, NOW, None, cold().say)
    over = Alarm("too-cold.p1.0", "too cold", "p1", None, NOW, NOW + MINUTE, cold().say)
    later = [
        Alarm(f"too-cold.p{n}.1", "too cold", f"p{n}", None, NOW + MINUTE, ended, cold().say)
        for n, ended in enumerate([None] * 30 + [NOW + 2 * MINUTE] * 30)
    ]
    writer.save([], [pot, over, *later])
    for limit in (0, 10, 40):
        found = reader.alarms(limit)
        newest = sorted(later, key=lambda alarm: alarm.id)[:limit]
        standing = [alarm for alarm in later if alarm.returned_at is None]
        expected = {alarm.id for alarm in [pot, *newest, *standing]}
        assert [alarm.id for alarm in found] == [*sorted(expected - {pot.id}), pot.id]
    writer.close()
