"""What the shop's logbook corrects stands corrected on the server, beside the raw value, and follows each new entry."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import apsw
import numpy as np
import pytest

from collector.forward.corrected import changed
from collector.forward.state import ForwardState
from collector.reading import Quantity, Reading
from dashboard.cli.forwarding import ShopCorrections
from dashboard.correction import Correction, correct
from dashboard.devices import probe_logs
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from tests.collector.forward.stage import (
    EVENING,
    NOW,
    SITE,
    Series,
    Ticking,
    by_24,
    commit,
    forwarder,
    night,
    selected,
    stub,
)  # fmt: skip
from tests.services import Server, influxdb, running

KEY = (SITE, "S1", "temperature", "")
S1 = ("S1", Quantity.TEMPERATURE)
FOUR_HOURS = EVENING + 240 * 60_000


@pytest.fixture(autouse=True)
def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a busy machine we may stand still for longer than a read may take."""
    monkeypatch.setattr("collector.store.reader.LONGEST_READ_S", 60.0)


@pytest.fixture
def store(tmp_path: Path) -> Path:
    path = tmp_path / "readings.db"
    commit(path, *by_24(night()))
    return path


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    logbook = Logbook(tmp_path / "shop.db", list).open()
    yield logbook
    logbook.close()


def entered(book: Logbook, id_: str, since: int, reads: float, true: float) -> None:
    body = {
        "probe": "S1", "serial": "", "quantity": "temperature", "points": [[reads, true]], "half_width": 0.2,
        "margin": 10.0, "reference": "an invented reference",
    }  # fmt: skip
    book.append(Event(id_, since, NOW, "somebody", "correction entered", None, body))


def after_minutes(sender_store: Path, server: Server, corrections: ShopCorrections) -> Series:
    """What the server has of `corrected` once a forwarder has been at work for two minutes."""
    seconds = Ticking()
    sender = forwarder(
        sender_store, server.port, monotonic=seconds, corrections=corrections, server="influxdb-1"
    )
    for _ in range(5):
        sender.send_some()
        seconds.at += 30.0
    sender.close()
    return selected(server, "reading", "corrected")


def logged(corrections: LogbookReader) -> list[tuple[int, float]]:
    """S1's night, corrected as answers are."""
    rows = [(reading.at, reading.value) for reading in night() if reading.probe == "S1"]
    log = probe_logs(corrections.events())["S1"]
    t, raw = np.array([at for at, _ in rows]), np.array([value for _, value in rows])
    return list(
        zip(t.tolist(), correct(t, raw, log.stretches(Quantity.TEMPERATURE), 0.0).value.tolist(), strict=True)
    )


def test_a_night_is_sent_corrected_and_again_after_each_entry(
    store: Path, book: Logbook, tmp_path: Path
) -> None:
    """One from the start, one from the middle on, taken back again: each time what an answer would rest on."""
    reader = LogbookReader(tmp_path / "shop.db")
    with running(influxdb(tmp_path / "server")) as server:
        entered(book, "first", EVENING - 1000, 20.0, 19.0)
        assert after_minutes(store, server, ShopCorrections(reader)) == {KEY: logged(reader)}
        entered(book, "second", FOUR_HOURS, 20.0, 22.0)
        found = after_minutes(store, server, ShopCorrections(reader))
        assert found == {KEY: logged(reader)}
        assert found[KEY][0] == (EVENING, 17.0)
        assert found[KEY][-1] == (EVENING + 479 * 60_000, 12.02)
        book.append(Event("back", NOW, NOW, "somebody", "withdrawn", None, {"event": "second"}))
        found = after_minutes(store, server, ShopCorrections(reader))
        assert found == {KEY: logged(reader)}
        book.append(Event("back too", NOW, NOW, "somebody", "withdrawn", None, {"event": "first"}))
        found = after_minutes(store, server, ShopCorrections(reader))
        raw = selected(server, "reading", "value")
        assert found[KEY] == raw[KEY], "corrected no longer: the raw value again"


def test_a_new_correction_sends_only_its_range_and_the_lines_that_hold(store: Path, book: Logbook) -> None:
    """What was revised since goes under the tag that holds, and nothing is sent once more after that."""
    seconds = Ticking()
    with closing(apsw.Connection(str(store))) as connection:
        connection.execute(
            "INSERT INTO batch(seq, t_min, t_max, run, committed, revised) VALUES(41, ?, ?, 1, ?, 1)",
            (FOUR_HOURS, FOUR_HOURS + 60_000, NOW),
        )
    with stub() as server:
        corrections = ShopCorrections(LogbookReader(store.with_name("shop.db")))
        sender = forwarder(store, server.port, monotonic=seconds, corrections=corrections)

        def minutes(number: int) -> list[str]:
            server.taken.clear()
            for _ in range(2 * number):
                sender.send_some()
                seconds.at += 30.0
            return [line for line in server.taken if line.startswith("reading,")]

        minutes(3)
        entered(book, "first", FOUR_HOURS - 60_000, 20.0, 19.0)
        again = minutes(3)
        sender.close()
        sender = forwarder(store, server.port, monotonic=seconds, corrections=corrections)
        assert minutes(3) == []
        sender.close()
    assert len(again) == 241
    assert all("probe=S1" in line and "corrected=" in line for line in again)
    assert [",rev=41 " in line for line in again[:4]] == [False, True, True, False]
    state = ForwardState.open(store.with_name("forward.db"))
    assert changed(state.corrected_by(), corrections.in_force()) == {}
    state.close()


def test_what_is_corrected_otherwise_is_found_by_when_that_begins() -> None:
    """An entry that begins to count where another did, one that ends, one that changes nothing."""
    none: dict[tuple[str, Quantity], list[tuple[int, str]]] = {}
    assert changed(none, {S1: [(-5, "")]}) == {}
    assert changed(none, {S1: [(-5, ""), (10, "a")]}) == {S1: 10}
    assert changed({S1: [(10, "a")]}, {S1: [(10, "a"), (20, "b"), (30, "b")]}) == {S1: 20}
    assert changed({S1: [(10, "a")]}, {S1: [(10, "b")]}) == {S1: 10}
    assert changed({S1: [(10, "a"), (20, "b")]}, {S1: [(10, "a")]}) == {S1: 20}
    assert changed({S1: [(10, "a")]}, none) == {S1: 10}
    assert changed({S1: [(10, "a")]}, {S1: [(10, "a"), (15, "")]}) == {S1: 15}


def test_without_a_logbook_nothing_is_corrected(tmp_path: Path) -> None:
    corrections = ShopCorrections(LogbookReader(tmp_path / "shop.db"))
    assert corrections.in_force() == {}
    assert corrections.value(Reading("S1", Quantity.TEMPERATURE, 5.0, NOW, NOW)) is None


def test_one_value_is_corrected_to_the_last_bit_as_an_answer_corrects_it(
    book: Logbook, tmp_path: Path
) -> None:
    entered(book, "first", EVENING, 20.0, 19.3)
    corrections = ShopCorrections(LogbookReader(tmp_path / "shop.db"))
    corrections.in_force()
    made = Correction.of("first", EVENING, book.events()[0].body)
    for value in (11.1, 20.0, 35.7):
        reading = Reading("S1", Quantity.TEMPERATURE, value, EVENING, EVENING)
        assert corrections.value(reading) == made.one(value)
    assert corrections.value(Reading("S1", Quantity.TEMPERATURE, 20.0, EVENING - 1, EVENING)) is None
