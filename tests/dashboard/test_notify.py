"""The outbox, on real files with a clock moved by hand: nothing lost, nothing said twice, nobody woken for nothing."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import apsw
import pytest

from collector.clock import SteppedClock
from dashboard.flight import at_once
from dashboard.logbook import Logbook
from dashboard.notice_store import NoticeReader, NoticeStore
from dashboard.notice_words import Message
from dashboard.notify import APART_MS, LONGEST_WAIT_MS, MOST_WAKING, Notifier
from dashboard.panel import Event
from dashboard.watch_store import Alarm, WatchReader, WatchWriter
from model.verdict import Say
from tests.browser.fake_shop import utc

EVENING = utc("2026-01-10 18:00")
"""19:00 in the shop's zone."""
NIGHT = utc("2026-01-11 01:00")
MINUTE = 60_000
HOUR = 60 * MINUTE


class House:
    """A shop's watch.db, shop.db and notices.db in a folder; whoever is told writes it down, unless away."""

    def __init__(self, folder: Path, *names: str) -> None:
        self.folder = folder
        self.clock = SteppedClock(EVENING)
        self.logbook = Logbook(folder / "shop.db").open()
        self.watch = WatchWriter(folder / "watch.db")
        self.names = names or ("Kim",)
        self.got: list[tuple[int, str, Message]] = []
        self.why: str | None = None
        self.number = 0
        self.start()

    def start(self) -> None:
        self.store = NoticeStore(self.folder / "notices.db")
        self.notifier = Notifier(
            watched=WatchReader(self.folder / "watch.db", self.logbook),
            logbook=self.logbook,
            store=self.store,
            names=self.names,
            send=self.take,
            clock=self.clock,
            zone=ZoneInfo("Europe/Oslo"),
            site="Invented shed",
            launch=at_once,
        )

    def take(self, name: str, made: Message) -> str | None:
        if self.why is None:
            self.got.append((self.clock.at, name, made))
        return self.why

    def ring(self, alarm: Alarm) -> Alarm:
        self.watch.save([], [alarm])
        return alarm

    def until(self, at: int, step: int = MINUTE) -> None:
        """Rounds up to and at `at`."""
        while self.clock.at < at:
            self.notifier.round()
            self.clock.at = min(self.clock.at + step, at)
        self.notifier.round()

    def log(self, kind: str, **body: object) -> None:
        self.number += 1
        self.logbook.append(
            Event(f"entry-{self.number:04d}", self.clock.at, self.clock.at, "Kim", kind, None, body)
        )

    @property
    def titles(self) -> list[str]:
        return [made.title for _, _, made in self.got]

    def close(self) -> None:
        self.store.close()
        self.watch.close()
        self.logbook.close()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path)
    yield made
    made.close()


def silent(probe: str, at: int, *panels: str, urgent: bool = True) -> Alarm:
    say = Say("alarm_silent", {"probe": probe, "silent_at": at})
    return Alarm(
        f"probe-silent.{probe}.{at}", "probe silent", None, probe, at, None, say, None, None, panels, urgent
    )


def cold(panel: str, at: int) -> Alarm:
    say = Say("alarm_stopped", {"panel": panel, "move_C": 12.0})
    return Alarm(f"too-cold.{panel}.{at}", "too cold", panel, None, at, None, say, None, None, (panel,))


def pot(panel: str, at: int) -> Alarm:
    say = Say("alarm_pot", {"panel": panel, "pour_by": at + 10 * MINUTE})
    return Alarm(
        f"pot-about-to-go.{panel}.{at}", "pot about to go", panel, None, at, None, say, None, None, (panel,)
    )


def over(alarm: Alarm, at: int) -> Alarm:
    return replace(alarm, returned_at=at)


def test_one_silent_probe_with_five_panels_is_one_notice_that_names_them(house: House) -> None:
    names = ("Box A", "Lid 4", "Plug 7", "Rib 1", "Skiff deck 2")
    house.ring(silent("A1", EVENING, *names))
    house.until(EVENING + 5 * MINUTE)
    [(at, name, made)] = house.got
    assert (at - EVENING, name) == (3 * MINUTE, "Kim")
    assert made.title == "Check probe A1: silent since 19:00"
    assert f"It stands for {', '.join(names)}." in made.body


def test_eight_probes_on_one_power_strip_are_one_notice(house: House) -> None:
    """FAULTS.md, alarm row: 8 probes fail at once, one message, grouped."""
    for number in range(8):
        house.clock.at = EVENING + number * 15_000
        house.ring(silent(f"S{number}", house.clock.at, "Lid 4"))
        house.notifier.round()
    house.until(EVENING + 20 * MINUTE)
    assert house.titles == ["Check 8 probes, silent: S0, S1, S2, S3, S4, S5, S6, S7"]


def test_one_cold_night_is_one_notice_and_another_panel_is_told_in_the_morning(house: House) -> None:
    """Said in the evening for one panel; the same panel, stopped at night, says nothing new; another one waits."""
    house.ring(cold("Plug 7", EVENING))
    house.until(EVENING + 20 * MINUTE)
    house.ring(cold("Lid 4", house.clock.at))
    house.ring(cold("Box A", house.clock.at + MINUTE))
    house.until(utc("2026-01-10 20:29"))
    assert len(house.got) == 1, "what else the night will do is told at the evening round"
    house.until(utc("2026-01-10 20:30"))
    assert house.titles[1:] == ["Warm 2 panels: no cure in Box A, Lid 4"]
    house.clock.at = NIGHT
    house.log("quiet hours", person="Kim", start="22:00", end="06:00", wake=["too cold"])
    house.ring(replace(cold("Plug 7", NIGHT), id=f"too-cold-tonight.Plug 7.{NIGHT}", kind="too cold tonight"))
    house.ring(cold("Rib 1", NIGHT))
    house.until(NIGHT + 4 * HOUR - MINUTE)
    assert len(house.got) == 2, "nothing in the night, although Kim asked to be woken for it"
    house.until(NIGHT + 4 * HOUR + MINUTE)
    assert house.titles[2:] == ["Warm Rib 1 to 12 °C: no cure"]


def test_a_pot_comes_at_once_whatever_the_hour_and_the_rest_waits_for_the_morning(house: House) -> None:
    """Quiet hours hold back everything but a pot about to go."""
    house.clock.at = NIGHT
    house.ring(pot("Lid 4", NIGHT))
    house.ring(cold("Rib 1", NIGHT))
    house.notifier.round()
    assert house.titles == ["Pour Lid 4 out before 02:10"]
    house.until(utc("2026-01-11 04:59"))
    assert len(house.got) == 1
    house.until(utc("2026-01-11 05:00"))
    assert house.titles[1:] == ["Warm Rib 1 to 12 °C: no cure"]


def test_a_probe_wakes_only_over_a_young_film_and_only_who_did_not_say_no(tmp_path: Path) -> None:
    house = House(tmp_path, "Kim", "Robin")
    house.log("quiet hours", person="Robin", start="21:00", end="07:00", wake=[])
    house.clock.at = NIGHT
    house.ring(silent("S1", NIGHT, "Lid 4", urgent=False))
    house.until(NIGHT + 30 * MINUTE)
    assert house.got == [], "nothing is lost by that: it waits"
    house.ring(silent("S2", house.clock.at, "Rib 1"))
    house.until(NIGHT + 60 * MINUTE)
    assert [name for _, name, _ in house.got] == ["Kim"]
    house.close()


def test_nobody_is_woken_more_than_three_times_a_night_but_for_a_pot(house: House) -> None:
    house.clock.at = NIGHT
    for number in range(6):
        house.ring(silent(f"S{number}", house.clock.at, "Lid 4"))
        house.until(house.clock.at + 20 * MINUTE)
    assert len(house.got) == MOST_WAKING
    house.ring(pot("Lid 4", house.clock.at))
    house.notifier.round()
    assert len(house.got) == MOST_WAKING + 1
    house.until(utc("2026-01-11 05:01"))
    assert "S3" in house.got[-1][2].title + house.got[-1][2].body, "what was held back comes in the morning"


def test_what_comes_and_goes_is_told_twice_a_night_and_no_more(house: House) -> None:
    """A loose plug: a new occurrence each quarter of an hour is no news after the second."""
    for _ in range(12):
        alarm = house.ring(silent("S1", house.clock.at, "Lid 4"))
        house.until(house.clock.at + 10 * MINUTE)
        house.ring(over(alarm, house.clock.at))
        house.until(house.clock.at + 15 * MINUTE)
    assert house.titles == ["Check probe S1: silent since 19:00", "Check probe S1: silent since 19:25"]


def test_after_two_hours_without_a_way_out_everything_is_told_once(house: House) -> None:
    """Three notices while the way out was shut: what is still true, and what was over meanwhile, is said."""
    house.why = "address 1 did not take it"
    first = house.ring(silent("S1", EVENING, "Lid 4"))
    house.until(EVENING + 30 * MINUTE)
    house.ring(over(first, house.clock.at))
    house.ring(cold("Plug 7", house.clock.at))
    house.ring(silent("S2", house.clock.at, "Rib 1"))
    house.until(EVENING + 2 * HOUR)
    assert house.got == []
    house.why = None
    house.until(EVENING + 2 * HOUR + LONGEST_WAIT_MS)
    [(at, _, made)] = house.got
    assert at <= EVENING + 2 * HOUR + LONGEST_WAIT_MS
    text = f"{made.title}\n{made.body}"
    assert "Warm Plug 7 to 12 °C: no cure" in text
    assert "Check probe S2: silent since 19:30" in text
    assert "Over meanwhile, not told in time:\nCheck probe S1: silent since 19:00 (19:00 to 19:30)" in text
    assert house.store.waiting() == set()


def test_killed_between_decision_and_sending_it_is_sent_by_the_next_and_by_no_third(house: House) -> None:
    """The decision is in the file before anything is sent: a new process finds it there, and sends it once."""
    house.ring(silent("S1", EVENING, "Lid 4"))
    house.notifier.round()
    house.clock.at += 3 * MINUTE
    house.store.close()  # killed: decided, not sent
    house.start()
    house.notifier.round()
    assert house.titles == ["Check probe S1: silent since 19:00"]
    house.store.close()
    house.start()
    house.until(house.clock.at + HOUR)
    assert len(house.got) == 1


def test_killed_after_sending_and_before_it_was_taken_down_it_comes_again_with_the_same_mark(
    house: House,
) -> None:
    """At least once: twice is allowed, and can be told by the notice's mark; it waits for its turn all the same."""
    house.ring(silent("S1", EVENING, "Lid 4"))
    house.clock.at = EVENING + 3 * MINUTE

    def taken_and_killed(name: str, made: Message) -> str | None:
        house.take(name, made)
        raise KeyboardInterrupt

    house.until(house.clock.at - 1)
    house.notifier.send = taken_and_killed
    house.clock.at += 3 * MINUTE
    with pytest.raises(KeyboardInterrupt):
        house.notifier.round()
    house.store.close()
    house.start()
    house.until(house.clock.at + 2 * APART_MS)
    marks = [made.body.split("notice ")[1].split()[0] for _, _, made in house.got]
    assert len(marks) == 2
    assert marks[0] == marks[1]


def test_a_growing_wait_that_never_gives_up(house: House) -> None:
    tries: list[int] = []

    def refuse(name: str, made: Message) -> str | None:
        tries.append(house.clock.at)
        return "address 1 answers 500"

    house.notifier.send = refuse
    house.ring(silent("S1", EVENING, "Lid 4"))
    house.until(EVENING + 25 * MINUTE, step=1000)
    waits = [second - first for first, second in itertools.pairwise(tries)]
    assert waits[:3] == [5_000, 10_000, 20_000]
    assert max(waits) == LONGEST_WAIT_MS == waits[-1]
    assert NoticeReader(house.folder / "notices.db").troubles()[0].why == "address 1 answers 500"


def test_what_was_seen_on_the_page_is_not_told(house: House) -> None:
    alarm = house.ring(silent("S1", EVENING, "Lid 4"))
    house.notifier.round()
    house.log("alarm seen", alarm=alarm.id)
    house.until(EVENING + HOUR)
    assert house.got == []
    [(person, state, _)] = NoticeReader(house.folder / "notices.db").of_alarm(alarm.id)
    assert (person, state) == ("Kim", "dropped: it was seen on the page, or is switched off")


def test_quiet_holds_it_back_and_afterwards_it_is_told_again_if_it_is_still_so(house: House) -> None:
    alarm = house.ring(silent("S1", EVENING, "Lid 4"))
    house.until(EVENING + 5 * MINUTE)
    house.log("alarm shelved", alarm=alarm.id, until=EVENING + 35 * MINUTE, reason="")
    house.until(EVENING + 34 * MINUTE)
    assert len(house.got) == 1
    house.until(EVENING + 90 * MINUTE)
    assert len(house.got) == 2


def test_a_test_goes_to_whom_it_is_meant_for_at_any_hour(tmp_path: Path) -> None:
    house = House(tmp_path, "Kim", "Robin")
    house.clock.at = NIGHT
    house.log("notice test", person="Robin")
    house.until(NIGHT + 10 * MINUTE)
    assert [(name, made.title) for _, name, made in house.got] == [("Robin", "Test: this notice reached you")]
    house.close()


def test_on_a_full_disk_it_is_told_all_the_same_that_nothing_is_recorded(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """notices.db lies on the same disk: what cannot be taken down is told from memory, once."""
    say = Say("alarm_recording", {"trouble": "disk full"})
    house.clock.at = NIGHT
    house.ring(Alarm("recording..1", "recording", None, None, NIGHT, None, say))
    house.ring(silent("S1", NIGHT, "Lid 4"))

    def full(*_: object) -> None:
        raise apsw.FullError("database or disk is full")

    monkeypatch.setattr(NoticeStore, "decided", full)
    house.until(NIGHT + 30 * MINUTE)
    assert house.titles == ["Save the recording: disk full"]
    monkeypatch.undo()
    house.until(NIGHT + 40 * MINUTE)
    told = "".join(made.title + made.body for _, _, made in house.got[1:])
    assert "Check probe S1" in told, "and the rest once there is room"
