"""watch, round by round on real files: what it stores, when it works a panel out again, and what it survives."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path
from zoneinfo import ZoneInfo

import apsw
import pytest

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.trouble import Kind, TroubleFile
from collector.store.writer import Writer
from dashboard import watch as watch_module
from dashboard.cards import CardShelf
from dashboard.display import View
from dashboard.facts import Facts
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from dashboard.strips import strip
from dashboard.watch import Watch
from dashboard.watch_store import WatchReader, WatchWriter
from model.verdict import State

START = 1_795_629_600_000
MINUTE = 60_000


class Shed:
    """A shop's three files in a folder, with a clock moved by hand."""

    def __init__(self, folder: Path) -> None:
        self.clock = SteppedClock(START)
        self.readings = Writer.open(folder / "readings.db", self.clock)
        self.logbook = Logbook(folder / "shop.db", lambda: ["invented-25min"]).open()
        self.store = WatchWriter(folder / "watch.db")
        self.watch = Watch(
            readings=folder / "readings.db",
            logbook=LogbookReader(folder / "shop.db"),
            cards=CardShelf(None),
            store=self.store,
            clock=self.clock,
            zone=ZoneInfo("UTC"),
        )
        self.seen = WatchReader(folder / "watch.db", LogbookReader(folder / "shop.db"))
        self.readings.describe([ProbeFacts("S1", "shed", "surface", 60.0, 0.8)])
        self._count = 0

    def measured(self, first: int, last: int, value: float = 20.0) -> None:
        """Minutes first..last after START, last excluded."""
        readings = [
            Reading("S1", Quantity.TEMPERATURE, value, START + m * MINUTE, START + m * MINUTE)
            for m in range(first, last)
        ]
        self.readings.commit(readings)

    def log(self, what: str, minute: int, panel: str = "lid-4", **body: object) -> str:
        self._count += 1
        at = START + minute * MINUTE
        self.logbook.append(Event(f"e{self._count}", at, self.clock.at, "somebody", what, panel, body))
        return f"e{self._count}"

    def register(self, panel: str = "lid-4") -> None:
        self.log(
            "panel registered", 0, panel, name=panel, zone="shed", surface_probe="S1", air_probe=None, substrate="wood"
        )  # fmt: skip

    def round_at(self, minute: float) -> None:
        self.clock.at = START + round(minute * MINUTE)
        self.watch.round()

    def headline(self, panel: str = "lid-4") -> str:
        answer = self.seen.assessment(panel)
        assert answer is not None
        return answer.verdict.headline.key


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Shed]:
    made = Shed(tmp_path)
    yield made
    made.readings.close()
    made.logbook.close()
    made.store.close()


def test_an_assessment_carries_the_batch_it_rests_on_and_follows_new_readings(shed: Shed) -> None:
    """Mixed at 20 degC: workable, an hour later on; each answer names the newest batch."""
    shed.measured(-30, 10)
    shed.register()
    shed.clock.at = START + 9 * MINUTE
    shed.log("coat mixed", 0, card="invented-25min", applied_at=START + 5 * MINUTE, kind="laminate")
    shed.round_at(9)
    first = shed.seen.assessment("lid-4")
    assert first is not None
    assert (first.batch, first.verdict.headline.key) == (1, "workable")
    shed.measured(10, 130)
    shed.round_at(129)
    later = shed.seen.assessment("lid-4")
    assert later is not None
    assert later.batch == 2
    assert later.verdict.state is not State.WORKABLE
    assert later.readings_to == START + 129 * MINUTE


def test_a_probe_that_falls_silent_is_noticed_without_any_new_reading(shed: Shed) -> None:
    """Three intervals: not known on the panel, one alarm for the probe; both end when it is heard again."""
    shed.measured(-30, 10)
    shed.register()
    shed.clock.at = START + 9 * MINUTE
    shed.log("coat mixed", 0, card="invented-25min", applied_at=START, kind="laminate")
    shed.round_at(9)
    shed.round_at(12)
    assert shed.headline() != "silent_probe"
    shed.round_at(12.1)
    assert shed.headline() == "silent_probe"
    assert [(alarm.kind, alarm.returned_at) for alarm in shed.seen.alarms()] == [("probe silent", None)]
    shed.measured(10, 20)
    shed.round_at(19)
    assert shed.headline() != "silent_probe"
    shed.round_at(20)
    assert shed.seen.alarms()[0].returned_at == START + 19 * MINUTE


def test_a_silent_probe_that_is_heard_again_is_noticed_at_once(shed: Shed) -> None:
    shed.register()
    shed.log("coat mixed", 0, card="invented-25min", applied_at=START, kind="laminate")
    shed.measured(0, 10)
    shed.round_at(20.1)
    assert shed.headline() == "silent_probe"
    shed.measured(10, 21)
    shed.round_at(20.2)
    assert shed.headline() == "workable"


def test_a_probe_that_nobody_knew_is_noticed_as_soon_as_it_is_there(shed: Shed) -> None:
    """As of a site whose first readings come while a dashboard waits for them: not only when the minute turns."""
    shed.measured(0, 10)
    shed.log(
        "panel registered", 0, "lid-9", name="Lid 9", zone="shed", surface_probe="S9", air_probe=None, substrate="wood"
    )  # fmt: skip
    shed.log("coat mixed", 0, "lid-9", card="invented-25min", applied_at=START, kind="laminate")
    shed.round_at(10.1)
    assert shed.headline("lid-9") == "never_heard"
    shed.readings.describe([ProbeFacts("S9", "shed", "surface", 60.0, 0.8)])
    at = START + 10 * MINUTE
    shed.readings.commit([Reading("S9", Quantity.TEMPERATURE, 20.0, at, at)])
    shed.round_at(10.2)
    assert shed.headline("lid-9") != "never_heard"


def test_readings_that_come_late_change_the_answer_as_if_they_had_come_in_time(
    shed: Shed, tmp_path: Path
) -> None:
    """The night's middle arrives in the morning: the same verdict as a watch that had it all along."""
    shed.measured(-30, 60)
    shed.measured(240, 300)
    shed.register()
    shed.clock.at = START + 299 * MINUTE
    shed.log("coat mixed", 0, card="invented-25min", applied_at=START, kind="laminate")
    shed.round_at(299)
    torn = shed.seen.assessment("lid-4")
    assert torn is not None
    assert torn.missing_h > 2.9
    shed.measured(60, 240)
    shed.round_at(299.9)
    shed.round_at(300)
    whole = shed.seen.assessment("lid-4")
    fresh = Shed(tmp_path / "other")
    fresh.measured(-30, 300)
    fresh.register()
    fresh.clock.at = START + 299 * MINUTE
    fresh.log("coat mixed", 0, card="invented-25min", applied_at=START, kind="laminate")
    fresh.round_at(300)
    expected = fresh.seen.assessment("lid-4")
    assert whole is not None
    assert expected is not None
    assert whole.missing_h == 0.0
    assert (whole.verdict, whole.milestones, whole.curve) == (
        expected.verdict,
        expected.milestones,
        expected.curve,
    )
    for file in (fresh.readings, fresh.logbook, fresh.store):
        file.close()


def test_a_withdrawn_coat_takes_its_answer_with_it(shed: Shed) -> None:
    """Taken back on the page, gone at the next round: the panel is planned again."""
    shed.measured(-30, 10)
    shed.register()
    shed.clock.at = START + 9 * MINUTE
    entry = shed.log("coat mixed", 0, card="invented-25min", applied_at=None, kind="laminate")
    shed.round_at(9)
    shed.log("withdrawn", 9, event=entry)
    shed.round_at(9.1)
    assert shed.headline() == "planned"


def test_one_panel_that_cannot_be_worked_out_does_not_silence_the_others(
    shed: Shed, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A defect of ours on one panel is "not known" there, in the log, and nowhere else."""
    real = watch_module.assess

    def fails_on_one(facts: Facts, at: int) -> object:
        if facts.panel.id == "lid-4":
            raise ZeroDivisionError("planted")
        return real(facts, at)

    monkeypatch.setattr(watch_module, "assess", fails_on_one)
    shed.measured(-30, 10)
    shed.clock.at = START + 9 * MINUTE
    for panel in ("lid-4", "rib-1"):
        shed.register(panel)
        shed.log("coat mixed", 0, panel, card="invented-25min", applied_at=START + MINUTE, kind="laminate")
    shed.round_at(9)
    assert shed.headline("lid-4") == "failed"
    assert shed.headline("rib-1") == "workable"


def test_watch_waits_for_files_that_are_not_there_yet(tmp_path: Path) -> None:
    """Started first of the three, it neither fails nor invents anything."""
    store = WatchWriter(tmp_path / "watch.db")
    clock = SteppedClock(START)
    watching = Watch(
        tmp_path / "readings.db",
        LogbookReader(tmp_path / "shop.db"),
        CardShelf(None),
        store,
        clock,
        ZoneInfo("UTC"),
    )
    watching.round()
    writer = Writer.open(tmp_path / "readings.db", clock)
    watching.round()
    Logbook(tmp_path / "shop.db").open().close()
    watching.round()
    assert WatchReader(tmp_path / "watch.db", LogbookReader(tmp_path / "shop.db")).latest() == []
    writer.close()
    store.close()


def test_a_disk_that_is_full_rings_once_and_is_over_when_there_is_room(shed: Shed, tmp_path: Path) -> None:
    shed.register()
    troubles = TroubleFile(tmp_path)
    troubles.tell(Kind.ON_RESERVE, START)
    shed.round_at(0)
    shed.round_at(1)
    alarms = [alarm for alarm in shed.seen.alarms() if alarm.kind == "recording"]
    assert [alarm.say.values for alarm in alarms] == [{"trouble": "on reserve"}]
    troubles.over(Kind.ON_RESERVE)
    troubles.close()
    for minute in range(2, 5):
        shed.round_at(minute)
    (alarm,) = [alarm for alarm in shed.seen.alarms() if alarm.kind == "recording"]
    assert alarm.returned_at is not None


def test_what_was_said_before_an_entry_is_no_answer_after_it(shed: Shed) -> None:
    """However slow the probe, and though watch has ended: "go on" does not outlive a hand that found it greasy."""

    def shown() -> str:
        view = View(ZoneInfo("UTC"), "degC", shed.clock.at)
        return strip(shed.logbook.panels()["lid-4"], shed.seen.assessment("lid-4"), view).headline

    shed.measured(-30, 241)
    shed.register()
    shed.log("coat mixed", 0, card="invented-25min")
    shed.round_at(240)
    said = shown()
    assert not said.startswith("Not known")
    entry = shed.log("thumb test", 240, words=["greasy"])
    assert shown() == "Not known: not worked out yet"
    shed.watch.round()
    assert shown() not in (said, "Not known: not worked out yet")
    shed.log("withdrawn", 240, event=entry)
    assert shown() == "Not known: not worked out yet"
    shed.watch.round()
    assert shown() == said


class _Interrupted:
    """A logbook into which an entry comes while readings are being taken in."""

    def __init__(self, logbook: LogbookReader, interrupt: Callable[[], object]) -> None:
        self._logbook, self._interrupt, self._asked = logbook, interrupt, 0

    def __getattr__(self, name: str) -> object:
        return getattr(self._logbook, name)

    def version(self) -> int:
        self._asked += 1
        if self._asked == 2:
            self._interrupt()
        return self._logbook.version()


def test_an_entry_is_answered_at_once_though_another_came_in_between(shed: Shed) -> None:
    """The round that was put off for the second must not forget the first."""
    shed.measured(-30, 700)
    shed.register("lid-4")
    shed.register("lid-5")
    shed.log("coat mixed", 0, "lid-4", card="invented-25min")
    shed.log("coat mixed", 0, "lid-5", card="invented-25min")
    shed.round_at(600)
    assert shed.headline("lid-4") != "wash_heavy"
    closed = WatchReader(shed.watch.readings.with_name("watch.db"), shed.watch.logbook)
    shed.clock.at = START + 600 * MINUTE + 5_000
    shed.log("thumb test", 600, "lid-4", words=["greasy"])
    shed.log("closed", 600, "lid-5")
    plain = shed.watch.logbook
    shed.watch.logbook = _Interrupted(plain, lambda: shed.log("preference", 600, key="unit", value="degC"))  # type: ignore[assignment]
    shed.watch.round()
    shed.watch.round()
    assert shed.headline("lid-4") == "wash_heavy"
    assert closed.assessment("lid-5") is None


def test_a_full_disk_stops_no_alarm_and_what_could_not_be_stored_is_stored_once_there_is_room(
    shed: Shed, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """SQLite's own limit on the file's size: it is full as on a full disk."""
    shed.measured(-30, 10)
    shed.round_at(9)
    connection = shed.store._file.connection
    connection.execute("CREATE TABLE filler(x)")
    connection.pragma("max_page_count", connection.pragma("page_count"))
    with contextlib.suppress(apsw.FullError):
        while True:
            connection.execute("INSERT INTO filler VALUES (zeroblob(200))")
    for number in range(200):  # more panels than fit into what is left of the last pages
        shed.register(f"lid-{number}")
    with caplog.at_level("INFO"):
        shed.round_at(20)
        shed.round_at(20.5)
    told = [record.getMessage() for record in caplog.records]
    assert len([line for line in told if line.startswith("watch.db cannot be written: disk full")]) == 1
    assert [line for line in told if line.startswith("alarm: ")] == [
        "alarm: Check probe S1: silent since 18:09"
    ]
    connection.pragma("max_page_count", 1_000_000)
    shed.round_at(21)
    assert [(alarm.kind, alarm.raised_at) for alarm in shed.seen.alarms()] == [
        ("probe silent", START + 20 * MINUTE)
    ]
    assert shed.seen.assessment("lid-199") is not None


def test_what_a_thumb_says_of_a_lot_counts_at_once_on_the_other_panels_laid_from_it(shed: Shed) -> None:
    """Within the minute, and no longer than the entry stands; a closed panel's coat has taught all the same."""
    shed.measured(-30, 400)
    lots = {"resin_lot": "R-1", "hardener_lot": "H-1"}
    for panel, minute in (("one", 0), ("two", 120)):
        shed.register(panel)
        shed.clock.at = START + minute * MINUTE
        shed.log(
            "coat mixed",
            minute,
            panel,
            card="invented-25min",
            applied_at=START + minute * MINUTE,
            kind="laminate",
            **lots,
        )
    shed.round_at(200.1)

    def taught() -> tuple[str, ...]:
        answer = shed.seen.assessment("two")
        assert answer is not None
        return answer.lot_panels

    assert taught() == ()
    test = shed.log("thumb test", 190, "one", words=["soft tack"])
    shed.round_at(200.2)
    assert taught() == ("one",)
    shed.log("closed", 191, "one")
    shed.round_at(200.3)
    assert taught() == ("one",)
    shed.log("withdrawn", 192, "one", event=test)
    shed.round_at(200.4)
    assert taught() == ()


def test_many_panels_have_their_turns_and_readings_are_taken_in_between(shed: Shed) -> None:
    """Each answer takes as long as a turn here: one a round, what was just entered first, then who waited longest; and
    no alarm is over for want of a look after a start.
    """
    shed.measured(-30, 10)
    for number in range(4):
        shed.register(f"panel-{number}")
    ticks = iter(range(10**6))
    shed.watch.monotonic = lambda: watch_module.TURN_S * next(ticks)
    answered: list[list[str]] = []
    batches: list[int] = []
    for turn in range(8):
        shed.measured(10 + turn, 11 + turn)
        if turn == 5:
            shed.log("panel moved", 9, "panel-3", zone="shed", surface_probe="S1", air_probe=None)
        before = dict(shed.watch._latest)
        shed.round_at(9 + turn / 100)
        now = shed.watch._latest
        answered.append([name for name in now if now[name] is not before.get(name)])
        batches += [now[name].batch for name in answered[-1]]
    assert [len(names) for names in answered[:4]] == [1, 1, 1, 1]
    assert sorted(name for names in answered[:4] for name in names) == [f"panel-{n}" for n in range(4)]
    assert answered[4] == []
    assert answered[5] == ["panel-3"]
    assert batches == sorted(set(batches)), "each rests on what came before its turn"
    assert shed.watch.waiting == 0
