"""`coldshed probe`: what the probes' pages do, from a command line; a check goes step by step."""

from __future__ import annotations

import argparse
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from collector import settings as settings_file
from collector.clock import Clock
from collector.reading import ProbeFacts, Quantity
from collector.settings import Settings
from collector.store.schema import NotYet
from dashboard import field_check, probe_view
from dashboard.cli.errors import CommandError
from dashboard.cli.house import house_clock, read_logbook
from dashboard.cli.log_entry import log_entry
from dashboard.cli.read_from import probes_of, readings_of
from dashboard.cli.times import utc_ms
from dashboard.correction import UNIT, Correction, CorrectionError
from dashboard.devices import ProbeLog, probe_logs
from dashboard.display import View
from dashboard.entry import check_event, correction_event, device_event
from dashboard.field_check import Comparison, Progress, Series
from dashboard.panel import Event
from dashboard.probes import series
from dashboard.words import LABELS

LOOK_S = 2.0


def probe(arguments: argparse.Namespace) -> int:
    """Lists, or does one thing to one probe. Returns 0, or 1 for a check that nobody wanted logged."""
    settings = settings_file.load(arguments.settings)
    if arguments.what == "list":
        for item in probes_of(settings):
            print("\n".join(_told(settings, item)))
        return 0
    probes = probes_of(settings)
    found = next((item for item in probes if item.id == arguments.name), None)
    if found is None:
        names = ", ".join(item.id for item in probes) or "none"
        raise CommandError(f"no probe is called {arguments.name!r}; there are: {names}")
    if arguments.what == "show":
        print("\n".join(_told(settings, found, history=True)))
        return 0
    if arguments.what == "check":
        return _guide(arguments, settings, found).run()
    print(log_entry(settings, _event(arguments, settings, found)))
    return 0


def _event(arguments: argparse.Namespace, settings: Settings, found: ProbeFacts) -> Event:
    now, number = house_clock(settings).now(), secrets.token_hex(12)
    at = utc_ms(arguments.at, settings.time_zone, "--at") if arguments.at else now
    due = utc_ms(arguments.due, settings.time_zone, "--due") if arguments.due else None
    if arguments.what == "device":
        if not arguments.serial:
            raise CommandError("probe device needs --serial: the new device's, or a mark of your own on it")
        return device_event(number, at, now, arguments.who, found.id, arguments.serial)
    if arguments.what == "back":
        if not arguments.entry:
            raise CommandError("probe back needs --entry: see 'coldshed probe show NAME'")
        return Event(number, now, now, arguments.who, "withdrawn", None, {"event": arguments.entry})
    if not (arguments.point and arguments.within and arguments.reference):
        raise CommandError("probe correct needs --point READS=TRUE, --within and --reference")
    quantity = Quantity(arguments.quantity)
    margin = arguments.margin if arguments.margin is not None else field_check.MARGIN[quantity]
    body = {"quantity": quantity, "points": [_pair(text) for text in arguments.point], "margin": margin}
    try:
        made = Correction.of(number, at, body | {"half_width": arguments.within})
    except CorrectionError as error:
        raise CommandError(str(error)) from error
    serial = arguments.serial or _log(settings, found.id).device(now).serial
    return correction_event(now, arguments.who, found.id, serial, made, arguments.reference, due)


def _pair(text: str) -> tuple[float, float]:
    reads, _, true = text.partition("=")
    try:
        return float(reads), float(true)
    except ValueError as error:
        raise CommandError(
            f"--point {text!r}: write what it reads and what is true, such as 0.4=0.0"
        ) from error


def _events(settings: Settings) -> list[Event]:
    try:
        return read_logbook(settings).events()
    except NotYet:
        return []


def _log(settings: Settings, name: str) -> ProbeLog:
    return probe_logs(_events(settings), [name])[name]


def _view(settings: Settings, now: int) -> View:
    try:
        unit = read_logbook(settings).preference("unit") or "degC"
    except NotYet:
        unit = "degC"
    return View(ZoneInfo(settings.time_zone), unit, now)


def _told(settings: Settings, found: ProbeFacts, *, history: bool = False) -> list[str]:
    """The probe's page as lines."""
    log, view = _log(settings, found.id), _view(settings, house_clock(settings).now())
    lines = [f"{found.id}: {probe_view.device(log, view)}"]
    for quantity in UNIT:
        part = probe_view.quantity_view(found.id, found.accuracy_K, log, quantity, view)
        lines += [
            f"  {part.name}: {text}" for text in (*part.lines, *((part.notice,) if part.notice else ()))
        ]
    if history:
        for line in probe_view.history(found.id, log, _events(settings), view):
            entry = line.entry
            lines.append(f"  {entry.id}  {entry.text} {entry.taken_back} {line.detail}".rstrip())
    return lines


@dataclass
class Guide:
    """A check, step by step. `ask` shows a question and returns the answer, `pause` waits a little."""

    settings: Settings
    probe: ProbeFacts
    against: str
    stage: str
    who: str
    since: int | None
    clock: Clock
    series: Series
    ask: Callable[[str], str]
    tell: Callable[[str], None]
    pause: Callable[[], None]

    def run(self) -> int:
        """Returns 0 once the check is logged, 1 if it was not wanted."""
        view = self._view()
        wait = view.span(field_check.wait_ms(self.against, 20.0), up=True)
        for number, text in enumerate(field_check.steps(self.against), start=1):
            self.tell(f"{number}. {LABELS[text].format(wait=wait)}")
        if self.since is None:
            self.ask(f"{LABELS['in_now']} [Enter] ")
            self.since = self.clock.now()
        found = self._at_rest(self.since)
        if not self._yes(f"{LABELS['log_check']}?"):
            return 1
        quantity = found.quantity
        due = found.at + field_check.DUE_MS[quantity]
        log = _log(self.settings, self.probe.id)
        serial = log.device(found.at).serial
        event = check_event(
            secrets.token_hex(12), self.clock.now(), self.who, self.probe.id, serial, self.stage, found, due
        )
        self.tell(log_entry(self.settings, event))
        if self.stage == "as found":
            self._propose(quantity)
        return 0

    def _at_rest(self, since: int) -> Comparison:
        said = ""
        while True:
            now = self.clock.now()
            here = self._look(since, now)
            view = self._view()
            lines = probe_view.progress_lines(field_check.quantity_of(self.against), here, view)
            text = " ".join([probe_view.headline(here, since, view) + ".", *lines])
            if text != said:
                self.tell(text)
                said = text
            if here.found is not None:
                return here.found
            self.pause()

    def _look(self, since: int, now: int) -> Progress:
        log = _log(self.settings, self.probe.id)
        return field_check.look(
            self.series, self.probe.id, self.probe.interval_s, log, self.against, since, now
        )

    def _propose(self, quantity: Quantity) -> None:
        log, now = _log(self.settings, self.probe.id), self.clock.now()
        device = log.device(now)
        proposed = field_check.proposal(log.checks.get(device.owner, ()), quantity)
        if proposed is None:
            return
        body = {"quantity": quantity, "points": proposed.points, "half_width": proposed.half_width}
        made = Correction.of(secrets.token_hex(12), proposed.since, body | {"margin": proposed.margin})
        unit = UNIT[quantity]
        points = ", ".join(f"{reads:.2f} {unit} is {true:.2f} {unit}" for reads, true in made.points)
        if self._yes(f"{LABELS['propose']}: {points}, within {made.half_width:.2f}?"):
            event = correction_event(
                now, self.who, self.probe.id, device.serial, made, proposed.reference, proposed.due_at
            )
            self.tell(log_entry(self.settings, event))
            self.tell(f"{LABELS['check_left']}: coldshed probe check {self.probe.id} --stage 'as left'")

    def _yes(self, question: str) -> bool:
        return self.ask(f"{question} [y/N] ").strip().lower() in ("y", "yes")

    def _view(self) -> View:
        return _view(self.settings, self.clock.now())


def _guide(arguments: argparse.Namespace, settings: Settings, found: ProbeFacts) -> Guide:
    def ask(question: str) -> str:
        if arguments.yes:
            return "y"
        try:
            return input(question)
        except EOFError:
            return ""

    clock = house_clock(settings)
    return Guide(
        settings=settings,
        probe=found,
        against=arguments.against,
        stage=arguments.stage,
        who=arguments.who,
        since=utc_ms(arguments.since, settings.time_zone, "--since") if arguments.since else None,
        clock=clock,
        series=series(readings_of(settings)),
        ask=ask,
        tell=lambda text: print(text, flush=True),
        pause=lambda: time.sleep(LOOK_S),
    )
