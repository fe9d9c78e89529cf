"""What the help page says of keeping and of hourly values is so: its statements run on the real servers."""

from __future__ import annotations

import importlib.resources
import json
import re
import urllib.parse
import urllib.request
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from collector.reading import Quantity, Reading
from tests.collector.forward.stage import EVENING, SITE, Ticking, commit, forwarder, night, told
from tests.services import Server, flush, influxdb, running, victoria_metrics

PAGE = importlib.resources.files("dashboard").joinpath("help/servers.md").read_text(encoding="utf-8")
STATEMENTS = [
    line for block in re.findall(r"```influxql\n(.*?)```", PAGE, re.DOTALL) for line in block.splitlines()
]


def ask(server: Server, question: str) -> list[dict[str, Any]]:
    form = urllib.parse.urlencode({"db": "coldshed", "q": question, "epoch": "ms"}).encode()
    with urllib.request.urlopen(f"http://127.0.0.1:{server.port}/query", form, timeout=20) as answer:
        result = json.load(answer)["results"][0]
    assert "error" not in result, result
    return result.get("series", [])


@pytest.mark.usefixtures("unhurried")
def test_the_statements_of_the_page_keep_two_years_and_hourly_values_for_good(store: Path, tmp_path: Path):
    """InfluxDB 1.6.7; the hourly means are those that numpy finds."""
    with running(influxdb(tmp_path / "server")) as server:
        sender = forwarder(store, server.port, server="influxdb-1")
        sender.send_some()
        sender.close()
        for statement in STATEMENTS:
            ask(server, statement)
        policies = {row[0]: row[1] for row in ask(server, "SHOW RETENTION POLICIES")[0]["values"]}
        assert policies == {"autogen": "17472h0m0s", "for_good": "0s"}
        queries = [
            row for series in ask(server, "SHOW CONTINUOUS QUERIES") for row in series.get("values", [])
        ]
        assert [name for name, _ in queries] == ["hourly"]
        question = (
            "SELECT mean, n FROM for_good.reading_hour WHERE probe = 'S1' GROUP BY site, probe, quantity"
        )
        (found,) = ask(server, question)
    assert found["tags"] == {"site": SITE, "probe": "S1", "quantity": "temperature"}
    rows = [(reading.at, reading.value) for reading in night() if reading.probe == "S1"]
    hours = {at // 3_600_000 for at, _ in rows}
    expected = {
        hour * 3_600_000: [value for at, value in rows if at // 3_600_000 == hour] for hour in sorted(hours)
    }
    assert [at for at, _, _ in found["values"]] == list(expected)
    for (_, mean, count), values in zip(found["values"], expected.values(), strict=True):
        assert count == len(values)
        assert mean == pytest.approx(float(np.mean(values)), abs=1e-9)


@pytest.mark.usefixtures("unhurried")
def test_readings_that_victoria_metrics_drops_for_their_age_are_told(tmp_path: Path):
    """It answers 204 all the same; the page names the option. A month is what it keeps without it."""
    old = EVENING - 400 * 86_400_000
    store, seconds = tmp_path / "readings.db", Ticking()
    commit(store, [Reading("S1", Quantity.TEMPERATURE, 5.0, old + at, old + at) for at in range(7)])
    assert "-retentionPeriod=2y" in PAGE
    for keeps, says in (("1", "took 7 readings from 2025-10-21"), ("2y", "")):
        with running(victoria_metrics(tmp_path / f"server{keeps}", retentionPeriod=keeps)) as server:
            sender = forwarder(store, server.port, monotonic=seconds)
            for _ in range(5):
                sender.send_some()
                flush(server)
                seconds.at += 30.0
            sender.close()
        trouble = told(store).trouble
        assert says in trouble
        assert ("has 0 of them" in trouble) == bool(says)
        assert bool(trouble) == bool(says)
        store.with_name("forward.db").unlink()
