"""The record as a document: it comes again from itself, says what was altered, and keeps every bit of what was read."""

from __future__ import annotations

import copy
import csv
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from collector.reading import Quantity
from dashboard.cli import main
from dashboard.record.document import differing, digest, read, to_text
from dashboard.record.table import csv_text, safe
from dashboard.record.used import RecordError, Used
from tests.dashboard.record.night import Shop


@pytest.fixture
def altered(made: dict[str, Any]) -> dict[str, Any]:
    """A copy that a test may alter."""
    return copy.deepcopy(made)


def test_a_record_read_back_comes_to_the_same_numbers_and_digest(
    made: dict[str, Any], tmp_path: Path
) -> None:
    path = tmp_path / "record.json"
    path.write_text(to_text(made), encoding="utf-8")
    again = read(path)
    assert again == made
    assert list(differing(again)) == []


def test_raw_rows_are_those_of_the_store_to_the_last_bit(night: Shop, made: dict[str, Any]) -> None:
    used = Used.from_json(json.loads(to_text(made))["used"])
    original = night.used()
    for one, other in zip(used.series, original.series, strict=True):
        assert one.digest() == other.digest()
        assert one.value.tobytes() == other.value.tobytes()


def _reading(made: dict[str, Any]) -> None:
    made["used"]["series"][2]["rows"][1800][1] += 2.0


def _number(made: dict[str, Any]) -> None:
    made["results"]["coats"][0]["numbers"]["equivalent_age_h"] += 0.5


def _row(made: dict[str, Any]) -> None:
    del made["used"]["series"][0]["rows"][5]


def _mixing(made: dict[str, Any]) -> None:
    event = next(event for event in made["used"]["events"] if event["kind"] == "coat mixed")
    event["at"] -= 3_600_000


def _said(made: dict[str, Any]) -> None:
    event = next(event for event in made["used"]["events"] if event["kind"] == "decided")
    event["body"]["said"]["words"] = "Sand when you like"


@pytest.mark.parametrize(
    ("alter", "says"),
    [
        (_reading, "readings of S1, temperature: altered"),
        (_number, "coats[1].numbers.equivalent_age_h: the record says"),
        (_row, "altered, 2820 of 2821 are there"),
        (_mixing, "coats[1].mixed_at: the record says"),
        (_said, "its digest is not that of its content"),
    ],
)
def test_whatever_is_altered_is_named(
    altered: dict[str, Any], alter: Callable[[dict[str, Any]], None], says: str
) -> None:
    alter(altered)
    found = "\n".join(differing(altered))
    assert says in found
    assert "altered after it was written" in found


def test_a_reading_altered_with_all_its_digests_still_fails_by_the_numbers_and_the_decisions(
    altered: dict[str, Any],
) -> None:
    """Somebody who mends every digest has still the results, and the digests that decisions were kept with."""
    rows = altered["used"]["series"][2]["rows"]
    for row in rows:
        row[1] += 1.0
    series = Used.from_json(altered["used"]).series[2]
    altered["used"]["series"][2]["sha256"] = series.digest()[1]
    altered["sha256"] = digest(altered)
    found = "\n".join(differing(altered))
    assert "equivalent_age_h" in found
    assert "decisions[2].readings_same: the record says True, its readings come to False" in found


def test_what_is_no_record_is_refused_in_words(tmp_path: Path, altered: dict[str, Any]) -> None:
    path = tmp_path / "x.json"
    for text, says in (("{", "cut off"), ("{}", "no record of ours"), ('{"format": 9}', "no record of ours")):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(RecordError, match=says):
            read(path)
    altered["format"] = 9
    path.write_text(to_text(altered), encoding="utf-8")
    with pytest.raises(RecordError, match="format 9"):
        read(path)
    altered["format"] = 1
    altered["used"]["events"] = []
    with pytest.raises(RecordError, match="registers the panel"):
        list(differing(altered))


def test_the_command_says_ok_or_what_differs(
    made: dict[str, Any], altered: dict[str, Any], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "record.json"
    path.write_text(to_text(made), encoding="utf-8")
    assert main(["check", "record", str(path)]) == 0
    assert made["sha256"] in capsys.readouterr().out
    _number(altered)
    path.write_text(to_text(altered), encoding="utf-8")
    assert main(["check", "record", str(path)]) == 1
    assert "WRONG" in capsys.readouterr().out
    assert main(["check", "record", str(tmp_path / "none.json")]) == 1
    assert "cannot be read" in capsys.readouterr().err


def test_the_csv_has_every_reading_raw_and_corrected(night: Shop) -> None:
    used = night.used()
    table = list(csv.DictReader(io.StringIO("".join(csv_text(used)))))
    assert len(table) == sum(len(series.t) for series in used.series)
    surface = [row for row in table if row["probe"] == "S1"]
    series = used.of("S1", Quantity.TEMPERATURE)
    assert series is not None
    assert [float(row["value"]) for row in surface] == series.value.tolist()
    flagged = [row for row in surface if row["used"] == "no"]
    assert [(row["quality"], row["value"]) for row in flagged] == [("power_on_value", "85.0")]
    last = surface[-1]
    assert last["correction"] == "entry-0002"
    assert 0.25 < float(last["value"]) - float(last["corrected"]) < 0.4


def test_a_name_that_a_spreadsheet_would_work_out_gets_an_apostrophe() -> None:
    """OWASP, CSV Injection: = + - @ tab and carriage return at the beginning of a cell."""
    for name in ("=1+1", "+x", "-x", "@x", "\tx", "\rx"):
        assert safe(name) == "'" + name
    assert safe("S1") == "S1"
