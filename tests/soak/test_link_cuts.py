"""Promise A13: a link that is cut again and again is taken up each time, and leaves nothing behind.

CI cuts a few times, tests/long two hundred times; half of the cuts are orderly ends, half are resets.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.collector.test_mqtt_to_store import Collector, at_home, collecting, send, timed
from tests.services import Server, mosquitto, running, wait_until
from tests.soak.link import Link, linked
from tests.soak.test_soak import GROWTH

AT_ONCE = 10
"""Messages after each cut: a full batch, which is committed without waiting for an allowance."""
WARM = 3
"""Cuts before the first look: the libraries load what they need only when a link is lost."""
BACK_S = 30.0
"""Promise A13: back within 30 s."""
QUICK = "import collector.sources.mqtt; collector.sources.mqtt.SHORT_S = 0.0"
"""Three connections in a row of under ten seconds are else taken for a second client with our session, and the
next try waits for half a minute: right for a shop, too slow for a test."""
SOURCES = 2


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Server]:
    with running(mosquitto(tmp_path / "broker")) as server:
        yield server


def assert_recovers(broker: Server, folder: Path, cuts: int) -> list[dict[str, int]]:
    """Cuts the link; after each cut all that is sent must be stored. Returns what the collector held after each."""
    held = []
    with linked(broker.port) as link, collecting(folder, link, QUICK) as collector:
        at_home(broker, collector)
        for number in range(WARM + cuts):
            held.append(after_cut(number, link, broker, collector))
        stored = collector.seen()
    assert sorted(v for v in stored.of("S2").values() if v != 9.0) == [
        10 + i / 1000 for i in range(AT_ONCE * (WARM + cuts))
    ]
    first, last = held[WARM], held[-1]
    assert last["threads"] <= first["threads"], held
    assert last["descriptors"] <= first["descriptors"], held
    assert last["resident"] - first["resident"] < GROWTH, held
    return held


def after_cut(number: int, link: Link, broker: Server, collector: Collector) -> dict[str, int]:
    """Cuts, sends, waits until it is stored and both sources are connected again."""
    made = link.made
    assert link.cut(reset=bool(number % 2)) == SOURCES
    send(broker, *map(timed, range(AT_ONCE * number, AT_ONCE * (number + 1))))
    newest = 10 + (AT_ONCE * (number + 1) - 1) / 1000
    wait_until(lambda: newest in collector.seen().of("S2").values(), "what was sent after the cut", BACK_S)
    wait_until(lambda: link.made - made >= SOURCES and link.connections == SOURCES, "both to be back", BACK_S)
    return process_holds(collector.pid)


def process_holds(pid: int) -> dict[str, int]:
    status = dict(line.split(":", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines())
    return {
        "threads": int(status["Threads"]),
        "descriptors": len(os.listdir(f"/proc/{pid}/fd")),
        "resident": 1024 * int(status["VmRSS"].split()[0]),
    }


def test_a_link_cut_again_and_again_is_taken_up_each_time_and_leaves_nothing_behind(
    broker: Server, tmp_path: Path
) -> None:
    assert_recovers(broker, tmp_path, cuts=5)
