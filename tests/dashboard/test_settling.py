"""What watch keeps of a panel's course holds exactly as long as nothing before its hour has changed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quality, Quantity, Reading
from collector.store import rechecks
from collector.store.rechecks import Changed
from collector.store.writer import Writer
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.correction import Correction
from dashboard.devices import FIRST, Device, Entered, ProbeLog
from dashboard.follow import Follower
from dashboard.live import asking
from dashboard.panel import Coat, Panel, ThumbTest
from dashboard.settling import Settling, whole
from model import coat as coat_module
from model.history import HOUR_MS
from model.observation import Word
from tests.dashboard.few_members import few_members as few_members
from tests.dashboard.night import MIXED, card

MINUTE = 60_000
EVERY_MS = 5 * MINUTE
CARD = card()
EXAMPLES = 6


class Shop:
    """One panel on real readings, asked through what is kept and from the start."""

    def __init__(self, folder: Path, *, surface: bool = True) -> None:
        self.writer = Writer.open(folder / "readings.db", SteppedClock(MIXED))
        self.writer.describe([ProbeFacts(name, "shed", "surface", 300.0, 0.8) for name in ("S1", "A1", "S2")])
        self.path = folder / "readings.db"
        self.now = MIXED - 30 * HOUR_MS
        self.follower = Follower(self.path, self.now)
        self.settling = Settling(self.follower)
        coat = Coat(1, CARD.id, MIXED, MIXED, "laminate", "e1")
        self.panel = Panel("lid", "Lid", "shed", "S1" if surface else None, "A1", "wood", (coat,))
        self.logs: dict[str, ProbeLog] = {}
        self.pass_time(30)

    def pass_time(self, hours: float) -> None:
        """Everything is read in its turn."""
        end = self.now + round(hours * HOUR_MS)
        found = [reading for at in range(self.now, end, EVERY_MS) for reading in self.read(at)]
        for start in range(0, len(found), 200):
            self.writer.commit(found[start : start + 200])
        self.now = end

    def read(self, at: int, probes: tuple[str, ...] = ("S1", "A1", "S2"), off: float = 0.0) -> list[Reading]:
        swing = 5 * np.sin(at / HOUR_MS / 24 * 2 * np.pi) + off + at // EVERY_MS * 7 % 11 / 40
        found = [Reading(name, Quantity.TEMPERATURE, 14.0 + swing, at, at, Quality.GOOD) for name in probes]
        moist = Reading("A1", Quantity.RELATIVE_HUMIDITY, 70.0 + 3 * swing, at, at, Quality.GOOD)
        return [*found, moist] if "A1" in probes else found

    def both(self) -> tuple[Assessment, Assessment]:
        """Kept, and from the start by a follower that has just begun."""
        self.follower.keep(self.now, self.settling.needed([self.panel]))
        fresh = Follower(self.path, self.now)
        for follower in (self.follower, fresh):
            follower.logs = self.logs
            follower.refresh()
        kept = self.settling.ask(self.panel, asking(self.panel, self.follower, self.card), self.now, assess)
        of = asking(self.panel, fresh, self.card)
        return kept, assess(whole(fresh, of, of(fresh.trace), self.now), self.now)

    def card(self, name: str) -> object:
        return CARD if name == CARD.id else None

    def must_agree(self) -> None:
        kept, fresh = self.both()
        assert kept.to_json() == fresh.to_json()

    def flagged(self, hours_ago: float, minutes: float, names: tuple[str, ...] = ("S1", "A1")) -> None:
        """Looked at in order, what these probes said in the second half of some ten minutes is found unusable, or good
        again."""
        at = self.now - round(hours_ago * HOUR_MS)
        rows = [
            row for row in rechecks.in_order(self.writer.connection, at, at + round(minutes * MINUTE))
            if row.reading.probe in names and row.reading.at // EVERY_MS % 2
        ]  # fmt: skip
        self.writer.reflag(
            [Changed(row, row.reading.quality ^ Quality.IMPOSSIBLE_RATE) for row in rows], None
        )

    def felt(self, hours_ago: float, word: Word) -> None:
        coat = self.panel.newest
        assert coat is not None
        test = ThumbTest(self.now - round(hours_ago * HOUR_MS), (word,), None)
        self.panel = replace(
            self.panel, coats=(*self.panel.coats[:-1], replace(coat, thumb_tests=(*coat.thumb_tests, test)))
        )

    def corrected(self, hours_ago: float) -> None:
        since = self.now - round(hours_ago * HOUR_MS)
        made = Correction(f"c{since}", since, Quantity.TEMPERATURE, ((10.0, 10.4), (20.0, 20.3)), 0.3, 2.0)
        entered = Entered(made, "x", since, "r", None)
        self.logs = {"S1": ProbeLog("S1", (Device("S1", "", FIRST, ""),), {("", "S1"): (entered,)}, {})}


EDITS = st.sampled_from(
    [
        "time",
        "time",
        "time",
        "long",
        "late",
        "gap",
        "felt",
        "corrected",
        "washed",
        "moved",
        "coat",
        "back",
        "flagged",
    ]
)


@settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
)
@given(st.lists(st.tuples(EDITS, st.floats(0.0, 9.0)), min_size=3, max_size=10), st.booleans())
def test_whatever_comes_late_or_is_entered_the_answer_is_the_one_from_the_start(
    tmp_path_factory: pytest.TempPathFactory, edits: list[tuple[str, float]], surface: bool
) -> None:
    """Readings and entries in any order, asked after each; a wrong yes from something kept would cost most."""
    shop = Shop(tmp_path_factory.mktemp("shop"), surface=surface)
    for edit, hours in edits:
        change(shop, edit, hours)
        if shop.now > MIXED:
            shop.must_agree()
    shop.writer.close()


def change(shop: Shop, edit: str, hours: float) -> None:
    if edit in ("time", "long"):
        shop.pass_time(3 * hours if edit == "long" else hours / 3)
    elif edit == "gap":
        shop.now += round(hours * HOUR_MS)
        shop.pass_time(0.5)
    elif edit == "late":
        at = shop.now - round(hours * HOUR_MS) + 11_000
        shop.writer.commit(shop.read(at, off=1.0))
    elif edit == "flagged":
        shop.flagged(3 * hours, 90)
    elif edit == "back":
        shop.now -= round(hours * HOUR_MS / 3)
    elif edit == "felt":
        shop.felt(hours, (Word.TAPE, Word.TACK_FREE, Word.DUSTS)[int(hours) % 3])
    elif edit == "corrected":
        shop.corrected(hours)
    elif edit == "washed":
        shop.panel = replace(shop.panel, washed_at=shop.now - round(hours * HOUR_MS))
    elif edit == "moved" and shop.panel.surface_probe:
        shop.panel = replace(shop.panel, surface_probe="S2" if shop.panel.surface_probe == "S1" else "S1")
    elif edit == "coat" and shop.now > MIXED:
        at = max(shop.now - round(hours * HOUR_MS), MIXED + MINUTE)
        number = len(shop.panel.coats) + 1
        if at > shop.panel.coats[-1].mixed_at:
            coat = Coat(number, CARD.id, at, at, "laminate", f"e{number}")
            shop.panel = replace(shop.panel, coats=(*shop.panel.coats, coat))


def test_after_a_clock_was_set_back_nothing_is_used_that_is_settled_beyond_it(tmp_path: Path) -> None:
    """By minutes, to just before the hour that was settled, and by hours; and forward again."""
    shop = Shop(tmp_path)
    shop.pass_time(12)
    shop.must_agree()
    known = shop.now
    for minutes in (35, 62, 180, 0):
        shop.now = known - minutes * MINUTE
        shop.must_agree()
    shop.writer.close()


@pytest.mark.parametrize("hours_ago", [8.0, 14.0])
def test_flags_that_change_long_after_count_wherever_they_lie_in_their_ten_minutes(
    tmp_path: Path, hours_ago: float
) -> None:
    """Of which but the first good reading is kept: what was folded into it is known by its digest. And back again."""
    shop = Shop(tmp_path)
    shop.pass_time(16)
    odd = shop.now - round(hours_ago * HOUR_MS) // EVERY_MS * EVERY_MS
    for at in range(odd, odd + HOUR_MS, 2 * EVERY_MS):
        shop.writer.commit(
            shop.read(at + 61_000 + EVERY_MS * (at // EVERY_MS % 2 == 0), ("S1", "A1"), off=9.0)
        )
    shop.must_agree()
    told = [shop.both()[0].to_json()]
    for _ in range(2):
        shop.flagged(hours_ago, 60)
        shop.must_agree()
        told.append(shop.both()[0].to_json())
    assert told[1] != told[0]
    shop.writer.close()


class Deaf(Shop):
    """What its air probe says is unusable, and after some hours it says nothing more."""

    falls_silent = MIXED + 8 * HOUR_MS

    def read(self, at: int, probes: tuple[str, ...] = ("S1", "A1", "S2"), off: float = 0.0) -> list[Reading]:
        return [
            one if one.probe != "A1" else replace(one, quality=Quality.IMPOSSIBLE_RATE)
            for one in super().read(at, probes, off)
            if one.probe != "A1" or at < self.falls_silent
        ]


def test_what_comes_late_of_an_air_probe_of_which_nothing_was_usable_counts(tmp_path: Path) -> None:
    """Of it nothing is kept, neither hours nor log: what was settled was settled without it."""
    shop = Deaf(tmp_path)
    shop.pass_time(18)
    shop.must_agree()
    told = shop.both()[0].to_json()
    kept = [shop.now - 14 * HOUR_MS + minute * MINUTE for minute in range(0, 240, 2)]
    shop.writer.commit([one for at in kept for one in Shop.read(shop, at, ("A1",))])
    shop.must_agree()
    assert shop.both()[0].to_json() != told
    shop.writer.close()


class Counted:
    """Minutes of history that go into a course."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.minutes = 0
        whole = coat_module._integrate

        def integrate(of: object, state: object, minutes: object, ahead: int) -> object:
            self.minutes += ahead
            return whole(of, state, minutes, ahead)  # type: ignore[arg-type]

        patch.setattr(coat_module, "_integrate", integrate)


@contextmanager
def counted(monkeypatch: pytest.MonkeyPatch) -> Iterator[Counted]:
    with monkeypatch.context() as patch:
        yield Counted(patch)


def test_the_second_answer_of_a_panel_of_thirty_days_works_out_only_what_is_new(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Counted in minutes of history, not in seconds: each answer at most what is not settled, and one hour more when an
    hour is.
    """
    shop = Shop(tmp_path)
    shop.pass_time(30 * 24)
    with counted(monkeypatch) as first:
        shop.settling.ask(shop.panel, asking_of(shop), shop.now, assess)
    assert first.minutes > 30 * 24 * 60
    for minutes in (1, 10, 60, 7 * 60):
        shop.pass_time(minutes / 60)
        with counted(monkeypatch) as after:
            shop.settling.ask(shop.panel, asking_of(shop), shop.now, assess)
        assert after.minutes <= 2 * (90 + minutes)
    shop.must_agree()
    shop.writer.commit(shop.read(MIXED + 11_000))
    with counted(monkeypatch) as changed:
        shop.settling.ask(shop.panel, asking_of(shop), shop.now, assess)
    assert changed.minutes > 30 * 24 * 60, "something before it has changed"
    shop.writer.close()


def asking_of(shop: Shop) -> object:
    shop.follower.keep(shop.now, shop.settling.needed([shop.panel]))
    shop.follower.refresh()
    return asking(shop.panel, shop.follower, shop.card)
