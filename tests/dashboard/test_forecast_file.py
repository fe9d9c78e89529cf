"""A forecast file of the shop's own: what it may look like, what is wrong with it and where, and when it is too old."""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from dashboard.forecast_file import HOUR_MS, ForecastError, ForecastFile, parse

START = 1_795_629_600_000
"""2026-11-25 18:00 UTC."""
CSV = (
    "time,air [degC],dew point [degC]\n"
    "2026-11-25T19:00+01:00,4.5,1.0\n2026-11-25T20:00+01:00,3.5,0.5\n2026-11-26T01:30+01:00,-2,-4\n"
)


def read(text: str, name: str = "out.csv") -> np.ndarray:
    return parse(text.encode(), name, START).air.value


def test_csv_and_json_say_the_same() -> None:
    told = parse(CSV.encode(), "out.csv", START)
    assert told.air.t.tolist() == [START, START + HOUR_MS, START + 13 * HOUR_MS // 2]
    assert told.dew_point is not None
    json = (
        '{"made": "2026-11-25T16:30Z", "hours": [{"time": "2026-11-25T18:00Z", "air_C": 4.5, "dew_point_C": 1.0},'
        '{"time": "2026-11-25T19:00Z", "air_C": 3.5, "dew_point_C": 0.5},'
        '{"time": "2026-11-26T00:30Z", "air_C": -2, "dew_point_C": -4}]}'
    )
    same = parse(json.encode(), "out.json", START)
    np.testing.assert_array_equal(same.air.t, told.air.t)
    np.testing.assert_array_equal(same.air.value, told.air.value)
    assert same.dew_point is not None
    np.testing.assert_array_equal(same.dew_point.value, told.dew_point.value)
    assert (told.made_at, same.made_at) == (START, START - 3 * HOUR_MS // 2)


def test_units_stand_in_the_heading_and_humidity_does_for_a_dew_point() -> None:
    """ISO 80000-5: 0 degC is 273.15 K and 32 degF. Saturated air has its own temperature as its dew point."""
    rows = "2026-11-25T18:00Z;{};100\n2026-11-25T19:00Z;{};100\n"
    for unit, values in (("degF", ("32", "50")), ("K", ("273,15", "283,15")), ("degC", ("0", "10"))):
        told = parse(f"time;air [{unit}];air [%RH]\n{rows.format(*values)}".encode(), "out.csv", START)
        np.testing.assert_allclose(told.air.value, [0.0, 10.0], atol=1e-9)
        assert told.dew_point is not None
        np.testing.assert_allclose(told.dew_point.value, [0.0, 10.0], atol=1e-6)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "out.csv: empty"),
        ("when,air [degC]\n", "out.csv:1: no column of time"),
        ("time,air\n", "out.csv:1: no column of air"),
        ("time,air [degC]\n2026-11-25T18:00Z,4\n", "1 rows; a forecast needs at least 2"),
        ("time,air [degC]\n2026-11-25T18:00,4\n", "out.csv:2: time: '2026-11-25T18:00' has no offset"),
        ("time,air [degC]\nyesterday,4\n", "out.csv:2: time: 'yesterday' is no time"),
        ("time,air [degC]\n2026-11-25T18:00Z,mild\n", "out.csv:2: air [degC]: 'mild' is no number"),
        ("time,air [degC]\n2026-11-25T18:00Z,nan\n", "out.csv:2: air [degC]: 'nan' is no number"),
        ("time,air [K]\n2026-11-25T18:00Z,4\n", "out.csv:2: air [K]: 4 is -269.1 degC; allowed: -60 to 60"),
        ("time,air [degC]\n2026-11-25T18:00Z\n", "out.csv:2: 1 cells where the header has 2"),
        (
            "time,air [degC]\n2026-11-25T18:00Z,4\n2026-11-25T18:00Z,4\n",
            "out.csv:3: time: not after the row before it",
        ),
        (
            "time,air [degC]\n2026-11-25T18:00Z,4\n2026-11-26T18:00Z,4\n",
            "out.csv:3: time: more than 6 h after the row before it",
        ),
        ("time,air [degC],air [%RH]\n2026-11-25T18:00Z,4,140\n", "out.csv:2: air [%RH]: 140 %; allowed"),
        ("{", "out.csv: not JSON"),
        ("{}", "out.csv: hours: must be a list"),
        ('{"hours": [4]}', "out.csv: hours.0: must be an object"),
        ('{"hours": [{"time": "2026-11-25T18:00Z"}]}', "out.csv: hours.0: air_C: missing"),
        ('{"made": "noon", "hours": []}', "out.csv: made: 'noon' is no time"),
    ],
)
def test_what_is_wrong_is_said_with_its_place(text: str, said: str) -> None:
    with pytest.raises(ForecastError) as error:
        read(text)
    assert str(error.value).startswith("out.csv")
    assert said in str(error.value)


def test_a_byte_that_is_not_text_is_said_with_its_line() -> None:
    with pytest.raises(ForecastError, match=r"out\.csv:2: a byte that is not UTF-8"):
        parse(b"time,air [degC]\n\xff\n", "out.csv", START)


def put(path: Path, text: str, at: int) -> None:
    path.write_text(text, encoding="utf-8")
    os.utime(path, ns=(at * 1_000_000, at * 1_000_000))


def test_a_fresh_file_is_used_a_stale_short_or_broken_one_is_said_and_left(tmp_path: Path) -> None:
    path = tmp_path / "out.csv"
    file = ForecastFile(path, max_age_h=12.0)
    assert file.at(START).say.key == "forecast_broken"
    put(path, CSV, START)
    assert file.at(START).forecast is not None
    assert file.at(START).say.values == {"made_at": START}
    assert file.at(START + HOUR_MS).say.key == "forecast_short"
    assert file.at(START + 13 * HOUR_MS).say.key == "forecast_stale"
    assert file.at(START + 13 * HOUR_MS).forecast is None
    assert file.at(START - 2 * HOUR_MS).say.key == "forecast_early"
    put(path, CSV.replace("4.5", "mild"), START + HOUR_MS)
    broken = file.at(START)
    assert broken.forecast is None
    assert "out.csv:2: air [degC]: 'mild'" in str(broken.say.values["problem"])
    put(path, CSV, START + 2 * 60_000)
    assert file.at(START).forecast is not None, "read again once it was put right"


@pytest.mark.parametrize("kind", ["csv", "json"])
def test_the_guides_examples_can_be_read(kind: str) -> None:
    guide = (files("dashboard") / "help" / "forecast_file.md").read_text(encoding="utf-8")
    block = guide.split(f"```{kind}\n")[1].split("```")[0]
    told = parse(block.encode(), f"example.{kind}", START)
    assert told.air.value.tolist() == [4.5, 4.1, 3.8]
    assert told.dew_point is not None
