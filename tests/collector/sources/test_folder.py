"""A watched folder: each file once, whole, and then out of the way with a report."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.arrival import Arrival, Outcome, Refusal
from collector.clock import SteppedClock
from collector.decode.logger_csv import MAX_BYTES
from collector.sources import folder as folders
from collector.sources.folder import WatchedFolderSource
from tests.services import wait_until


class Watching:
    """The source in a thread; the test decides when and what the pipeline answers."""

    def __init__(self, at: Path) -> None:
        self.source = WatchedFolderSource("logger", at, SteppedClock(1_795_600_000_000), settled_s=0.05)
        self.arrivals: list[Arrival] = []
        self.stop = threading.Event()
        self.thread = threading.Thread(target=self.source.run, args=(self.arrivals.append, self.stop.is_set))
        self.thread.start()

    def end(self) -> None:
        self.stop.set()
        self.thread.join()

    def one(self) -> Arrival:
        wait_until(lambda: bool(self.arrivals), "a file was handed over")
        return self.arrivals.pop()


@pytest.fixture(autouse=True)
def _looks_often(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folders, "LOOK_S", 0.01)


@pytest.fixture
def inbox(tmp_path: Path) -> Path:
    return tmp_path / "inbox"


@pytest.fixture
def watching(inbox: Path) -> Iterator[Watching]:
    watching = Watching(inbox)
    wait_until(inbox.is_dir, "the folder is made")
    yield watching
    watching.end()


def put(inbox: Path, name: str, text: str) -> None:
    part = inbox / f".{name}.part"
    part.write_text(text)
    part.rename(inbox / name)


def tell(arrival: Arrival, outcome: Outcome) -> None:
    assert arrival.outcome is not None
    arrival.outcome(outcome)


def test_a_file_is_handed_over_whole_and_moved_only_after_it_is_committed(
    inbox: Path, watching: Watching
) -> None:
    put(inbox, "night.csv", "time,panel\n1,2\n")
    arrival = watching.one()
    assert (arrival.payload, arrival.topic, arrival.live) == (b"time,panel\n1,2\n", "night.csv", False)
    assert (inbox / "night.csv").exists()
    tell(arrival, Outcome(1, ()))
    wait_until((inbox / "done" / "night.csv").exists, "the file was moved")
    assert not (inbox / "night.csv").exists()
    assert [path.name for path in (inbox / "done").iterdir()] == ["night.csv"]
    assert watching.arrivals == []


def test_a_file_with_nothing_usable_goes_to_refused_with_the_reasons(inbox: Path, watching: Watching) -> None:
    put(inbox, "night.csv", "x")
    tell(watching.one(), Outcome(0, (Refusal("missing field", "no column 'time'"),)))
    report = inbox / "refused" / "night.csv.report.txt"
    wait_until((inbox / "refused" / "night.csv").exists, "the file was moved")
    assert report.read_text() == "night.csv: 0 readings taken, 1 refused\nmissing field: no column 'time'\n"


def test_a_file_of_which_rows_were_refused_is_done_with_a_report(inbox: Path, watching: Watching) -> None:
    put(inbox, "night.csv", "x")
    tell(watching.one(), Outcome(5, tuple(Refusal("time", f"line {i}") for i in range(60))))
    wait_until((inbox / "done" / "night.csv").exists, "the file was moved")
    lines = (inbox / "done" / "night.csv.report.txt").read_text().splitlines()
    assert (len(lines), lines[-1]) == (52, "... and 10 more")


def test_a_second_file_of_the_same_name_replaces_nothing(inbox: Path, watching: Watching) -> None:
    for text in ("first", "second"):
        put(inbox, "night.csv", text)
        tell(watching.one(), Outcome(1, ()))
        wait_until(lambda: not (inbox / "night.csv").exists(), "the file was moved")
    assert (inbox / "done" / "night.csv").read_text() == "first"
    assert (inbox / "done" / "night-2.csv").read_text() == "second"


def test_a_file_that_still_grows_is_not_read(tmp_path: Path) -> None:
    now = [0.0]
    source = WatchedFolderSource("logger", tmp_path, SteppedClock(0), settled_s=2.0, monotonic=lambda: now[0])
    growing = tmp_path / "night.csv"
    for size in range(1, 20):
        growing.write_bytes(b"x" * size)
        assert source._settled() == []
        now[0] += 1.5
    assert source._settled() == []
    now[0] += 0.6
    assert source._settled() == [growing]


def test_hidden_and_partial_files_are_left_alone(inbox: Path, watching: Watching) -> None:
    for name in (".hidden.csv", "a.part", "b.tmp"):
        (inbox / name).write_text("x")
    put(inbox, "night.csv", "x")
    assert watching.one().topic == "night.csv"
    assert watching.arrivals == []


def test_a_huge_file_is_refused_without_being_read(inbox: Path, watching: Watching) -> None:
    part = inbox / ".huge.part"
    with part.open("wb") as file:
        file.truncate(MAX_BYTES + 1)
    part.rename(inbox / "huge.csv")
    wait_until((inbox / "refused" / "huge.csv").exists, "the file was moved")
    assert "too long" in (inbox / "refused" / "huge.csv.report.txt").read_text()
    assert watching.arrivals == []


def test_a_folder_that_cannot_be_used_is_told_and_tried_again(tmp_path: Path) -> None:
    (tmp_path / "inbox").write_text("a file where the folder should be")
    watching = Watching(tmp_path / "inbox")
    try:
        wait_until(lambda: watching.source.state.startswith("failed"), "the trouble is told")
        assert "inbox" in watching.source.state
        (tmp_path / "inbox").unlink()
        wait_until(lambda: watching.source.state == "connected", "it works again")
    finally:
        watching.end()


def test_a_file_that_was_not_committed_before_a_stop_is_read_again(inbox: Path) -> None:
    first = Watching(inbox)
    wait_until(inbox.is_dir, "the folder is made")
    put(inbox, "night.csv", "x")
    first.one()
    first.end()
    second = Watching(inbox)
    assert second.one().topic == "night.csv"
    second.end()
