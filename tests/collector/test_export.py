"""CSV export: exactly the range asked for, raw values, safe in a spreadsheet."""

from __future__ import annotations

import csv
import io

import pytest

from collector.clock import SteppedClock
from collector.export import HEADER, export_csv, words
from collector.reading import Quality, Quantity, Reading
from collector.store.reader import Reader
from collector.store.writer import Writer

T0 = 1_795_600_000_000  # 2026-11-25T09:46:40Z
DAY = 86_400_000


def exported(readings: list[Reading], probes: list[str], start: int = 0, end: int = 2**50) -> list[list[str]]:
    writer = Writer.open(None, SteppedClock(T0))
    writer.commit(readings)
    out = io.StringIO(newline="")
    rows = export_csv(Reader(writer.connection), probes, start, end, out)
    writer.close()
    table = list(csv.reader(io.StringIO(out.getvalue(), newline="")))
    assert table[0] == list(HEADER)
    assert rows == len(table) - 1
    return table[1:]


def reading(at: int, value: float, probe: str = "S1", quality: Quality = Quality.GOOD) -> Reading:
    return Reading(probe, Quantity.TEMPERATURE, value, at, at, quality)


def test_rows_have_time_in_utc_value_unit_and_quality_in_words() -> None:
    rows = exported(
        [
            reading(T0, 12.0625),
            Reading(
                "S1", Quantity.RELATIVE_HUMIDITY, 81.25, T0 + 1, T0 + 1, Quality.LATE | Quality.SATURATED
            ),
        ],
        ["S1"],
    )
    assert rows == [
        ["2026-11-25T09:46:40.000Z", "S1", "temperature", "12.0625", "degC", "good"],
        ["2026-11-25T09:46:40.001Z", "S1", "relative_humidity", "81.25", "%", "saturated+late"],
    ]


def test_the_range_has_both_ends_in_and_spans_days_without_loss_or_repeat() -> None:
    readings = [reading(T0 + i * DAY // 4, float(i)) for i in range(40)]
    assert [row[3] for row in exported(readings, ["S1"])] == [str(float(i)) for i in range(40)]
    some = exported(readings, ["S1"], T0 + DAY // 4, T0 + 5 * DAY)
    assert [row[3] for row in some] == [str(float(i)) for i in range(1, 21)]


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@x", "\tx", "\nx", "\uff1d1", "\uff20x"])
def test_a_name_that_looks_like_a_formula_is_disarmed_and_a_negative_number_is_not(name: str) -> None:
    (row,) = exported([reading(T0, -12.5, name)], [name])
    assert row[1] == "'" + name
    assert row[3] == "-12.5"


def test_the_entry_a_corrected_value_rests_on_is_no_formula_either() -> None:
    """An entry's id is made by whoever logs it, of letters, digits, _ and -."""
    writer = Writer.open(None, SteppedClock(T0))
    writer.commit([reading(T0, -12.5)])
    out = io.StringIO(newline="")
    correct = lambda probe, quantity, t, values: (values - 1, ["-1-A1-B2"] * len(t))  # noqa: E731
    export_csv(Reader(writer.connection), ["S1"], T0, T0, out, correct)
    writer.close()
    assert out.getvalue().splitlines()[1].endswith(",-13.5,'-1-A1-B2")


def test_quotes_commas_and_line_ends_in_a_name_survive() -> None:
    name = 'a "b", c\nd'
    assert exported([reading(T0, 1.0, name)], [name])[0][1] == name


def test_nothing_stored_is_a_header() -> None:
    assert exported([], ["S1"]) == []


def test_every_flag_has_a_word() -> None:
    assert words(Quality.GOOD) == "good"
    assert {words(flag) for flag in Quality} == {str(flag.name).lower() for flag in Quality}
