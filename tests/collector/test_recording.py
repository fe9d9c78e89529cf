"""Recordings: any bytes come back as they were, and what is not one is told by file and line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.arrival import Arrival
from collector.recording import Recorder, RecordingError, arrivals, parse_line

T0 = 1_795_600_000_000
SOME = [
    Arrival("usb", b"S1 T=12.50", T0),
    Arrival("broker", bytes(range(256)), T0 + 5, topic="shed/å/ü", live=False),
    Arrival("usb", b"", T0 + 7),
]
texts = st.text(st.characters(codec="utf-8"), max_size=20)


def recorded(path: Path, wanted: list[Arrival]) -> Path:
    with Recorder(path) as recorder:
        for arrival in wanted:
            recorder.add(arrival)
    return path


def test_what_was_recorded_comes_back(tmp_path: Path) -> None:
    assert list(arrivals(recorded(tmp_path / "night.rec", SOME))) == SOME


@given(st.binary(max_size=100), texts, texts, st.booleans(), st.integers(0, 2**53 - 1))
def test_any_bytes_under_any_names_come_back(
    tmp_path_factory: pytest.TempPathFactory, payload: bytes, source: str, topic: str, live: bool, at: int
) -> None:
    arrival = Arrival(source, payload, at, topic, live)
    assert list(arrivals(recorded(tmp_path_factory.mktemp("r") / "one.rec", [arrival]))) == [arrival]


def test_the_form_is_the_documented_one(tmp_path: Path) -> None:
    text = recorded(tmp_path / "night.rec", SOME[:1]).read_text(encoding="utf-8")
    assert text == (
        '{"recording": 1}\n'
        f'{{"received": {T0}, "source": "usb", "topic": "", "live": true, "payload": "S1 T=12.50"}}\n'
    )


def test_nothing_is_written_over(tmp_path: Path) -> None:
    recorded(tmp_path / "night.rec", SOME)
    with pytest.raises(FileExistsError):
        Recorder(tmp_path / "night.rec")


def test_a_last_line_that_a_power_cut_tore_is_passed_over(tmp_path: Path) -> None:
    whole = recorded(tmp_path / "night.rec", SOME).read_bytes()
    begins = len(whole) - len(whole.splitlines()[-1])
    for length in range(begins, len(whole)):
        (tmp_path / "torn.rec").write_bytes(whole[:length])
        assert list(arrivals(tmp_path / "torn.rec")) == SOME[:2]


@pytest.mark.parametrize(
    "line",
    [
        "",
        "[]",
        "{}",
        "nonsense",
        '{"received": 1, "source": "usb", "topic": "", "live": true}',
        '{"received": true, "source": "usb", "topic": "", "live": true, "payload": ""}',
        '{"received": 1.5, "source": "usb", "topic": "", "live": true, "payload": ""}',
        '{"received": -1, "source": "usb", "topic": "", "live": true, "payload": ""}',
        '{"received": 1, "source": "usb", "topic": "", "live": 1, "payload": ""}',
        '{"received": 1, "source": "usb", "topic": "", "live": true, "payload": "\u0100"}',
        '{"received": 1, "source": "usb", "topic": "", "live": true, "payload": "", "more": 1}',
        "[" * 100_000,
    ],
)
def test_a_line_that_is_none_is_told_by_file_and_line(tmp_path: Path, line: str) -> None:
    path = recorded(tmp_path / "night.rec", SOME[:1])
    with path.open("a", encoding="utf-8") as file:
        file.write(line + "\n")
    with pytest.raises(RecordingError, match=r"night\.rec:3: not a line of a recording"):
        list(arrivals(path))
    assert parse_line(line.encode()) is None


def test_another_file_is_not_taken_for_a_recording(tmp_path: Path) -> None:
    for content in (b"", b"time,panel\n", b'{"recording": 2}\n', b"\xff\xfe"):
        (tmp_path / "other").write_bytes(content)
        with pytest.raises(RecordingError, match=r"other:1: not a recording"):
            list(arrivals(tmp_path / "other"))
