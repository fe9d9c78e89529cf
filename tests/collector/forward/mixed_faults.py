"""A proxy before a real server that does everything wrong that a proxy can, as a seed says: all arrives whole."""

from __future__ import annotations

import http.client
import random
from contextlib import closing, suppress
from pathlib import Path

import apsw

from collector.forward.link import ServerError
from collector.forward.waiting import SAFE_S
from tests.collector.forward.outage import fill, values, wrong
from tests.collector.forward.stage import CUT, TAKEN, Answer, Ticking, forwarder, last_batch, stub, told
from tests.services import InfluxServer, running

ODDS: dict[str, float] = {
    "503": 0.06, "429": 0.06, "401": 0.03, "400": 0.03, "cut": 0.05, "written, then 500": 0.06,
    "acknowledged and dropped": 0.02,
}  # fmt: skip


def passed_on(server: InfluxServer, path: str, lines: list[str]) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=30)
    try:
        connection.request("POST", path, "\n".join(lines).encode())
        assert connection.getresponse().status == 204
    finally:
        connection.close()


class Unruly:
    """Answers by chance; what was dropped is known to it when it is asked for a count."""

    def __init__(self, server: InfluxServer, seed: int, most: int) -> None:
        self.faults = 0
        self._server = server
        self._chance = random.Random(seed)
        self._most = most

    def answer(self, path: str, lines: list[str]) -> Answer:
        if len(lines) > self._most:
            return 413, {}, ""
        fault = self._chance.choices([*ODDS, ""], [*ODDS.values(), 1 - sum(ODDS.values())])[0]
        if fault == "400" and len(lines) == 1:
            fault = ""  # of a line on its own a refusal is believed
        self.faults += bool(fault)
        if fault in ("", "written, then 500"):
            passed_on(self._server, path, lines)
        match fault:
            case "written, then 500":
                return 500, {}, "timed out"
            case "cut":
                return CUT
            case "" | "acknowledged and dropped":
                return TAKEN
            case status:
                return int(status), {}, "an invented reason"


def safe(store: Path) -> int:
    """The batch up to which the server has said that it has everything."""
    path = store.with_name("forward.db")
    if not path.exists():
        return 0
    with closing(apsw.Connection(str(path))) as connection:
        return int(connection.execute("SELECT coalesce(max(safe), 0) FROM cursor").get)


def got_through(folder: Path, server: InfluxServer, rounds: int, seed: int, most: int) -> int:
    """Sends all of it through the proxy, which takes at most so many lines at once, without the waits; returns how many
    faults there were beside that.
    """
    store, seconds = folder / "readings.db", Ticking()
    fill(store, rounds)
    with running(server), stub() as proxy:
        unruly = Unruly(server, seed, most)
        proxy.answer = unruly.answer
        proxy.behind = server.port
        sender = forwarder(store, proxy.port, monotonic=seconds, server="influxdb-1")
        last = last_batch(store)
        while safe(store) < last or told(store).not_held:
            seconds.at += SAFE_S / 2
            with suppress(ServerError):
                sender.send_some()
        sender.close()
        assert wrong(values(server), rounds) == 0
        assert told(store).kept == 0
    return unruly.faults
