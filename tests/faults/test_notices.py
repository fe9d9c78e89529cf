"""A way out that is shut, wrong, refuses or hangs, and a notifier that is killed: real processes, real HTTP."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from collector.clock import SteppedClock
from collector.store.schema import NotYet
from dashboard.alarm import Alarm
from dashboard.alarms import AlarmStates, Condition
from dashboard.flight import at_once
from dashboard.logbook import Logbook
from dashboard.notice_store import NoticeReader, NoticeStore
from dashboard.notify import Notifier
from dashboard.send_notice import Apprise
from dashboard.watch_store import WatchReader, WatchWriter
from model.verdict import Say
from tests.dashboard.post_box import PostBox, post_box
from tests.journeys.shop import Process, now_ms, wait_until

MINUTE = 60_000
EVENING = 1_795_629_600_000


class House:
    """A shop's files, with watch's alarms written by the test, and `coldshed notify` as a process of its own."""

    def __init__(self, folder: Path, *boxes: PostBox) -> None:
        self.folder = folder
        self.data = folder / "data"
        self.data.mkdir()
        to = ""
        for number, box in enumerate(boxes, start=1):
            (folder / f"person{number}").write_text(box.url + "\n", encoding="utf-8")
            to += f'[[notices.to]]\nname = "Person {number}"\nurl_file = "person{number}"\n'
        text = f'site = "invented"\ntime_zone = "Europe/Oslo"\n[notices]\n{to}'
        (folder / "coldshed.toml").write_text(text, encoding="utf-8")
        self.logbook = Logbook(self.data / "shop.db").open()
        self.watch = WatchWriter(self.data / "watch.db")
        self.reader = NoticeReader(self.data / "notices.db")
        self.processes: list[Process] = []

    def notify(self) -> Process:
        words = ["notify", "--settings", str(self.folder / "coldshed.toml")]
        self.processes.append(Process(words, self.folder / "notify.log"))
        return self.processes[-1]

    def ring(self, panel: str) -> Alarm:
        """A pot about to go: told at once, at any hour."""
        at = now_ms()
        say = Say("alarm_pot", {"panel": panel, "pour_by": at + 30 * MINUTE})
        alarm = Alarm(
            f"pot-about-to-go.{panel}.{at}", "pot about to go", panel, None, at, None, say, panels=(panel,)
        )
        self.watch.save([], [alarm])
        return alarm

    def tried(self, times: int = 1) -> bool:
        path = self.data / "notices.db"
        try:
            return path.exists() and any(one.tries >= times for one in self.reader.troubles())
        except NotYet:
            return False

    def close(self) -> None:
        for process in self.processes:
            if not process.ended:
                process.kill()
        self.logbook.close()
        self.watch.close()


@pytest.fixture
def box() -> Iterator[PostBox]:
    with post_box() as made:
        yield made


def test_b56_a_notifier_killed_between_decision_and_sending_sends_it_when_it_is_back(
    tmp_path: Path, box: PostBox
) -> None:
    """SIGKILL while the way out is shut, a restart while it still is, then it opens: told once."""
    box.close()
    house = House(tmp_path, box)
    first = house.notify()
    house.ring("Lid 4")
    wait_until(house.tried, "the first try")
    first.kill()
    second = house.notify()
    wait_until(lambda: house.tried(2), "a try of the second process")
    box.open()
    wait_until(lambda: len(box.got) == 1, "the notice", 120.0)
    assert box.titles[0].startswith("Pour Lid 4 out before")
    wait_until(lambda: house.reader.waiting() == 0, "it is taken down")
    second.kill()
    third = house.notify()
    house.ring("Rib 1")
    wait_until(lambda: len(box.got) == 2, "the next notice, from a third process")
    assert "Lid 4" not in box.titles[1], "what was told is not told again"
    third.kill()
    assert "s3cr3t" not in third.said(), "no address in the log"
    house.close()


def test_b56_an_address_that_hangs_delays_nobody_else_and_no_loop(tmp_path: Path, box: PostBox) -> None:
    """One person's target takes the request and says nothing: the other is told, and the process goes on turning."""
    box.hang = True
    with post_box() as good:
        house = House(tmp_path, box, good)
        process = house.notify()
        house.ring("Lid 4")
        wait_until(lambda: box.asked > 0, "the hanging target is asked")
        wait_until(lambda: len(good.got) == 1, "the other is told")
        house.ring("Rib 1")
        wait_until(lambda: len(good.got) == 2, "the other is told of the next one, too")
        assert box.got == []
        os.kill(process.pid, signal.SIGTERM)
        wait_until(lambda: process.ended, "it ends when asked to", 60.0)
        house.close()


def test_b56_after_two_hours_of_refusals_everything_is_delivered(tmp_path: Path, box: PostBox) -> None:
    """The clock is moved by hand, the requests are real: 500 for two hours, then the box takes what it is given."""
    logbook = Logbook(tmp_path / "shop.db").open()
    watch = WatchWriter(tmp_path / "watch.db")
    store = NoticeStore(tmp_path / "notices.db")
    clock = SteppedClock(EVENING)
    notifier = Notifier(
        WatchReader(tmp_path / "watch.db", logbook), logbook, store, ("Kim",), Apprise({"Kim": lambda: [box.url]}),
        clock, ZoneInfo("Europe/Oslo"), "Invented shed", launch=at_once,
    )  # fmt: skip
    box.answer = 500
    panels = ("Lid 4", "Rib 1", "Box A", "Plug 7")
    for number, panel in enumerate(panels):
        say = Say("alarm_stopped", {"panel": panel, "move_C": 12.0})
        at = EVENING + number * 20 * MINUTE
        alarm = Alarm(f"too-cold.{panel}.{at}", "too cold", panel, None, at, None, say, panels=(panel,))
        clock.at = at
        watch.save([], [alarm])
        while clock.at < at + 20 * MINUTE:
            notifier.round()
            clock.at += 15_000
    watch.save([], [replace(alarm, returned_at=clock.at)])
    while clock.at < EVENING + 120 * MINUTE:
        notifier.round()
        clock.at += 15_000
    assert box.got == []
    assert box.asked > 20, "it never gave up"
    box.answer = 200
    while clock.at < EVENING + 240 * MINUTE:
        notifier.round()
        clock.at += 15_000
    assert store.waiting() == set()
    for panel in panels:
        assert panel in box.texts, f"{panel} was told, or told as over"
    assert len(box.got) <= 3, "what had gathered came together"
    store.close()
    watch.close()
    logbook.close()


def test_b56_a_wrong_address_is_told_in_words_and_counts_once_it_is_put_right(
    tmp_path: Path, box: PostBox
) -> None:
    house = House(tmp_path, box)
    (tmp_path / "person1").write_text("telepathy://s3cr3t\n", encoding="utf-8")
    house.notify()
    house.ring("Lid 4")
    wait_until(house.tried, "the first try")
    assert "none that the Apprise library knows" in house.reader.troubles()[0].why
    assert "s3cr3t" not in house.reader.troubles()[0].why
    (tmp_path / "person1").write_text(box.url, encoding="utf-8")
    wait_until(lambda: len(box.got) == 1, "the notice", 120.0)
    house.close()


def test_b68_a_value_on_its_limit_is_one_alarm_and_eight_probes_at_once_are_one_notice(
    tmp_path: Path, box: PostBox
) -> None:
    """Noise at the limit for an hour: one occurrence. A power strip: eight alarms, one notice that names them all."""
    states, raised = AlarmStates(), []
    say = Say("alarm_stopped", {"panel": "Plug 7", "move_C": 12.0})
    for second in range(0, 3600, 10):
        so = [Condition("too cold", "plug-7", None, say)] if second % 70 else []
        raised += [one.id for one in states.update(so, EVENING + second * 1000) if one.returned_at is None]
    assert len(set(raised)) <= 1
    logbook = Logbook(tmp_path / "shop.db").open()
    watch = WatchWriter(tmp_path / "watch.db")
    store = NoticeStore(None)
    clock = SteppedClock(EVENING)
    notifier = Notifier(
        WatchReader(tmp_path / "watch.db", logbook), logbook, store, ("Kim",), Apprise({"Kim": lambda: [box.url]}),
        clock, ZoneInfo("Europe/Oslo"), "Invented shed", launch=at_once,
    )  # fmt: skip
    for number in range(8):
        at = EVENING + number * 5_000
        say = Say("alarm_silent", {"probe": f"S{number}", "silent_at": at})
        watch.save(
            [], [Alarm(f"probe-silent.S{number}.{at}", "probe silent", None, f"S{number}", at, None, say)]
        )
    while clock.at < EVENING + 30 * MINUTE:
        notifier.round()
        clock.at += 30_000
    assert box.titles == ["Check 8 probes, silent: S0, S1, S2, S3, S4, S5, S6, S7"]
    store.close()
    watch.close()
    logbook.close()
