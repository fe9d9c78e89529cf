"""Whatever a server answers: nothing is lost, nothing floods it, and what is wrong is said in its own words."""

from __future__ import annotations

import socket
from contextlib import ExitStack
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from collector.forward.link import ServerError
from collector.reading import Reading
from collector.store.time_series.lines import reading_line
from tests.collector.forward.stage import (
    SITE,
    TAKEN,
    at_work,
    by_24,
    forwarder,
    night,
    stub,
    told,
)
from tests.services import free_port, wait_until


def all_lines(rows: list[Reading], size: int = 24) -> list[str]:
    return sorted(
        reading_line(SITE, reading, number)
        for number, batch in enumerate(by_24(rows), 1)
        for reading in batch
    )


@pytest.mark.usefixtures("unhurried")
@pytest.mark.parametrize("status", [400, 401, 403, 404, 413, 422, 429, 500, 502, 503])
def test_no_answer_of_the_server_loses_a_reading(store: Path, status: int):
    """Refused twenty times over, then taken: all is there, and meanwhile the cursor stands and the reason is told."""
    with stub(lambda path, lines: (status, {}, '{"error": "an invented reason"}')) as server:
        sender = forwarder(store, server.port)
        with pytest.raises(ServerError, match=f"{status}.*an invented reason"):
            sender.send_some()
        assert told(store).acknowledged == 0
        server.answer = lambda path, lines: TAKEN
        assert sender.send_some() == len(night())
        sender.close()
        assert server.readings() == all_lines(night())
    assert told(store).kept == 0


@pytest.mark.usefixtures("unhurried")
def test_the_request_states_milliseconds_and_only_floats(store: Path):
    """The v2 write API: POST /api/v2/write with bucket, org and precision; an integer would end in i."""
    with stub() as server:
        sender = forwarder(store, server.port)
        sender.send_some()
        sender.close()
    path, lines = server.writes[0]
    query = parse_qs(urlsplit(path).query)
    assert urlsplit(path).path == "/api/v2/write"
    assert (query["precision"], query["bucket"]) == (["ms"], ["coldshed"])
    assert len(lines) == len(night())
    fields = [field for line in server.taken for field in line.rsplit(" ", 2)[1].split(",")]
    assert all(float(field.split("=")[1]) is not None and not field.endswith("i") for field in fields)


def test_a_server_that_hangs_does_not_keep_us_from_ending(store: Path):
    with socket.create_server(("127.0.0.1", 0)) as deaf, ExitStack() as held:
        with at_work(forwarder(store, deaf.getsockname()[1])):
            held.enter_context(deaf.accept()[0])
        assert told(store).acknowledged == 0


def test_a_missing_token_file_is_told(store: Path):
    with at_work(forwarder(store, free_port(), token_file="/nowhere/token")) as sender:
        wait_until(lambda: "/nowhere/token" in sender.state, "the file in the state")
