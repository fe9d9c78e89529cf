"""Shops in which everything that anybody outside can name is hostile text; each by the way such text really comes."""

from __future__ import annotations

import json
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from paho.mqtt import publish

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.first_run.session import SetUp
from collector.pipeline import Pipeline
from collector.reading import ProbeFacts
from collector.settings import parse
from collector.steady_clock import SteadyClock, this_machine
from collector.store.writer import Writer
from dashboard.first_run_app import create_set_up_app
from dashboard.one_time_code import OneTimeCode
from dashboard.pages.first_run import COOKIE
from dashboard.panel import Event
from tests.browser.fake_shop import HOUR, NOW, PROBES, morning
from tests.browser.serving import Served, free_port, until
from tests.browser.sites import Site
from tests.dashboard.night_shop import open_night
from tests.door.house import BOSS, PASSWORD, PEOPLE, House, open_house
from tests.services import mosquitto, running

HOSTILE = '"><img src=x onerror="window.broken=1"><script>window.broken=1</script>{{7*7}}'
SHORT = '"><img src=x onerror=window.broken=1>{{7*7}}'
"""Fits where a name of 64 characters does, and has no slash."""
PROBE = f"P{SHORT}"
NAMED = ProbeFacts(PROBE, SHORT, "air", 30.0, 0.8)
WIRES = f"""
site = "invented"
time_zone = "Europe/Oslo"
[[source]]
id = {json.dumps("bus" + SHORT)}
kind = "mqtt"
host = "127.0.0.1"
topic = ["shed/#"]
decode = {{ kind = "json_map", field = [{{ key = "/t", quantity = "temperature", unit = "degC" }}] }}
[[source]]
id = "logger"
kind = "folder"
folder = "inbox"
[source.decode]
kind = "logger_csv"
time = {{ key = "time", unit = "iso8601", zone = "UTC" }}
field = [{{ key = "t", quantity = "temperature", unit = "degC", name = {json.dumps("cell" + SHORT)} }}]
[[probe]]
id = "S1"
source = "logger"
zone = "shed"
place = "air"
interval_s = 60
"""


def hostile_house(open_: ExitStack, folder: Path) -> tuple[House, Site]:
    """A shop behind its door with five panels: names, zones, notes, reasons, lots, serials, people, tokens, wires."""
    port = free_port()
    people = PEOPLE | {"O" + SHORT[:38]: PEOPLE["Robin"]}
    house = open_house(folder, people, port=port, heard=True, told=("Kim", SHORT), more_probes=(NAMED,))
    open_.callback(house.close)
    _entries(house)
    _answers(house)
    _wires(house.shop.folder)
    for name in ("lamp", "T" + SHORT[:38]):
        house.door.tokens.make(name, ["read"], BOSS, "")
    house.door.trail.add(BOSS, SHORT, "tried", HOSTILE)
    served = Served(house.shop.app, port)
    open_.callback(served.stop)
    account = house.door.accounts.named("Kim")
    cookie = ("coldshed", house.door.sessions.begin(account.id, HOSTILE))
    return house, Site(house.shop.app, served.url, cookie)


def _entries(house: House) -> None:
    log = house.shop.logbook
    said: list[tuple[str, dict[str, object]]] = [
        ("note", {"text": HOSTILE}),
        ("held", {"reason": HOSTILE[:80]}),
        ("scrapped", {"reason": HOSTILE[:80]}),
    ]
    for number, panel in enumerate(list(log.panels())):
        renamed = {"name": f"{number}{SHORT}", "zone": SHORT}
        told = [("panel changed", renamed), *said[: 2 if panel != "rib-1" else 3]]
        for kind, body in told if panel == "rib-1" else told[:2]:
            log.append(Event(f"hostile-{panel}-{kind}", NOW, NOW, SHORT, kind, panel, body))
    lots = {"card": "invented-25min", "kind": "laminate", "resin_lot": SHORT, "hardener_lot": SHORT}
    log.append(Event("hostile-coat", NOW, NOW, SHORT, "coat mixed", "lid-4", lots))
    log.append(
        Event(
            "hostile-device",
            NOW,
            NOW,
            SHORT,
            "device replaced",
            None,
            {"probe": "S1", "serial": HOSTILE[:60]},
        )
    )
    point = {"quantity": "temperature", "points": [[0.4, 0.0]], "half_width": 0.2, "margin": 0.1}
    fixed = {"probe": "S1", "serial": HOSTILE[:60], **point, "reference": HOSTILE[:60], "due_at": None}
    log.append(Event("hostile-correction", NOW, NOW, SHORT, "correction entered", None, fixed))


def _answers(house: House) -> None:
    house.shop.save(*(replace(item, name=f"{n}{SHORT}", zone=SHORT) for n, item in enumerate(morning(NOW))))


def _wires(folder: Path) -> None:
    """Through the real decoders and the pipeline: a topic, a logger's cell, its heading, its file's name."""
    settings, clock = parse(WIRES, folder / "coldshed.toml"), SteppedClock(NOW)
    writer = Writer.open(folder / "readings.db", clock)
    pipeline = Pipeline(settings, writer, clock)
    cell = HOSTILE.replace('"', "'")
    for arrival in (
        Arrival("bus" + SHORT, b'{"t": 3}', NOW, f"shed/{SHORT}"),
        Arrival("bus" + SHORT, json.dumps({"t": HOSTILE}).encode(), NOW, "shed/1"),
        Arrival("logger", b"time,t\n2026-01-11 05:00:00,3\n", NOW, SHORT, live=False),
        Arrival("logger", f"time,t\n2026-01-11 05:00:00,{cell}\n".encode(), NOW, SHORT, live=False),
        Arrival("logger", f"time,{cell}\n".encode(), NOW, SHORT, live=False),
    ):
        pipeline.take(arrival)
    pipeline.flush()
    writer.describe([*PROBES, NAMED])
    writer.close()


def hostile_evening(open_: ExitStack, folder: Path) -> Site:
    """A winter evening, worked out by watch itself."""
    shop = open_night(folder, free_port())
    open_.callback(shop.close)
    for number, panel in enumerate(list(shop.logbook.panels())):
        at = shop.clock.now()
        renamed = {"name": f"{number}{SHORT}", "zone": SHORT}
        shop.logbook.append(Event(f"hostile-{panel}", at, at, SHORT, "panel changed", panel, renamed))
    shop.clock.at += HOUR // 60
    shop.watch.round()
    served = Served(shop.app, shop.port)
    open_.callback(served.stop)
    return Site(shop.app, served.url)


def hostile_set_up(open_: ExitStack, folder: Path) -> Site:
    """A shop that is being set up, with a hostile topic of a real broker and a hostile heading of a logger's file."""
    session, port, codes = SetUp(folder / "x.toml", SteadyClock(this_machine())), free_port(), list[str]()
    open_.callback(session.close)
    inbox = folder / SHORT
    inbox.mkdir()
    (inbox / f"{SHORT}.csv").write_text(f'time,"t{SHORT.replace(chr(34), chr(39))}"\n2026-01-11 05:00:00,3\n')
    session.name(SHORT, "Europe/Oslo")
    session.look_into(SHORT)
    broker = open_.enter_context(running(mosquitto(folder / "broker")))
    session.listen_broker("127.0.0.1", broker.port)

    def heard() -> bool:
        payload = json.dumps({f"t{SHORT}": 12.5, "name": SHORT})
        publish.single(f"shed/{HOSTILE}", payload, qos=1, hostname="127.0.0.1", port=broker.port)
        return len(session.devices()) == 2

    until(heard, "both are heard")
    code = OneTimeCode(codes.append)
    key = code.use(codes[0])
    assert key is not None
    app = create_set_up_app(session, code, port, lambda: None)
    served = Served(app, port)
    open_.callback(served.stop)
    device = next(one.key for one in session.devices() if "shed" in one.key)
    return Site(app, served.url, (COOKIE, key), device)


__all__ = ["HOSTILE", "PASSWORD", "PROBE", "SHORT", "hostile_evening", "hostile_house", "hostile_set_up"]
