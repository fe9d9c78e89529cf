"""Where nobody knows how long the machine was off, an answer is given only if it holds however long that was."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from collector.clock import SteppedClock
from collector.reading import ProbeFacts, Quantity, Reading
from collector.store.runs import Unsure
from collector.store.writer import Writer
from collector.timekeeper import Timekeeper
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.entry_times import EntryTimes
from dashboard.facts import Facts
from dashboard.follow import Follower
from dashboard.logbook import Logbook
from dashboard.panel import Event, ThumbTest
from dashboard.unsure_time import _moved_panel
from model.history import Samples
from model.observation import Word
from model.verdict import Flag, Kind
from tests.collector.machines import Bench
from tests.dashboard.night import HOUR_MS, MIXED, night

MINUTE = 60_000
GO_ON = {"recoatable", "recoatable_last", "sandable", "demouldable", "fully_cured", "overlap"}


def cut(facts: Facts, off: float, back: float, shown_later: float) -> Facts:
    """Nothing measured from `off` to `back` h after mixing; all from then on is served `shown_later` h later."""
    gone, again = MIXED + round(off * HOUR_MS), MIXED + round(back * HOUR_MS)
    move = round(shown_later * HOUR_MS)

    def seen(samples: Samples) -> Samples:
        keep = (samples.t <= gone) | (samples.t >= again)
        t = np.where(samples.t >= again, samples.t + move, samples.t)
        return Samples(t[keep], samples.value[keep])

    traces = {
        name: replace(
            trace,
            samples=seen(trace.samples),
            logged=None,
            newest=replace(trace.newest, at=trace.newest.at + move),
        )
        for name in ("surface", "air", "humidity")
        if (trace := getattr(facts, name)) is not None and trace.newest is not None
    }
    return replace(facts, **traces)


def key(answer: Assessment) -> str:
    return answer.verdict.headline.key


def test_nothing_bounds_the_cut_so_nothing_is_claimed() -> None:
    facts = cut(night(lambda hour: 20.0, 9.0), 4.0, 5.0, 0.0)
    lost = Unsure(MIXED + 5 * HOUR_MS, None, -HOUR_MS, None)
    answer = assess(replace(facts, unsure=(lost,)), MIXED + 9 * HOUR_MS)
    assert (key(answer), answer.verdict.kind) == ("clock_gap", Kind.NOT_KNOWN)
    assert Flag.GAP in answer.verdict.flags


def test_a_coat_mixed_after_the_cut_is_not_touched_by_it() -> None:
    facts = night(lambda hour: 20.0, 9.0)
    lost = Unsure(MIXED - HOUR_MS, None, -HOUR_MS, None)
    at = MIXED + 9 * HOUR_MS
    assert assess(replace(facts, unsure=(lost,)), at) == assess(facts, at)


def test_a_narrow_bound_far_from_any_turn_keeps_the_answer_and_says_so() -> None:
    facts = cut(night(lambda hour: 20.0, 60.0), 10.0, 10.5, 0.0)
    narrow = Unsure(MIXED + round(10.5 * HOUR_MS), None, -20 * MINUTE, 20 * MINUTE)
    at = MIXED + 60 * HOUR_MS
    answer, plain = assess(replace(facts, unsure=(narrow,)), at), assess(facts, at)
    assert key(answer) == key(plain) in GO_ON
    assert answer.verdict.why[-1].key == "why_clock_gap"
    assert answer.good_until <= plain.good_until


@pytest.mark.parametrize("hours", [3.0, 5.0])
def test_a_wide_bound_over_a_turn_is_not_known(hours: float) -> None:
    facts = cut(night(lambda hour: 20.0, hours), 1.0, 1.5, 0.0)
    wide = Unsure(MIXED + round(1.5 * HOUR_MS), None, 0, 30 * HOUR_MS)
    assert key(assess(replace(facts, unsure=(wide,)), MIXED + round(hours * HOUR_MS))) == "clock_gap"


def test_a10_no_yes_across_a_cut_that_the_true_times_would_not_give() -> None:
    assert said_across_cuts(range(8)) > 1, "it does answer where it can"


def said_across_cuts(seeds: range) -> int:
    """Random cuts, served wrongly within their bounds: how often "go on" was said, each time as by the true times."""
    said = 0
    for seed in seeds:
        chance = random.Random(seed)
        hours, warmth = chance.choice([4.0, 8.0, 20.0, 44.0, 60.0]), chance.uniform(14.0, 24.0)
        off = chance.uniform(0.2, 0.7) * hours
        back = off + chance.uniform(0.1, 0.25) * hours
        wrong = chance.uniform(-(back - off), 3.0)
        shop = night(lambda hour, warmth=warmth: warmth, hours, humidity=None)
        early = -chance.uniform(max(wrong, 0.0), wrong + back - off)
        late = max(-wrong, 0.0) + chance.uniform(0.0, 1.0)
        begins = MIXED + round((back + wrong) * HOUR_MS)
        span = Unsure(begins, None, min(round(early * HOUR_MS), 0), round(late * HOUR_MS))
        answer = assess(
            replace(cut(shop, off, back, wrong), unsure=(span,)), MIXED + round((hours + wrong) * HOUR_MS)
        )
        if key(answer) in GO_ON:
            said += 1
            assert key(answer) == key(assess(cut(shop, off, back, 0.0), MIXED + round(hours * HOUR_MS))), seed
    return said


def test_b52_entries_and_readings_of_a_run_whose_clock_is_set_later_move_together(tmp_path: Path) -> None:
    """A coat mixed in a boot that thought it was the last shutdown's time is as old as it was, before and after."""
    from collector.steady_clock import SteadyClock
    from collector.store.house_clock import HouseClock

    bench = Bench(MIXED)
    path = tmp_path / "readings.db"
    writer = Writer.open(path, SteppedClock(MIXED))
    writer.close()
    bench.boot(-9 * HOUR_MS)
    clock = SteadyClock(bench.machine)
    writer = Writer.open(path, clock)
    writer.describe([ProbeFacts("S1", "shed", "surface", 10.0, 0.8)])
    ticks = iter(range(10**6))
    keep = Timekeeper(clock, writer, lambda: True, lambda: None, monotonic=lambda: float(next(ticks)))
    house = HouseClock(path, bench.machine)
    follower = Follower(path, house.now())
    times = EntryTimes(path)
    logbook = Logbook(tmp_path / "shop.db", times=times).open()

    def read() -> None:
        bench.truth += MINUTE
        keep()
        writer.commit([Reading("S1", Quantity.TEMPERATURE, 12.0, clock.now(), clock.now())])

    read()
    now = house.now()
    logbook.append(Event("p", now, now, "me", "panel registered", "lid", {
        "name": "Lid", "zone": "shed", "surface_probe": "S1", "air_probe": None, "substrate": "wood"}))  # fmt: skip
    logbook.append(Event("c", now, now, "me", "coat mixed", "lid", {"card": "any", "applied_at": now}))
    mixed = bench.truth
    for _ in range(30):
        read()
    follower.refresh()

    def ages() -> tuple[int, int, int]:
        """Of the coat, of its being put on, and of the first reading after it."""
        coat = logbook.panels()["lid"].coats[0]
        trace = follower.trace("S1", Quantity.TEMPERATURE)
        assert trace is not None
        assert coat.applied_at is not None
        now = house.now()
        return now - coat.mixed_at, now - coat.applied_at, now - int(trace.samples.t[0])

    before, version = ages(), logbook.version()
    assert before == (bench.truth - mixed,) * 3
    bench.error, bench.synced = 0, True
    read()
    read()
    follower.refresh()
    assert ages() == (bench.truth - mixed,) * 3
    assert house.now() == bench.truth
    assert logbook.version() != version
    logbook.close()
    writer.close()


def test_thumb_tests_move_with_the_clock_that_dated_them() -> None:
    """Felt an hour ago by the clock that may be wrong is felt an hour ago however wrong it is."""
    hours = 14.0
    facts = cut(night(lambda hour: 20.0, hours), 4.0, 5.0, 0.0)
    (coat,) = facts.panel.coats
    at = MIXED + round(hours * HOUR_MS)
    test = ThumbTest(at - HOUR_MS, (Word.GREASY,), None)
    washed = at - 2 * HOUR_MS
    span = Unsure(MIXED + 5 * HOUR_MS, None, -HOUR_MS // 2, HOUR_MS // 2)
    greasy = replace(facts.panel, coats=(replace(coat, thumb_tests=(test,)),), washed_at=washed)
    answer = assess(replace(facts, panel=greasy, unsure=(span,)), at)
    assert key(answer) == "wash_heavy"
    moved = _moved_panel(greasy, lambda when: when + 3 * HOUR_MS)
    assert moved.coats[0].thumb_tests == (replace(test, at=test.at + 3 * HOUR_MS),)


def test_reasons_name_the_safe_end_of_a_time_too() -> None:
    """ "Could shut 06:50" must not outlive the headline it stands under."""
    for hours in np.arange(4.0, 6.0, 0.1):
        facts = night(lambda hour: 20.0, float(hours))
        span = Unsure(MIXED + HOUR_MS, None, 0, 3 * MINUTE)
        answer = assess(replace(facts, unsure=(span,)), MIXED + round(float(hours) * HOUR_MS))
        if key(answer) == "recoatable_last":
            until = next(item for item in answer.milestones if item.name == "recoat_until")
            assert answer.verdict.why[0].values["shut_by"] == until.early
            return
    raise AssertionError("the window's last half hour was never met")
