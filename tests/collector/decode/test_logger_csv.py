"""A logger's CSV: rows stand or fall one by one; a wrong zone, unit or delimiter is told in words."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.arrival import Arrival, Decoded
from collector.decode import decoder_for
from collector.reading import Quantity
from collector.settings import Column, LoggerCsv, TimeField

NOW = int(datetime(2026, 11, 25, 12, 0, tzinfo=UTC).timestamp() * 1000)
COLUMNS = (
    Column(key="panel", quantity=Quantity.TEMPERATURE, unit="degC", name="L1"),
    Column(key="air", quantity=Quantity.RELATIVE_HUMIDITY, unit="%", name="L2"),
)


def decode(
    text: str | bytes, unit: str = "iso8601", zone: str | None = "Europe/Oslo", **more: str
) -> Decoded:
    time = TimeField(key="time", unit=unit, zone=zone)
    decoder = decoder_for(LoggerCsv(kind="logger_csv", field=COLUMNS, time=time, **more))
    payload = text if isinstance(text, bytes) else text.encode()
    return decoder.decode(Arrival("logger", payload, received=NOW, live=False))


def times(decoded: Decoded) -> list[str]:
    return [datetime.fromtimestamp(s.at / 1000, UTC).isoformat() for s in decoded.samples if s.at is not None]


def kinds(decoded: Decoded) -> list[str]:
    return [refusal.kind for refusal in decoded.refused]


def test_rows_become_samples_in_the_probes_names_with_the_rows_time() -> None:
    decoded = decode("time,panel,air\n2026-11-24 21:00:00,12.5,81\n2026-11-24 21:01,12.25,82.5\n")
    assert [(s.name, s.quantity, s.value) for s in decoded.samples] == [
        ("L1", Quantity.TEMPERATURE, 12.5),
        ("L2", Quantity.RELATIVE_HUMIDITY, 81.0),
        ("L1", Quantity.TEMPERATURE, 12.25),
        ("L2", Quantity.RELATIVE_HUMIDITY, 82.5),
    ]
    assert times(decoded)[::2] == ["2026-11-24T20:00:00+00:00", "2026-11-24T20:01:00+00:00"]
    assert decoded.refused == []


def test_bom_crlf_quotes_blank_rows_other_columns_and_blanks_around_cells_are_no_trouble() -> None:
    text = '\ufeff"no","time","panel","air"\r\n\r\n"1","2026-11-24T21:00:00Z"," 12.5 ","81"\r\n'
    decoded = decode(text)
    assert [s.value for s in decoded.samples] == [12.5, 81.0]
    assert times(decoded)[0] == "2026-11-24T21:00:00+00:00"


def test_decimal_commas_with_semicolons() -> None:
    decoded = decode("time;panel;air\n2026-11-24 21:00;12,5;81,25\n", delimiter=";", decimal=",")
    assert [s.value for s in decoded.samples] == [12.5, 81.25]


@pytest.mark.parametrize(
    ("cell", "decimal"),
    [("12,5", "."), ("12.5", ","), ("1.234,5", ","), ("21.5C", "."), ("nan", "."), ("1e3", ".")],
)
def test_a_cell_that_is_no_number_falls_alone_and_tells_the_decimal_sign(cell: str, decimal: str) -> None:
    decoded = decode(f"time;panel;air\n2026-11-24 21:00;{cell};81\n", delimiter=";", decimal=decimal)
    assert [s.name for s in decoded.samples] == ["L2"]
    assert kinds(decoded) == ["not a number"]
    assert f"decimal = {decimal!r}" in decoded.refused[0].text
    assert "line 2" in decoded.refused[0].text


def test_an_empty_cell_is_no_reading_and_no_refusal() -> None:
    decoded = decode("time,panel,air\n2026-11-24 21:00,,81\n")
    assert [s.name for s in decoded.samples] == ["L2"]
    assert decoded.refused == []


def test_a_row_with_another_number_of_cells_is_refused_since_its_cells_may_have_shifted() -> None:
    decoded = decode(
        "time,panel,air\n2026-11-24 21:00,12,5,81\n2026-11-24 21:01,12.5,81\n2026-11-24 21:02,12"
    )
    assert len(decoded.samples) == 2
    assert kinds(decoded) == ["format", "format"]
    assert "line 2" in decoded.refused[0].text
    assert "delimiter" in decoded.refused[0].text


def test_a_missing_heading_refuses_the_file_and_names_the_nearest() -> None:
    decoded = decode("time,pannel,air\n2026-11-24 21:00,12.5,81\n")
    assert (decoded.samples, kinds(decoded)) == ([], ["missing field"])
    assert "did you mean 'pannel'" in decoded.refused[0].text


def test_a_heading_that_stands_twice_refuses_the_file() -> None:
    decoded = decode("time,panel,panel,air\n2026-11-24 21:00,1,2,81\n")
    assert (decoded.samples, kinds(decoded)) == ([], ["missing field"])


def test_a_local_time_that_occurs_twice_or_never_is_refused_saying_so() -> None:
    # Norway's clocks in 2026: forward on 29 March at 02:00, back on 25 October at 03:00 (IANA tz database, EU rules).
    rows = [
        "2026-03-29 01:59",
        "2026-03-29 02:30",
        "2026-03-29 03:00",
        "2026-10-25 01:59",
        "2026-10-25 02:30",
    ]
    decoded = decode("time,panel,air\n" + "".join(f"{row},5,\n" for row in [*rows, "2026-10-25 03:00"]))
    assert times(decoded) == [
        "2026-03-29T00:59:00+00:00",
        "2026-03-29T01:00:00+00:00",
        "2026-10-24T23:59:00+00:00",
        "2026-10-25T02:00:00+00:00",
    ]
    assert kinds(decoded) == ["time", "time"]
    assert "does not exist in Europe/Oslo" in decoded.refused[0].text
    assert "occurs twice in Europe/Oslo" in decoded.refused[1].text


def test_an_offset_in_the_time_settles_the_hour_that_occurs_twice() -> None:
    decoded = decode("time,panel,air\n2026-10-25 02:30+02:00,5,\n2026-10-25 02:30+0100,5,\n")
    assert times(decoded) == ["2026-10-25T00:30:00+00:00", "2026-10-25T01:30:00+00:00"]


def test_a_local_time_without_a_zone_is_refused_saying_what_to_write() -> None:
    decoded = decode("time,panel,air\n2026-11-24 21:00,5,\n", zone=None)
    assert (decoded.samples, kinds(decoded)) == ([], ["time"])
    assert 'zone = "Europe/Oslo"' in decoded.refused[0].text


def test_a_wrong_zone_shows_as_a_time_in_the_future() -> None:
    # Logged at 13:00 in Oslo, one minute ago; read as if it were New York's time it lies six hours ahead.
    row = "time,panel,air\n2026-11-25 12:59,5,\n"
    assert len(decode(row).samples) == 1
    decoded = decode(row, zone="America/New_York")
    assert (decoded.samples, kinds(decoded)) == ([], ["time"])
    assert "359 min in the future (is the zone right?)" in decoded.refused[0].text


@pytest.mark.parametrize(
    "cell",
    [
        "24.11.2026 21:00",
        "11/24/26 9:00 PM",
        "2026-W48-2",
        "20261124T210000",
        "2026-02-30 10:00",
        "2026-11-24",
        "25:00",
        "",
    ],
)
def test_another_form_of_time_is_refused(cell: str) -> None:
    decoded = decode(f"time,panel,air\n{cell},5,\n")
    assert (decoded.samples, kinds(decoded)) == ([], ["time"])


@pytest.mark.parametrize(
    ("unit", "cell", "good"),
    [
        ("s", "1795604832", True),
        ("s", "1795604832.25", True),
        ("ms", "1795604832000", True),
        ("ms", "1795604832", False),
        ("s", "1795604832000", False),
        ("s", "-5", False),
        ("s", "1e9", False),
    ],
)
def test_counted_times_are_taken_in_the_stated_unit_only(unit: str, cell: str, good: bool) -> None:
    decoded = decode(f"time,panel,air\n{cell},5,\n", unit=unit)
    assert [round(s.at / 1000) for s in decoded.samples if s.at] == ([1795604832] if good else [])
    assert kinds(decoded) == ([] if good else ["time"])


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"\n\n",
        "time,panel,air\n".encode("utf-16"),
        b"time,panel,air \xb0C\n",
        b"a\0b",
        b'time,panel,air\n"2026',
        b"x" * (21 * 2**20),
    ],
    ids=["empty", "blank", "utf-16", "latin-1", "nul", "open quote", "too long"],
)
def test_a_file_that_cannot_be_read_is_one_refusal(payload: bytes) -> None:
    decoded = decode(payload)
    assert (decoded.samples, len(decoded.refused)) == ([], 1)


@given(st.binary(max_size=300), st.sampled_from(["iso8601", "s", "ms"]))
def test_no_bytes_raise(rows: bytes, unit: str) -> None:
    for sample in decode(b"time,panel,air\n" + rows, unit=unit).samples + decode(rows, unit=unit).samples:
        assert math.isfinite(sample.value)


cells = st.from_regex(
    r"(20[0-9]{2}-[01][0-9]-[0-3][0-9][T ][0-2][0-9]:[0-5][0-9](:[0-9]{2})?(Z|[+-][0-9]{2}:?[0-9]{2})?)",
    fullmatch=True,
)


@given(cells)
def test_no_time_raises(cell: str) -> None:
    decoded = decode("time,panel,air\n" + cell + ",5,\n")
    assert len(decoded.samples) + len(decoded.refused) == 1
