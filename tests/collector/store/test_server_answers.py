"""What a time-series server answers is no more believed than any bytes: what makes no sense is told, and not known."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from collector.clock import SteppedClock
from collector.reading import Quantity
from collector.store.site_state import LeftOut
from collector.store.time_series.asking import Asking, Unanswered
from collector.store.time_series.export_api import ExportApi
from collector.store.time_series.influxql import InfluxQL
from collector.store.time_series.rows import NO_TIME
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
        (b"[12.5]", b"[12.5, 13]"),
        (b"[12.5]", b"[[12.5]]"),
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
        (b"12.5]", b"12.5, 3]"),
        (b'"columns"', b'"names"'),
        (b'"tags":{', b'"tags":{"x":[],'),
        (b'{"results"', b"[" * 100_000),
    ],
)
def test_an_answer_to_a_query_that_makes_no_sense_is_told(good: bytes, spoilt: bytes) -> None:
    asking = Canned(ANSWER.replace(good, spoilt))
    with pytest.raises(Unanswered, match="no result of a query"):
        InfluxQL(asking, "shop").rows("reading", {"site": [SITE]}, ("value",), 0, NOW)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("good", "spoilt", "at"),
    [
        (b"12.5", b"1e400", NOW),
        (b"12.5", b"-1e17", NOW),
        (str(NOW).encode(), b"1e300", NO_TIME),
        (str(NOW).encode(), b"-5", NO_TIME),
        (str(NOW).encode(), b"null", NO_TIME),
    ],
)
def test_a_row_that_makes_no_sense_is_left_out_alone_and_told(good: bytes, spoilt: bytes, at: int) -> None:
    """By either way of asking; the row beside it is used."""
    second = EXPORT.replace(str(NOW).encode(), str(NOW + 1000).encode())
    export = ExportApi(Canned(EXPORT.replace(good, spoilt, 1) + second))  # type: ignore[arg-type]
    query = InfluxQL(Canned(ANSWER.replace(good, spoilt).replace(b",null", b",13.5")), "shop")  # type: ignore[arg-type]
    for engine in (export, query):
        [rows] = [one for one in engine.rows("reading", {}, ("value",), 0, NOW) if "probe" in one.tags][:1]
        assert rows.whole(("value",)).t.tolist() == [NOW + 1000]
        assert rows.left_out == {at}


def site_of(body: bytes) -> Sites:
    return Sites(ExportApi(ByMeasurement(body)), [SITE], SteppedClock(NOW), steady=lambda: 0.0)  # type: ignore[arg-type]


def test_a_reading_that_makes_no_sense_is_told_by_name_once_and_its_commit_waits() -> None:
    sites = site_of(EXPORT.replace(b"12.5", b"1e300"))
    reader = sites.open()
    for _ in range(3):
        assert reader.newest() == []
        assert len(reader.samples(f"{SITE}:{PROBE}", Quantity.TEMPERATURE, 0, NOW)[0]) == 0
    [state] = sites.states()
    assert reader.last_batch() == 6, "its commit is the seventh"
    assert state.left_out == LeftOut(1, f"{PROBE} temperature", NOW)
    assert (state.why, state.known) == ("", True)


def test_a_heartbeat_that_makes_no_sense_was_not_heard() -> None:
    sites = site_of(EXPORT.replace(b'"values":[' + str(NOW).encode(), b'"values":[1e300'))
    sites.open()
    assert sites.states()[0].heard_at is None


@pytest.mark.parametrize("field", [b"commit_seq", b"commit_t_max", b"facts_probes", b"probe_interval_s"])
def test_without_a_commit_or_a_fact_that_can_be_read_nothing_is_known(field: bytes) -> None:
    """Rather than that readings hold which it may have put out of force."""
    name, rest = EXPORT.split(b'"__name__":"' + field)
    spoilt = re.sub(rb'"values":\[[^]]*\]', b'"values":[1e300]', rest, count=1)
    sites = site_of(name + b'"__name__":"' + field + spoilt)
    assert sites.open().probes() == []
    [state] = sites.states()
    assert "makes no sense" in (state.why or state.odd)
    assert state.left_out.n == 0


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
