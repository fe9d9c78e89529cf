"""The same night from readings.db, from InfluxDB and from VictoriaMetrics: the same verdicts, numbers and record.

Two coats, a gap, a wet hour, a correction, decisions, and suspicions that end and that stand; sent on by the forwarder.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from collector.forward.forwarder import Forwarder
from collector.reading import Suspicion
from collector.settings import Forward
from collector.store.reader import Reader
from collector.store.reads import Where
from dashboard.record.document import differing, document
from dashboard.record.page import page
from dashboard.record.results import Results
from dashboard.record.used import Used
from dashboard.record.work_out import work_out
from tests.collector.store.suite.backends import Backend, Influx, Served, backend
from tests.collector.store.suite.site import Site
from tests.dashboard.few_members import few_members as few_members
from tests.dashboard.record.night import MINUTE, START, Shop, live
from tests.services import flush

SITE, SOUTH = "hall north", "hall south"
KINDS = {"influxdb": "influxdb-1", "victoria-metrics": "victoria-metrics"}
OWN = ("batch", "seqs", "entries")
"""What differs by design: numbers of batches, and a digest over entries that name probes."""


class Told(Shop):
    """Keeps all that watch has said."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        super().__init__(folder)
        self.said: list[dict[str, Any]] = []

    def round_at(self, minute: float) -> None:
        super().round_at(minute)
        answer = self.seen.assessment("lid-4")
        if answer is not None:
            self.said.append(json.loads(answer.to_json().replace(f"{SITE}:", "")))

    def decided(self) -> list[Any]:
        return [event.body["said"] for event in self.logbook.events() if event.kind == "decided"]


class AtAServer(Told):
    """Its dashboard sees of readings.db only what the forwarder has brought to a server."""

    site = f"{SITE}:"

    def __init__(self, folder: Path, kind: str, server: Backend) -> None:
        self.server = server
        super().__init__(folder)
        self.south = Site(SOUTH, folder / "south", server.write)  # its batches count in each sum
        self.south.commit([0])
        self.south.commit([1])
        self.south.send()
        where = {"url": f"http://127.0.0.1:{server.server.port}", "bucket": "coldshed"}  # type: ignore[attr-defined]
        self.seconds = 0.0
        self.forwarder = Forwarder(
            lambda: Reader.open(folder / "readings.db"),
            Forward(server=KINDS[kind], **where),  # type: ignore[arg-type]
            SITE,
            folder / "forward.db",
            self.clock,
            lambda: self.seconds,
        )

    def reads_from(self) -> Where:
        return Lately(self)

    def send(self) -> None:
        """All of it; so much time has gone by that facts and heartbeat are due."""
        self.seconds += 60.0
        while self.forwarder.send_some():
            pass
        if not isinstance(self.server, Influx):
            flush(self.server.server)  # type: ignore[attr-defined]

    def round_at(self, minute: float) -> None:
        self.clock.at = START + round(minute * MINUTE)
        self.send()
        super().round_at(minute)

    def close(self) -> None:
        self.forwarder.close()
        self.south.close()
        super().close()


class Lately:
    """The shop's store; its clock is there only after the shop is."""

    def __init__(self, shop: AtAServer) -> None:
        self._shop = shop
        self._served: Served | None = None

    def open(self) -> Any:
        self._served = self._served or Served(self._shop.server, [SITE, SOUTH], self._shop.clock)
        return self._served.open()


def night(shop: Told) -> None:
    live(shop)
    ended = Suspicion("S1", "drift", START + 600 * MINUTE, START + 700 * MINUTE, START + 650 * MINUTE,
                      START + 690 * MINUTE, {"other": "A1", "error_K": 1.25})  # fmt: skip
    shop.readings.suspect([ended])
    shop.measured(1500, 1510)
    shop.round_at(1509)
    stands = Suspicion(
        "S1", "tape_off", START + 1505 * MINUTE, None, START + 1505 * MINUTE, START + 1509 * MINUTE, {}
    )
    shop.readings.suspect([stands])
    shop.measured(1510, 1512)
    shop.round_at(1512)


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Told]:
    shop = Told(tmp_path_factory.mktemp("own") / "shop")
    night(shop)
    yield shop
    shop.close()


@pytest.fixture(scope="module", params=KINDS)
def served(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[AtAServer]:
    folder = tmp_path_factory.mktemp("served")
    with backend(request.param, folder / "server") as server:
        shop = AtAServer(folder / "shop", request.param, server)
        night(shop)
        yield shop
        shop.close()


def same(found: Any, expected: Any, where: str) -> None:
    """All words alike, all numbers to 1e-9."""
    if isinstance(expected, dict):
        assert isinstance(found, dict), where
        assert found.keys() == expected.keys(), where
        for key, value in expected.items():
            same(found[key], value, f"{where}.{key}")
    elif isinstance(expected, list):
        assert len(found) == len(expected), where
        for i, value in enumerate(expected):
            same(found[i], value, f"{where}[{i}]")
    elif isinstance(expected, float):
        assert found == pytest.approx(expected, rel=1e-9, abs=1e-9), where
    else:
        assert found == expected, where


def test_every_answer_of_the_night_is_the_same(own: Told, served: AtAServer) -> None:
    assert len(own.said) == len(served.said) >= 8
    states = {answer["verdict"]["state"] for answer in own.said}
    assert {"not known"} < states, "the suspicion that stands turns it to not known"
    for i, (expected, found) in enumerate(zip(own.said, served.said, strict=True)):
        assert found.keys() == expected.keys()
        for key in expected.keys() - set(OWN):
            same(found[key], expected[key], f"answer {i}: {key}")


def test_a_decision_keeps_the_digest_of_the_same_readings_cut_at_its_sites_own_batch(
    own: Told, served: AtAServer
) -> None:
    assert len(own.decided()) == len(served.decided()) >= 3
    for mine, theirs in zip(own.decided(), served.decided(), strict=True):
        expected, found = mine["readings"], theirs["readings"]
        assert theirs["batch"] == mine["batch"] + 2, "a sum over both sites"
        assert [one["batch"] for one in found] == [mine["batch"]] * len(found)
        assert [one["n"] for one in found] == [one["n"] for one in expected]
        assert all(one["n"] for one in found)
        if isinstance(served.server, Influx):  # VictoriaMetrics alters the last digits
            assert [one["sha256"] for one in found] == [one["sha256"] for one in expected]


@pytest.fixture(scope="module")
def record(own: Told) -> tuple[Used, Results]:
    used = own.used()
    return used, work_out(used)


def test_the_record_comes_to_the_same_and_says_what_only_the_site_knows(
    own: Told, served: AtAServer, record: tuple[Used, Results]
) -> None:
    (mine, expected), theirs = record, served.used()
    results = work_out(theirs)
    assert (mine.kept_at_site, theirs.kept_at_site) == (False, True)
    assert [fit.readings_same for fit in results.decisions] == [
        fit.readings_same for fit in expected.decisions
    ]
    assert True in [fit.readings_same for fit in results.decisions]
    same(
        json.loads(json.dumps(asdict(results.traces))),
        json.loads(json.dumps(asdict(expected.traces))),
        "traces",
    )
    made = json.loads(json.dumps(document(theirs, results)))
    assert list(differing(made)) == []
    assert "only the site's own computer knows" in str(page(theirs, results, "", served.view()))
    assert "only the site's own computer knows" not in str(page(mine, expected, "", own.view()))
