"""Which device and which correction counted when: from the logbook, back-dated and taken back entries included."""

from __future__ import annotations

from itertools import permutations
from typing import Any

import numpy as np

from collector.reading import Quantity
from dashboard.correction import correct
from dashboard.devices import probe_logs
from dashboard.panel import Event

TEMPERATURE = Quantity.TEMPERATURE
DAY = 86_400_000
NOW = 400 * DAY


def replaced(id_: str, at: int, serial: str, probe: str = "S1") -> Event:
    return Event(id_, at, NOW, "Kim", "device replaced", None, {"probe": probe, "serial": serial})


def entered(
    id_: str, at: int, offset: float, serial: str = "", probe: str = "S1", due_at: int | None = None
) -> Event:
    body: dict[str, Any] = {
        "probe": probe, "serial": serial, "quantity": "temperature", "points": [[0.0, offset]], "half_width": 0.1,
        "margin": 20.0, "reference": "ice water", "due_at": due_at,
    }  # fmt: skip
    return Event(id_, at, NOW, "Kim", "correction entered", None, body)


def checked(id_: str, at: int, due_at: int | None, serial: str = "") -> Event:
    body: dict[str, Any] = {
        "probe": "S1", "serial": serial, "quantity": "temperature", "against": "ice water", "stage": "as found",
        "readings": [0.3], "reads": 0.3, "true": 0.0, "error": 0.3, "half_width": 0.1, "due_at": due_at,
    }  # fmt: skip
    return Event(id_, at, NOW, "Kim", "probe checked", None, body)


def back(id_: str, event: str) -> Event:
    return Event(id_, NOW, NOW, "Kim", "withdrawn", None, {"event": event})


def values(events: list[Event], *days: int, probe: str = "S1") -> list[float]:
    """What 10.0 degC is after correction on these days."""
    log = probe_logs(events, [probe])[probe]
    t = np.array([day * DAY for day in days], np.int64)
    return correct(t, np.full(len(t), 10.0), log.stretches(TEMPERATURE), 0.8).value.tolist()


def test_a_correction_counts_from_its_time_on_until_the_next() -> None:
    events = [entered("a", 100 * DAY, 1.0), entered("b", 200 * DAY, 2.0)]
    assert values(events, 99, 100, 199, 200, 500) == [10.0, 11.0, 11.0, 12.0, 12.0]


def test_the_order_of_entering_does_not_matter_unless_two_are_for_the_same_time() -> None:
    """Back-dating is entering late. Of two for one time the later entry is the correction of the earlier."""
    events = [entered("a", 100 * DAY, 1.0), entered("b", 200 * DAY, 2.0), replaced("c", 150 * DAY, "X7")]
    wanted = values(events, 99, 100, 149, 150, 200)
    assert wanted == [10.0, 11.0, 11.0, 10.0, 10.0]
    for order in permutations(events):
        assert values(list(order), 99, 100, 149, 150, 200) == wanted
    assert values([entered("a", 100 * DAY, 1.0), entered("b", 100 * DAY, 2.0)], 100) == [12.0]


def test_what_is_taken_back_counts_no_more() -> None:
    events = [entered("a", 100 * DAY, 1.0), entered("b", 200 * DAY, 2.0), back("c", "b")]
    assert values(events, 250) == [11.0]
    assert values([*events, back("d", "a")], 250) == [10.0]


def test_a_new_device_starts_without_the_old_ones_correction_and_takes_its_own_along() -> None:
    """By serial: X7 was corrected in another channel before it came here, and goes back there later."""
    events = [
        entered("a", 100 * DAY, 1.0),
        replaced("b", 50 * DAY, "X7", "S2"),
        entered("c", 60 * DAY, -3.0, "X7", "S2"),
        replaced("d", 200 * DAY, "X7"),
        replaced("e", 200 * DAY, "Y1", "S2"),
        replaced("f", 300 * DAY, "Z1"),
    ]
    assert values(events, 150, 200, 299, 300) == [11.0, 7.0, 7.0, 10.0]
    assert values(events, 55, 60, 199, 200, probe="S2") == [10.0, 7.0, 7.0, 10.0]
    log = probe_logs(events)["S1"]
    assert [device.serial for device in log.devices] == ["", "X7", "Z1"]
    assert log.device(250 * DAY).serial == "X7"
    assert log.in_force(TEMPERATURE, 350 * DAY) is None


def test_the_next_check_is_due_when_the_newest_check_or_correction_of_this_device_says() -> None:
    events = [
        checked("a", 10 * DAY, 300 * DAY),
        entered("b", 20 * DAY, 1.0, due_at=320 * DAY),
        checked("c", 30 * DAY, None),
    ]
    log = probe_logs(events, ["S1"])["S1"]
    assert log.due(TEMPERATURE, NOW) == 320 * DAY
    assert log.due(Quantity.RELATIVE_HUMIDITY, NOW) is None
    other = probe_logs([*events, replaced("d", 350 * DAY, "X7")])["S1"]
    assert other.due(TEMPERATURE, NOW) is None
    assert other.due(TEMPERATURE, 349 * DAY) == 320 * DAY
