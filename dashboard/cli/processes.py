"""The processes, put together: collect, watch, serve, forward, each alone or all under `run`."""

from __future__ import annotations

import argparse
import logging
import os
import socket
import threading
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.clock import Clock, DemoClock
from collector.heartbeat import Heartbeat
from collector.last_good import load_to_run
from collector.patience import rest
from collector.settings import Settings
from collector.steady_clock import SteadyClock, this_machine
from collector.store.house_clock import HouseClock
from collector.supervise import Stop, python_command
from dashboard.cli import keeper
from dashboard.cli.errors import CommandError

if TYPE_CHECKING:
    import uvicorn

    from dashboard.announce import Announcer

log = logging.getLogger("coldshed.run")

KNOCK_S = 1.0
KNOCK_TIMEOUT_S = 10.0
STARTING_S = 0.1
START = "import sys; from dashboard.cli import main; sys.exit(main(sys.argv[1:]))"


def run(arguments: argparse.Namespace) -> int:
    """collect, watch and serve (and forward, where the settings name a server), until a signal.

    Where readings come from a server nothing is collected.
    """
    if not arguments.settings.exists():
        from dashboard.cli.set_up import begin, may_begin

        if may_begin(arguments):
            return begin(arguments)
    settings = settings_of(arguments)
    names = ["watch", "serve"] if settings.read_from else ["collect", "watch", "serve"]
    also = {"forward": settings.forward, "notify": settings.notices}
    names += [name for name, table in also.items() if table is not None]
    children = commands(names, arguments.settings, arguments.demo_clock)
    keeper.become(children)


def commands(names: list[str], settings: Path, demo_clock: str | None) -> dict[str, list[str]]:
    """Command lines of the processes under a supervisor."""
    clock = ["--demo-clock", demo_clock] if demo_clock else []
    return {
        name: python_command(START, [name, "--settings", str(settings.resolve()), "--supervised", *clock])
        for name in names
    }


def collect(arguments: argparse.Namespace) -> int:
    from collector.app import collect

    settings = settings_of(arguments)
    if settings.read_from is not None:
        raise CommandError(
            f"{arguments.settings}: [read_from] stands there: nothing is collected on this machine"
        )
    heartbeat = Heartbeat.of_environment()
    clock = DemoClock.parse(arguments.demo_clock) if arguments.demo_clock else SteadyClock(this_machine())
    return collect(settings, clock, stop_of(arguments), heartbeat)


def watch(arguments: argparse.Namespace) -> int:
    from dashboard.cards import CardShelf
    from dashboard.cli.house import forecast_of
    from dashboard.cli.read_from import readings_of
    from dashboard.entry_times import EntryTimes
    from dashboard.logbook import LogbookReader
    from dashboard.watch import Watch
    from dashboard.watch_store import WatchWriter

    settings = settings_of(arguments)
    stop, heartbeat, clock = stop_of(arguments), Heartbeat.of_environment(), clock_of(arguments, settings)
    announcer = _announcer(settings)
    store = WatchWriter(settings.watch_db)
    try:
        return Watch(
            readings=readings_of(settings, clock),
            logbook=LogbookReader(settings.shop_db, EntryTimes(settings.readings_db)),
            cards=CardShelf(settings.folder / "cards"),
            store=store,
            clock=clock,
            zone=ZoneInfo(settings.time_zone),
            announcer=announcer,
            turned=heartbeat.turned,
            forecast=forecast_of(settings),
        ).run(stop)
    finally:
        heartbeat.stopping()
        if announcer is not None:
            announcer.stop()
        store.close()


def _announcer(settings: Settings) -> Announcer | None:
    """What tells the broker of the settings, started; None: they name none, or its files cannot be used."""
    if settings.announce is None:
        return None
    from collector.broker_tls import LoginFileError, password_of, tls_context
    from dashboard.announce import Announcer, Broker

    told = settings.announce.with_files_in(settings.folder)
    try:
        broker = Broker(told.host, told.port, told.user, partial(password_of, told), tls_context(told))
        announcer = Announcer(broker, settings.site, watch_id(settings))
        announcer.start()
    except LoginFileError as error:  # a lamp that stays dark must not keep the pages from an answer
        log.error("announce: %s; then start watch again: until then nothing is told to the broker", error)
        return None
    return announcer


def watch_id(settings: Settings) -> str:
    """How the broker knows watch. No source is called so, and no device guesses it: this machine's id is in it."""
    from collector.sources.mqtt import client_id, machine_id

    return client_id(settings.site, "\0watch", machine_id())


def serve(arguments: argparse.Namespace) -> int:
    from collector.reading import ProbeFacts
    from collector.store.reads import open_store
    from dashboard.app import create_app
    from dashboard.cards import CardShelf
    from dashboard.cli.doors import base_of, is_loopback, names, open_door, tell_code
    from dashboard.cli.forwarding import not_sent_on
    from dashboard.cli.house import decisions, forecast_of
    from dashboard.cli.read_from import readings_of
    from dashboard.cli.told_settings import told_settings
    from dashboard.door.wire import config_for
    from dashboard.entry_times import EntryTimes
    from dashboard.logbook import Logbook
    from dashboard.serving import Server
    from dashboard.watch_store import WatchReader

    settings = settings_of(arguments)
    stop = stop_of(arguments)
    shelf = CardShelf(settings.folder / "cards")
    clock = clock_of(arguments, settings)
    deciding, readings = decisions(settings, clock), readings_of(settings, clock)
    times = EntryTimes(settings.readings_db)
    door = open_door(settings, clock)
    logbook = Logbook(settings.shop_db, shelf.names, times, deciding.beside).open()

    def probes() -> list[ProbeFacts]:
        with closing(open_store(readings)) as reader:
            return reader.probes()

    app = create_app(
        watched=WatchReader(settings.watch_db, logbook),
        logbook=logbook,
        readings=readings,
        data=settings.data_folder,
        probes=probes,
        cards=shelf.names,
        card_facts=shelf.facts,
        card=shelf.get,
        card_text=shelf.text,
        decisions=deciding,
        clock=clock,
        site=settings.site,
        time_zone=settings.time_zone,
        invented=arguments.demo_clock is not None,
        port=settings.serve.port,
        told=tuple(to.name for to in settings.notices.to) if settings.notices else (),
        notices=settings.notices_db if settings.notices else None,
        leave_minute=settings.shop.leave_minute,
        forecast=forecast_of(settings),
        public_url=settings.serve.public_url,
        door=door,
        allowed_hosts=names(settings),
        numbers=not is_loopback(settings.serve.host),
        settings=told_settings(arguments.settings, settings),
        not_sent_on=partial(not_sent_on, settings),
    )
    server = Server(app, config_for(app, settings.serve.host, settings.serve.port))
    must_be_free(settings.serve.host, settings.serve.port, "set another under [serve]")
    log.info("pages on %s", base_of(settings))
    if arguments.demo_clock is None:
        tell_code(door, settings)
    try:
        return _serve_until(server, stop, Heartbeat.of_environment())
    finally:
        logbook.close()
        door.close()


def forward(arguments: argparse.Namespace) -> int:
    from collector.forward.forwarder import Forwarder
    from collector.store.reader import Reader
    from dashboard.cli.forwarding import ShopCorrections
    from dashboard.cli.house import read_logbook

    settings = settings_of(arguments)
    server = settings.forward
    if server is None:
        raise CommandError(
            f"{arguments.settings}: no [forward] table: say there which server takes the readings"
        )
    stop, heartbeat = stop_of(arguments), Heartbeat.of_environment()

    def each_turn() -> bool:
        heartbeat.turned()
        return stop()

    Forwarder(
        lambda: Reader.open(settings.readings_db),
        server.with_files_in(settings.folder),
        settings.site,
        settings.forward_db,
        clock_of(arguments, settings),
        corrections=ShopCorrections(read_logbook(settings)),
    ).run(each_turn)
    heartbeat.stopping()
    return 0


def listen(arguments: argparse.Namespace) -> int:
    from collector.listen import listen, print_ports
    from collector.recording import Recorder

    if arguments.ports:
        return print_ports()
    settings, stop = settings_file.load(arguments.settings), Stop().on_signals()
    clock = clock_of(arguments, settings)
    if arguments.record is None:
        return listen(settings, clock, stop)
    try:
        recorder = Recorder(arguments.record)
    except OSError as error:
        raise CommandError(
            f"{arguments.record}: cannot be made ({error.strerror}): name a new file in a folder that is there"
        ) from error
    try:
        with recorder:
            return listen(settings, clock, stop, recorder)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise CommandError(
            f"{arguments.record}: cannot be written on ({error.strerror}): make room, then record into a new file; "
            "cut off this one's last line and the rest can be replayed"
        ) from error


def settings_of(arguments: argparse.Namespace) -> Settings:
    """For a process that is to run on: with a supervisor, that of systemd or ours, also from the last good copy."""
    return load_to_run(
        arguments.settings,
        by_supervisor="NOTIFY_SOCKET" in os.environ,
        keep=arguments.command in ("run", "collect"),
    )


def clock_of(arguments: argparse.Namespace, settings: Settings) -> Clock:
    """The collector's clock, or the demo's if the command line brings one."""
    if arguments.demo_clock:
        return DemoClock.parse(arguments.demo_clock)
    return HouseClock(settings.readings_db, this_machine())


def stop_of(arguments: argparse.Namespace) -> Stop:
    """Set by SIGTERM, SIGINT, and under a supervisor also when that ends."""
    stop = Stop().on_signals()
    return stop.when_supervisor_ends() if arguments.supervised else stop


def must_be_free(host: str, port: int, do: str) -> None:
    """Raises CommandError if something listens there already; `do` says what else can be done."""
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise CommandError(
                f"port {port} on {host} is taken ({error.strerror}): end what uses it, or {do}"
            ) from error


def _serve_until(server: uvicorn.Server, stop: Stop, heartbeat: Heartbeat) -> int:
    """uvicorn takes the signals over while it runs; `stop` ends it when the supervisor goes away."""
    from dashboard.cli.doors import reached_at  # here: collect and watch need none of what comes with it

    def ends() -> bool:
        return stop() or server.should_exit

    def end_when_told() -> None:
        while not ends():
            rest(KNOCK_S, ends)
        heartbeat.stopping()
        server.should_exit = True

    def knock() -> None:
        while not (server.started or ends()):
            rest(STARTING_S, ends)
        while not ends():
            if _answers(reached_at(server.config.host), server.config.port):
                heartbeat.turned()
            rest(KNOCK_S, ends)

    for work in (end_when_told, knock):
        threading.Thread(target=work, name=work.__name__, daemon=True).start()
    server.run()
    return 0


def _answers(host: str, port: int) -> bool:
    """A page really comes: a loop that turns while every worker hangs would answer nobody."""
    import http.client

    connection = http.client.HTTPConnection(host, port, timeout=KNOCK_TIMEOUT_S)
    try:
        connection.request("GET", "/api/health")
        connection.getresponse().read()
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()
    return True
