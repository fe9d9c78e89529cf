"""A chart's measured lines against every raw reading of a real store, and what is sent again when something changes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from collector.reading import Quality, Quantity, Reading
from collector.store.reader import Reader
from dashboard import roll_ups
from dashboard.chart_data import MOST_POINTS, ChartData, chart_data
from dashboard.correction import Correction
from dashboard.devices import ProbeLog, probe_logs
from dashboard.entry import correction_event
from dashboard.fold import fold
from dashboard.logbook import LogbookReader
from dashboard.panel import Panel, Stay
from dashboard.roll_ups import COARSE_MS, FINE_MS, RollUps, Spot
from dashboard.watch_store import WatchReader
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, answer, open_shop, stopped
from tests.dashboard.charted import put_together
from tests.dashboard.client import Client
from tests.dashboard.week_shop import GAP, WeekShop, week_shop

SECOND, DAY = 1000, 24 * HOUR
PANEL = Panel("plug-7", "Plug 7", "shed", "S7", "A7", "wood")
SPOT = Spot("S7", "A7")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[FakeShop]:
    opened = open_shop(tmp_path, heard=True)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> Iterator[WeekShop]:
    """Seven days at ten seconds, three series, worked out by watch itself."""
    with week_shop(tmp_path_factory.mktemp("week")) as made:
        yield made


def test_a_week_of_ten_seconds_keeps_every_peak_and_gap_in_two_thousand_points(week: WeekShop) -> None:
    readings = week.folder / "readings.db"
    logbook = LogbookReader(week.folder / "shop.db")
    item, panel = (
        WatchReader(week.folder / "watch.db", logbook).assessment("lid-4"),
        fold(logbook.events())["lid-4"],
    )
    assert item is not None
    assert item.curve is not None
    data = chart_data(item, item.curve, panel, RollUps(readings).of, {})
    line = data.lines.panel
    for drawn in data.lines.lines:
        assert len(drawn) + int(np.count_nonzero(drawn.parted)) <= MOST_POINTS
    t, value, _ = Reader.open(readings).samples("S1", Quantity.TEMPERATURE, week.mixed_at, item.at)
    assert len(t) > 59_000
    assert line.value.min() == value.min() == -6.0, "a door that stood open for ten seconds"
    for stretch in np.unique(t // data.step_ms):
        inside, drawn_there = (
            value[t // data.step_ms == stretch],
            line.value[line.t // data.step_ms == stretch],
        )
        assert (drawn_there.min(), drawn_there.max()) == (inside.min(), inside.max())
    parted = [(int(line.t[i - 1]), int(line.t[i])) for i in np.flatnonzero(line.parted[1:]) + 1]
    begin, end = week.mixed_at + GAP[0], week.mixed_at + GAP[1]
    assert [(begin - a <= 10 * SECOND, b - end <= 10 * SECOND) for a, b in parted] == [(True, True)]
    shown = np.isfinite(data.panel_C)
    assert np.count_nonzero(shown) > 400
    assert data.panel_C[shown] == pytest.approx(np.interp(data.t[shown], t, value), abs=1e-9)
    assert data.panel_C[shown] == pytest.approx(line.at(data.t[shown]), abs=1e-9)


def test_a_weeks_chart_is_sent_in_less_than_sixty_kilobytes_and_a_minute_more_in_a_tenth(
    week: WeekShop,
) -> None:
    client, path, have = Client(week.app), "/api/panels/lid-4/chart", {}
    answer = client.get(path)
    assert answer.headers["content-encoding"] == "gzip"
    assert answer.num_bytes_downloaded <= 60_000
    first = put_together(answer.json(), have)
    for trace in first["data"]:
        assert len(trace["x"]) <= MOST_POINTS
    week.later(MINUTE)
    newer = client.get(f"{path}?have={','.join(have)}")
    assert newer.num_bytes_downloaded <= 6_000
    assert put_together(newer.json(), have) == put_together(client.get(path).json(), {})


def test_only_what_a_batch_touched_is_read_again(shop: FakeShop) -> None:
    rolls = RollUps(shop.folder / "readings.db")
    ask = (SPOT, NOW - 13 * HOUR, NOW, FINE_MS)
    first = rolls.of(*ask, {})
    whole = rolls.rows_read
    again = rolls.of(*ask, {})
    assert rolls.rows_read == whole > 1000
    assert np.array_equal(first.panel.t, again.panel.t)
    shop.read(Reading("S7", Quantity.TEMPERATURE, 4.4, NOW, NOW))
    newer = rolls.of(*ask, {})
    assert newer.panel.t[-1] == NOW
    assert rolls.rows_read - whole < whole / 3
    late = Reading("S7", Quantity.TEMPERATURE, -9.0, NOW - 10 * HOUR + SECOND, NOW)
    shop.read(late)
    found = rolls.of(*ask, {}).panel
    assert found.value.min() == -9.0
    fresh = RollUps(shop.folder / "readings.db").of(*ask, {}).panel
    assert np.array_equal(found.t, fresh.t)
    assert np.array_equal(found.value, fresh.value)
    assert np.array_equal(found.parted, fresh.parted)


def test_what_was_asked_for_longest_ago_makes_room(shop: FakeShop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(roll_ups, "MOST_POINTS", 1000)
    rolls = RollUps(shop.folder / "readings.db")
    first, second = (SPOT, NOW - 13 * HOUR, NOW, FINE_MS), (Spot("S1", "A1"), NOW - HOUR, NOW, FINE_MS)
    for ask in (second, first):
        rolls.of(*ask, {})
    read = rolls.rows_read
    rolls.of(*first, {})
    assert rolls.rows_read == read, "the last one is kept however long it is"
    rolls.of(*second, {})
    assert rolls.rows_read > read, "the one before it made room"


def test_a_late_reading_closes_the_gap_on_both_sides_of_a_full_hour(shop: FakeShop) -> None:
    """The last hour's first point knew of a gap that the late readings, of the hour before it, have filled."""
    at = NOW // HOUR * HOUR
    ends = [at - 6 * MINUTE, at + MINUTE]
    shop.read(*(Reading("S2", Quantity.TEMPERATURE, 5.0 + n, t, t) for n, t in enumerate(ends)))
    rolls = RollUps(shop.folder / "readings.db")
    ask = (Spot("S2", None), at - HOUR, at + 2 * HOUR, FINE_MS)
    assert rolls.of(*ask, {}).panel.parted.tolist() == [True, True]
    times = range(at - 5 * MINUTE, at, MINUTE)
    shop.read(*(Reading("S2", Quantity.TEMPERATURE, 5.5, t, t) for t in times))
    assert rolls.of(*ask, {}).panel.parted.tolist() == [True] + [False] * 6


def test_an_unusable_reading_is_a_gap_and_no_value(shop: FakeShop) -> None:
    times = [NOW - 10 * MINUTE + n * MINUTE for n in range(9)]
    shop.read(
        *(
            Reading("S2", Quantity.TEMPERATURE, 85.0, at, at, Quality.POWER_ON_VALUE)
            if n in (3, 4)
            else Reading("S2", Quantity.TEMPERATURE, 5.0, at, at)
            for n, at in enumerate(times)
        )
    )
    line = RollUps(shop.folder / "readings.db").of(Spot("S2", None), times[0], NOW, FINE_MS, {}).panel
    assert set(line.value) == {5.0}
    assert times[3] not in line.t


def test_a_correction_changes_the_line_and_taking_it_back_gives_the_old_one(shop: FakeShop) -> None:
    rolls = RollUps(shop.folder / "readings.db")
    ask = (SPOT, NOW - 13 * HOUR, NOW, COARSE_MS)
    before = rolls.of(*ask, {}).panel
    made = Correction("c-00000001", NOW - DAY, Quantity.TEMPERATURE, ((4.0, 5.0),), 0.2, 50.0)
    log = probe_logs([correction_event(NOW, "Kim", "S7", "", made, "ice", None)], ["S7"])
    after = rolls.of(*ask, log).panel
    assert after.value == pytest.approx(before.value + 1.0, abs=1e-9)
    nothing: dict[str, ProbeLog] = {}
    assert np.array_equal(rolls.of(*ask, nothing).panel.value, before.value)


def test_a_panel_that_was_moved_has_a_gap_between_its_probes(shop: FakeShop) -> None:
    item = answer("plug-7", "Plug 7", stopped(NOW))
    moved = NOW - 5 * MINUTE
    stays = (Stay(0, "shed", "S7", "A7"), Stay(moved, "shed", "S1", "A1"))
    panel = replace(PANEL, surface_probe="S1", air_probe="A1", stays=stays)
    data: ChartData = chart_data(item, item.curve, panel, RollUps(shop.folder / "readings.db").of, {})
    line = data.lines.panel
    here = int(np.searchsorted(line.t, moved))
    assert line.parted[here]
    assert set(line.value[here:]) == {0.4}
    assert line.value[:here].min() > 3.0


def chart(client: Client, have: dict[str, Any]) -> tuple[dict[str, Any], int]:
    """The chart as a page that has those blocks puts it together, and how many blocks were sent."""
    told = client.get("/api/panels/plug-7/chart?have=" + ",".join(have)).json()
    return put_together(told, have), sum(not isinstance(block, str) for block in told["blocks"])


def test_after_the_first_load_only_new_and_changed_blocks_are_sent(shop: FakeShop) -> None:
    client, have = Client(shop.app), {}
    shop.save(answer("plug-7", "Plug 7", stopped(NOW)))
    first, sent = chart(client, have)
    assert sent == len(have) > 4
    assert chart(client, have) == (first, 0)

    shop.read(Reading("S7", Quantity.TEMPERATURE, 9.0, NOW - 5 * SECOND, NOW))
    newer, sent = chart(client, have)
    assert sent == 1
    assert newer != first
    assert newer == chart(client, {})[0]

    shop.read(Reading("S7", Quantity.TEMPERATURE, 12.34, NOW - 11 * HOUR + SECOND, NOW))
    late, sent = chart(client, have)
    assert sent == 1
    assert late == chart(client, {})[0]
    assert 12.34 in late["data"][4]["y"]

    body = {
        "quantity": "temperature",
        "reference": "ice",
        "points": [[0.0, 0.5]],
        "half_width": 0.2,
        "margin": 60,
    }
    made = Correction.of("c-0000001", 0, body)
    shop.logbook.append(correction_event(NOW, "Kim", "S7", "", made, "ice", None))
    put_right, sent = chart(client, have)
    assert sent >= 4
    assert put_right == chart(client, {})[0]
