"""Files and payloads made to cost more than they are: OWASP ASVS 5.0.0, 5.2.1, 5.2.3. Archives are read nowhere."""

from __future__ import annotations

import re
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.decode.logger_csv import MAX_BYTES, MOST_REFUSED, LoggerCsvDecoder
from collector.file_import import ImportRefused, import_file
from collector.first_run.facts import CannotSetUp
from collector.first_run.loggers import HEAD, layout_of
from collector.settings import parse as parse_settings
from collector.source_tables import LoggerCsv
from dashboard.forecast_file import ForecastError, parse
from tests.browser.hostile import WIRES

ARCHIVES = "zipfile|tarfile|zlib|bz2|lzma|zstandard"
ROOT = Path(__file__).parents[2]
LOGGER = LoggerCsv.model_validate(
    {
        "kind": "logger_csv",
        "time": {"key": "time", "unit": "iso8601", "zone": "UTC"},
        "field": [{"key": "t", "quantity": "temperature", "unit": "degC", "name": "L1"}],
    }
)
GOOD = b"2026-01-11 05:00:00,3\n"
BOMBS: dict[str, tuple[bytes, int, int]] = {
    "one line": (b"x" * MAX_BYTES, 0, 1),
    "one quoted line": (b'"' + b"x" * (MAX_BYTES - 1), 0, 1),
    "a million columns": (b"time,t" + b"," * 10**6 + b"\n" + GOOD[:-1] + b"," * 10**6, 0, 1),
    "a million names like ours": (b",".join(b"tim%x" % n for n in range(10**6)), 0, 1),
    "ten million rows of one cell": (b"time,t\n" + GOOD + b"x\n" * (MAX_BYTES // 2 - 20), 1, MOST_REFUSED + 1),
    "seven million times that are none": (b"time,t\n" + GOOD + b"x,\n" * (MAX_BYTES // 3 - 20), 1, MOST_REFUSED + 1),
    "a row without end": (b"time,t\n" + b"," * (MAX_BYTES - 10), 0, 1),
}  # fmt: skip
"""A logger's file within the size that is read; what is taken of it, and what is refused."""


@pytest.mark.parametrize("name", BOMBS)
def test_a_loggers_file_costs_no_more_than_it_is_worth(name: str) -> None:
    payload, taken, refused = BOMBS[name]
    assert len(payload) <= MAX_BYTES
    decoded = LoggerCsvDecoder(LOGGER).decode(Arrival("logger", payload, 1_768_108_200_000, name, live=False))
    assert (len(decoded.samples), min(len(decoded.refused), MOST_REFUSED + 1)) == (taken, refused)
    assert len(decoded.refused) <= MOST_REFUSED + 1
    assert all(len(refusal.text) < 500 for refusal in decoded.refused)


def test_a_file_of_200_MB_is_refused_before_it_is_read(tmp_path: Path) -> None:
    file = tmp_path / "night.csv"
    with file.open("wb") as made:
        made.write(b"time,t\n" + GOOD)
        made.truncate(200_000_000)
    settings = parse_settings(WIRES, tmp_path / "coldshed.toml")
    cost: list[int] = []

    def costs(does: Callable[[], object]) -> None:
        tracemalloc.start()
        try:
            does()
        finally:
            cost.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()

    costs(lambda: layout_of(tmp_path, "UTC"))
    with pytest.raises(ImportRefused, match="larger than 20 MiB: split the file"):
        costs(lambda: import_file(file, settings, "logger", SteppedClock(0)))
    assert max(cost) < 20 * HEAD


@pytest.mark.parametrize(
    "payload",
    [
        b'time,air [degC],"' + b"x" * 200_000 + b'"\n',
        b'time,air [degC]\n"' + b"x" * 200_000 + b'"\n',
        b"," * 500_000 + b"\n",
        b"{" + b'"a":[' * 100_000,
    ],
)
def test_a_forecast_that_is_a_bomb_is_said_to_be_broken(payload: bytes) -> None:
    with pytest.raises(ForecastError) as told:
        parse(payload, "outdoors.csv", 0)
    assert len(str(told.value)) < 500


@pytest.mark.parametrize(
    "payload", [b'"' + b"x" * HEAD * 2, b"," * HEAD * 2, b'time,"t\n' + b"x" * 200, b"\xff" * HEAD]
)
def test_a_bomb_in_a_folder_that_set_up_looks_into_is_told_in_a_sentence(
    tmp_path: Path, payload: bytes
) -> None:
    (tmp_path / "night.csv").write_bytes(payload)
    with pytest.raises(CannotSetUp) as told:
        layout_of(tmp_path, "UTC")
    assert len(str(told.value)) < 1000


def test_a_letter_that_the_end_of_the_head_cuts_in_two_is_no_fault(tmp_path: Path) -> None:
    rows = b"time,t\n" + GOOD
    (tmp_path / "night.csv").write_bytes(rows + b"#" * (HEAD - len(rows) - 1) + "å\n".encode())
    assert layout_of(tmp_path, "UTC").numbers == {"t": 3.0}


def test_no_archive_is_unpacked_anywhere() -> None:
    """So that there is nothing a zip bomb could be given to."""
    reading = re.compile(
        rf"^\s*(import|from) ({ARCHIVES})\b|\b(gzip\.(open|decompress)|unpack_archive)\(", re.MULTILINE
    )
    assert reading.search("import zipfile")
    paths = [
        path for package in ("collector", "model", "dashboard") for path in (ROOT / package).rglob("*.py")
    ]
    assert len(paths) > 200
    assert [path for path in paths if reading.search(path.read_text(encoding="utf-8"))] == []
