"""A user of a real time-series server loses rights while we send and read there, and gets them back."""

from __future__ import annotations

import json
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.forward.link import ServerError
from collector.store.time_series.asking import Asking, Unanswered
from collector.store.time_series.influxql import InfluxQL
from collector.store.time_series.rows import Rows
from tests.collector.forward.stage import NOW, SITE, Ticking, filled, forwarder, last_batch, night, told
from tests.services import Server, influxdb

ADMIN = {"u": "admin", "p": "invented"}


pytestmark = pytest.mark.usefixtures("unhurried")


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """InfluxDB 1.6.7 that asks who comes; `site` may write and `office` may read."""
    one = influxdb(tmp_path / "server", HTTP_AUTH_ENABLED="true")
    Server.start(one)  # without its database, which only the first user may make
    try:
        ask(one, "CREATE USER admin WITH PASSWORD 'invented' WITH ALL PRIVILEGES", {})
        for question in (
            "CREATE DATABASE coldshed",
            "CREATE USER site WITH PASSWORD 'first'",
            "CREATE USER office WITH PASSWORD 'first'",
            "GRANT WRITE ON coldshed TO site",
            "GRANT READ ON coldshed TO office",
        ):
            ask(one, question)
        yield one
    finally:
        one.kill()


def ask(server: Server, question: str, who: dict[str, str] = ADMIN) -> None:
    url = f"http://127.0.0.1:{server.port}/query?{urllib.parse.urlencode(who)}"
    form = urllib.parse.urlencode({"q": question}).encode()
    with urllib.request.urlopen(url, form, 20) as answer:
        assert "error" not in json.load(answer)["results"][0]


def test_b51_a_user_whose_rights_are_taken_away_while_we_send_is_told_and_loses_nothing(
    tmp_path: Path, server: Server
):
    """One that may write and not read is believed to have what it acknowledged; that is said once."""
    store, token, seconds = filled(tmp_path, night()), tmp_path / "token", Ticking()
    token.write_text("site:first\n")
    sender = forwarder(store, server.port, monotonic=seconds, server="influxdb-1", token_file=str(token))
    for question, status in (
        ("SET PASSWORD FOR site = 'second'", 401),
        ("REVOKE WRITE ON coldshed FROM site", 403),
    ):
        for _ in range(5):
            sender.send_some()
            seconds.at += 30.0
        assert sender.state == "connected"
        ask(server, question)
        seconds.at += 30.0
        with pytest.raises(ServerError, match=rf"answers {status} .*Put a token that may write into"):
            sender.send_some()
        sender.close()
        token.write_text("site:second\n")
        ask(server, "GRANT WRITE ON coldshed TO site")
    sender.send_some()
    sender.close()
    assert told(store).acknowledged == last_batch(store)
    rows = reading(server, tmp_path)
    assert sum(len(series.t) for series in rows) == len(night())


def reading(server: Server, folder: Path) -> list[Rows]:
    token = folder / "office"
    if not token.exists():
        token.write_text("office:first\n")
    asking = Asking(f"http://127.0.0.1:{server.port}", "Basic", token)
    return InfluxQL(asking, "coldshed").rows("reading", {"site": [SITE]}, ("value",), 0, NOW)


def test_b51_a_reader_that_is_let_in_no_more_is_told_so_and_reads_on_once_it_is(
    tmp_path: Path, server: Server
):
    assert reading(server, tmp_path) == []
    ask(server, "SET PASSWORD FOR office = 'second'")
    with pytest.raises(Unanswered, match=r"answers 401 .*authorization failed"):
        reading(server, tmp_path)
    (tmp_path / "office").write_text("office:second\n")
    assert reading(server, tmp_path) == []
    ask(server, "REVOKE READ ON coldshed FROM office")
    with pytest.raises(Unanswered, match=r"not authorized"):
        reading(server, tmp_path)
