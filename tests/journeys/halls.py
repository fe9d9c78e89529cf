"""Three sites, each with a collector and a forwarder, one time-series server, and one dashboard that reads from it.

All real processes. Where `Networks` are made, each site and the server's side have a network of their own, and a site's
can be cut; that needs root and the program `ip`.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import time
import urllib.parse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from collector.store.schema import NotYet
from dashboard.assessment import Assessment
from dashboard.cards import CardShelf
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from dashboard.watch_store import Alarm, WatchReader
from model.verdict import State
from tests.journeys.shop import Process, now_ms
from tests.services import Server, free_port, influxdb, running, victoria_metrics, wait_until

SITES = ("north", "south", "east")
WARM = b"c8 00 4b 46 7f ff 08 10 02 : crc=02 YES\nc8 00 4b 46 7f ff 08 10 02 t=12500\n"
"""12.5 degC as Linux shows a one-wire sensor (kernel.org, w1_therm; the sum is checked by tests/collector)."""
CARD = "invented-25min"
ASK = "import sys, urllib.request as u; sys.stdout.buffer.write(u.urlopen(sys.argv[1], timeout=20).read())"
KINDS = {"influxdb-1": influxdb, "victoria-metrics": victoria_metrics}
"""Real servers by what the settings call them."""


def why_no_networks() -> str:
    """What is missing for networks of our own; "" if nothing is."""
    if os.geteuid() != 0:
        return "networks of their own need root"
    if shutil.which("ip") is None:
        return "networks of their own need the program ip (Debian: iproute2)"
    tried = subprocess.run(
        ["ip", "netns", "add", f"cs{os.getpid()}"], capture_output=True, check=False, text=True
    )
    if tried.returncode:
        return f"this machine makes no networks of their own: {tried.stderr.strip()}"
    subprocess.run(["ip", "netns", "delete", f"cs{os.getpid()}"], check=True)
    return ""


class Networks:
    """The server's side, "hub", with a bridge at 10.91.0.1, and a network of each site behind it. Gone on close()."""

    address = "10.91.0.1"

    def __init__(self, sites: Sequence[str]) -> None:
        self._made: list[str] = []
        self._sites = sites
        self._new("hub")
        self._ip("link", "add", "bridge0", "type", "bridge", at="hub")
        self._ip("address", "add", f"{self.address}/24", "dev", "bridge0", at="hub")
        self._ip("link", "set", "bridge0", "up", at="hub")
        for number, site in enumerate(sites):
            self._new(site)
            port = f"port{number}"
            pair = ("link", "add", port, "type", "veth", "peer", "name", "eth0", "netns", self.name(site))
            self._ip(*pair, at="hub")
            self._ip("link", "set", port, "master", "bridge0", at="hub")
            self._ip("link", "set", port, "up", at="hub")
            self._ip("address", "add", f"10.91.0.{10 + number}/24", "dev", "eth0", at=site)
            self._ip("link", "set", "eth0", "up", at=site)

    def name(self, at: str) -> str:
        return f"cs{os.getpid()}{at}"

    def within(self, at: str) -> list[str]:
        return ["ip", "netns", "exec", self.name(at)]

    def cut(self, site: str) -> None:
        """As if its cable were pulled."""
        self._ip("link", "set", f"port{self._sites.index(site)}", "down", at="hub")

    def mend(self, site: str) -> None:
        self._ip("link", "set", f"port{self._sites.index(site)}", "up", at="hub")

    def close(self) -> None:
        for name in reversed(self._made):
            subprocess.run(["ip", "netns", "delete", name], check=True)
        self._made.clear()

    def _new(self, at: str) -> None:
        subprocess.run(["ip", "netns", "add", self.name(at)], check=True)
        self._made.append(self.name(at))
        self._ip("link", "set", "lo", "up", at=at)

    def _ip(self, *words: str, at: str) -> None:
        subprocess.run(["ip", "-n", self.name(at), *words], check=True)


class Everywhere:
    """No networks of their own: all on this machine's loopback."""

    address = "127.0.0.1"

    def within(self, at: str) -> list[str]:
        return []

    def close(self) -> None:
        """Nothing was made."""


@dataclass
class Halls:
    """What runs, and what can be asked of it from outside."""

    folder: Path
    networks: Networks | Everywhere
    kind: str
    url: str
    port: int = field(default_factory=free_port)
    running: dict[str, Process] = field(default_factory=dict)

    @property
    def readings(self) -> dict[str, Path]:
        return {site: self.folder / site / "data" / "readings.db" for site in SITES}

    def start_site(self, site: str) -> None:
        """A collector that reads a sensor twice a second, and a forwarder."""
        home = self.folder / site
        sensor = home / "devices" / "28-00000000ab01"
        sensor.mkdir(parents=True)
        (sensor / "w1_slave").write_bytes(WARM)
        (home / "coldshed.toml").write_text(
            f'site = "{site}"\ntime_zone = "Europe/Oslo"\n\n'
            f'[[source]]\nid = "wire"\nkind = "one_wire"\nfolder = "{home / "devices"}"\ninterval_s = 2.0\n'
            'decode = { kind = "w1_slave" }\n\n'
            '[[probe]]\nid = "S1"\nsource = "wire"\nname = "28-00000000ab01"\nzone = "shed"\nplace = "surface"\n'
            "interval_s = 2.0\n\n"
            f'[forward]\nserver = "{self.kind}"\nurl = "{self.url}"\nbucket = "coldshed"\n'
        )
        for what in ("collect", "forward"):
            self._start(what, home, site)

    def start_dashboard(self) -> None:
        """A panel of each site, coated just now, in its logbook; then watch and serve by `run`."""
        home = self.folder / "office"
        (home / "data").mkdir(parents=True)
        sites = json.dumps(SITES)
        (home / "coldshed.toml").write_text(
            f'site = "All halls"\ntime_zone = "Europe/Oslo"\n\n[serve]\nport = {self.port}\n\n'
            f'[read_from]\nserver = "{self.kind}"\nurl = "{self.url}"\nbucket = "coldshed"\nsites = {sites}\n'
        )
        book, now = Logbook(home / "data" / "shop.db", CardShelf(None).names).open(), now_ms()
        for site in SITES:
            about = {"name": f"Lid {site}", "zone": f"{site} · shed", "substrate": "wood"}
            about |= {"surface_probe": f"{site}:S1", "air_probe": None}
            book.append(Event(f"p-{site}", now, now, "Kim", "panel registered", f"lid-{site}", about))
            coat = {"card": CARD, "applied_at": now, "kind": "laminate"}
            book.append(Event(f"c-{site}", now, now, "Kim", "coat mixed", f"lid-{site}", coat))
        book.close()
        self._start("run", home, "hub")

    def _start(self, what: str, home: Path, at: str) -> None:
        words = [what, "--settings", str(home / "coldshed.toml")]
        self.running[f"{at} {what}"] = Process(words, home / f"{what}.log", self.networks.within(at))

    def answer(self, site: str) -> Assessment | None:
        try:
            return self._watched().assessment(f"lid-{site}")
        except NotYet:
            return None

    def is_known(self, site: str) -> bool:
        """What its panel's page says now."""
        answer = self.answer(site)
        return (
            answer is not None and not answer.is_old(now_ms()) and answer.verdict.state is not State.NOT_KNOWN
        )

    def alarms(self, kind: str) -> list[Alarm]:
        """Of one kind, those that last."""
        return [
            alarm for alarm in self._watched().alarms() if alarm.kind == kind and alarm.returned_at is None
        ]

    def _watched(self) -> WatchReader:
        data = self.folder / "office" / "data"
        return WatchReader(data / "watch.db", LogbookReader(data / "shop.db"))

    def page(self, path: str) -> str:
        """A page of the dashboard, asked from beside it; "" while serve does not answer."""
        return self._ask(f"http://127.0.0.1:{self.port}{path}").decode()

    def on_the_server(self, site: str) -> int:
        """How many readings of a site the server shows."""
        if self.kind == "influxdb-1":
            return sum(len(series["values"]) for series in self._series(site))
        self._ask(f"{self.url}/internal/force_flush")
        query = f"match[]=reading_value%7Bsite=%22{site}%22%7D&start=0&end={int(time.time()) + 86_400}"
        lines = self._ask(f"{self.url}/api/v1/export?{query}").splitlines()
        return sum(len(json.loads(line)["values"]) for line in lines)

    def _series(self, site: str) -> list[Any]:
        question = f"SELECT value FROM reading WHERE site = '{site}' GROUP BY *"
        words = urllib.parse.urlencode({"db": "coldshed", "q": question, "epoch": "ms"})
        [result] = json.loads(self._ask(f"{self.url}/query?{words}"))["results"]
        found: list[Any] = result.get("series", [])
        return found

    def _ask(self, url: str) -> bytes:
        words = [*self.networks.within("hub"), sys.executable, "-c", ASK, url]
        done = subprocess.run(words, capture_output=True, timeout=60, check=False)
        return done.stdout

    def make_database(self) -> None:
        """Once the server answers."""
        question = urllib.parse.urlencode({"q": 'CREATE DATABASE "coldshed"'})
        url = f"{self.url}/query?{question}" if self.kind == "influxdb-1" else f"{self.url}/health"
        wait_until(lambda: bool(self._ask(url)), f"that {self.url} answers")

    def check(self) -> str:
        """What `coldshed check` says on the dashboard's machine."""
        log = self.folder / "check.log"
        log.unlink(missing_ok=True)
        settings = str(self.folder / "office" / "coldshed.toml")
        checking = Process(["check", "--settings", settings], log, self.networks.within("hub"))
        checking.wait(60)
        return checking.said()

    def end(self, name: str) -> None:
        self.running.pop(name).clean_up()


@contextlib.contextmanager
def halls(folder: Path, networks: Networks | Everywhere, kind: str = "victoria-metrics") -> Iterator[Halls]:
    """Everything, and all of it ended and taken away again whatever happened. kind: of the server."""
    with contextlib.ExitStack() as stack:
        stack.callback(networks.close)
        if isinstance(networks, Everywhere):
            server = stack.enter_context(running(KINDS[kind](folder / "server")))
            made = Halls(folder, networks, kind, f"http://127.0.0.1:{server.port}")
        else:
            server = _server_at(f"{networks.address}:8428", folder / "server", kind)
            server.begin(networks.within("hub"))
            stack.callback(server.kill)
            made = Halls(folder, networks, kind, f"http://{networks.address}:8428")
            made.make_database()
        stack.callback(lambda: [made.end(name) for name in list(made.running)])
        for site in SITES:
            made.start_site(site)
        made.start_dashboard()
        yield made


def _server_at(address: str, folder: Path, kind: str) -> Server:
    """At that address and port of a network of its own."""
    if kind == "influxdb-1":
        return influxdb(folder, HTTP_BIND_ADDRESS=address)
    return victoria_metrics(folder, httpListenAddr=address)
