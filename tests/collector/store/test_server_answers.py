"""What a time-series server answers is no more believed than any bytes: what makes no sense is told, and not known."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.reading import Quantity
from collector.store.time_series.asking import Asking, Unanswered
from collector.store.time_series.export_api import ExportApi
from collector.store.time_series.influxql import InfluxQL
from collector.store.time_series.sites import Sites
from tests.fuzz.server_targets import ANSWER, EXPORT, NOW, PROBE, SITE, ByMeasurement, Canned


def test_the_good_answer_is_read_as_it_was_written() -> None:
    """So that what is spoilt below is refused for what was spoilt."""
    reader = Sites(ExportApi(ByMeasurement(EXPORT)), [SITE], SteppedClock(NOW), steady=lambda: 0.0).open()  # type: ignore[arg-type]
    assert [(one.value, one.at) for one in reader.newest()] == [(12.5, NOW)]
    assert reader.samples(f"{SITE}:{PROBE}", Quantity.TEMPERATURE, 0, NOW)[1].tolist() == [12.5]


@pytest.mark.parametrize(
    ("good", "spoilt"),
    [
        (b"[12.5]", b"[1e400]"),
        (b"[12.5]", b"[12.5, 13]"),
        (b"[12.5]", b"[[12.5]]"),
        (str(NOW).encode(), b"1e300"),
        (str(NOW).encode(), b"-5"),
        (b'"site":"hull"', b'"site":7'),
        (b'"__name__"', b'"name"'),
        (b'{"metric"', b"[" * 100_000),
    ],
)
def test_an_export_that_makes_no_sense_is_told(good: bytes, spoilt: bytes) -> None:
    asking = Canned(EXPORT.replace(good, spoilt))
    with pytest.raises(Unanswered, match="what is no export"):
        ExportApi(asking).rows("reading", {"site": [SITE]}, ("value",), 0, NOW)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("good", "spoilt"),
    [
        (b"12.5", b"1e400"),
        (b"12.5]", b"12.5, 3]"),
        (str(NOW).encode(), b"null"),
        (b'"columns"', b'"names"'),
        (b'"tags":{', b'"tags":{"x":[],'),
        (b'{"results"', b"[" * 100_000),
    ],
)
def test_an_answer_to_a_query_that_makes_no_sense_is_told(good: bytes, spoilt: bytes) -> None:
    asking = Canned(ANSWER.replace(good, spoilt))
    with pytest.raises(Unanswered, match="no result of a query"):
        InfluxQL(asking, "shop").rows("reading", {"site": [SITE]}, ("value",), 0, NOW)  # type: ignore[arg-type]


def test_a_site_whose_facts_make_no_sense_is_not_known_and_says_why() -> None:
    body = EXPORT.replace(b'"place":"surface"', b'"where":"surface"')
    sites = Sites(ExportApi(ByMeasurement(body)), [SITE], SteppedClock(NOW), steady=lambda: 0.0)  # type: ignore[arg-type]
    assert sites.open().probes() == []
    assert "makes no sense" in sites.states()[0].odd
    assert not sites.states()[0].known


def test_a_token_file_that_is_no_text_is_told_and_ends_nothing(tmp_path: Path) -> None:
    token = tmp_path / "token"
    token.write_bytes(b"\xff\xfe")
    with pytest.raises(Unanswered, match="cannot be read"):
        Asking("http://127.0.0.1:1", token_file=token).get("/ping", {})
