"""The guide in a terminal: one list of what is known, one question what next. Nothing said is ever lost."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from collector.first_run.facts import CannotSetUp, Device, Value, Way, in_hand
from collector.first_run.session import SetUp
from dashboard.cli.terminal import Terminal
from dashboard.first_run_view import (
    PLACES,
    apart_text,
    choices,
    id_for,
    place_for,
    values_text,
    way_state,
    whose,
)
from dashboard.words import LABELS

FIRST_S = 6.0
"""A way that was just chosen is given this long to connect and say something."""
STILL_S = 1.0
"""Devices of one port follow one another: when no new one has come for so long, the list is shown."""
LOOK_S = 0.25
SAID_S = 2.0
"""A device's line is shown at most so often: a terminal over SSH scrolls."""
HELP = """\
  a  add what sends readings    l  watch the numbers move: which probe is which
  n  name and time zone         f  forget something that is listened to
  w  write the file             q  leave; every answer is kept"""


class Guide:
    """run() is True once the file is written, False if the person left it for later."""

    def __init__(self, session: SetUp, terminal: Terminal) -> None:
        self._session, self._terminal = session, terminal
        self._ask, self._tell = terminal.ask, terminal.tell

    def run(self) -> bool:
        self._tell(LABELS["su_resumed" if self._session.resumed else "su_intro"])
        self._tell("Enter takes what stands in [ ]. Ctrl-C leaves; nothing said is lost.\n")
        if "name" in self._session.missing():
            self._name()
        if "way" in self._session.missing():
            self._add()
        else:
            self._settle()
        while True:
            devices = self._show()
            said = self._ask(
                "What next: a number to name that probe, or a letter?", self._next(devices)
            ).lower()
            if said == "q":
                return False
            if said == "w" and self._write():
                return True
            self._do(said, devices)

    def _do(self, said: str, devices: list[Device]) -> None:
        does: dict[str, Callable[[], None]] = {
            "a": self._add, "l": self._watch, "n": self._name, "f": self._forget, "w": lambda: None
        }  # fmt: skip
        try:
            if said in does:
                does[said]()
            elif said.isdigit() and 1 <= int(said) <= len(devices):
                self._assign(devices[int(said) - 1])
            else:
                numbers = f"1 to {len(devices)}, " if devices else ""
                self._tell(f"  allowed: {numbers}a, l, n, f, w, q")
        except CannotSetUp as error:
            self._tell(f"  {error}")

    def _show(self) -> list[Device]:
        """All that is known, and the devices in the order of their numbers."""
        draft, devices = self._session.draft, self._session.devices()
        self._tell(f"\n{LABELS['su_step_shop']}: {draft.site}, {draft.time_zone}")
        for way in self._session.ways():
            self._tell(f"{LABELS['su_listening']} {way.id} ({way.text}): {way_state(way)}")
        for n, device in enumerate(devices, start=1):
            told = whose(device) or "not named yet"
            self._tell(f"  {n}  {device.name}, {device.way}: {values_text(device)}  -> {told}")
        heard = {device.key for device in devices}
        for spot in draft.spots:
            if f"{spot.source} {spot.names[0]}" not in heard:
                self._tell(
                    f"  -  {spot.id}: {PLACES[spot.place].lower()}, {spot.zone} ({LABELS['su_not_heard_now']})"
                )
        if not devices:
            self._tell("  nothing heard yet")
        if question := apart_text(devices):
            self._tell(f"  {question}")
        self._tell(HELP)
        return devices

    def _next(self, devices: list[Device]) -> str:
        if not self._session.draft.ways:
            return "a"
        open_ones = [
            n for n, device in enumerate(devices, 1) if device.probe is None and not device.passed_over
        ]
        if open_ones:
            return str(open_ones[0])
        return "w" if not self._session.missing() else "l"

    # Name, and what sends

    def _name(self) -> None:
        site = self._terminal.until(LABELS["su_site"], self._session.draft.site or "shed", self._site)
        self._terminal.until(
            LABELS["su_time_zone"], self._session.time_zone(), lambda zone: self._zone(site, zone)
        )

    def _site(self, said: str) -> str:
        self._session.name(said, self._session.time_zone())
        return said

    def _zone(self, site: str, said: str) -> None:
        self._session.name(site, said)

    def _add(self) -> None:
        ports = self._session.ports()
        ways: list[tuple[str, Callable[[], str | None]]] = []
        for port in ports:
            what = f" ({port.device}{', ' if port.what else ''}{port.what})"
            trouble = f": {port.trouble}" if port.trouble else ""
            ways.append((f"{port.path}{what}{trouble}", partial(self._session.listen_serial, port.path)))
        if self._session.one_wire():
            ways.append((LABELS["su_one_wire"], self._session.listen_one_wire))
        ways += [
            (LABELS["su_broker"], self._broker), (LABELS["su_folder"], self._folder),
            (LABELS["su_other_port"], self._other_port), ("nothing more: go back", lambda: None),
        ]  # fmt: skip
        if not ports:
            self._tell(LABELS["su_no_ports"])
        self._tell(LABELS["su_by_hand"])
        usable = [n for n, port in enumerate(ports, 1) if not port.trouble]
        none_left = bool(self._session.draft.ways) or not ports
        chosen = self._terminal.choose(
            "What sends readings?",
            [text for text, _ in ways],
            usable[0] if usable else len(ways) if none_left else 1,
        )
        way = ways[chosen - 1][1]()
        if way is not None:
            self._hear(way)

    def _other_port(self) -> str:
        path = self._ask(LABELS["su_port_path"], "/dev/ttyUSB0")
        return self._session.listen_serial(path)

    def _broker(self) -> str:
        host = self._ask(LABELS["su_host"], "127.0.0.1")
        ca_file = self._ask(LABELS["su_ca"])
        port = self._terminal.until(LABELS["su_broker_port"], "8883" if ca_file else "1883", _port)
        user = self._ask(LABELS["su_user"])
        password = self._terminal.secret(LABELS["su_password"]) if user else ""
        topic = self._ask(LABELS["su_topic"], "#")
        return self._session.listen_broker(host, port, user, password, ca_file, topic)

    def _folder(self) -> str:
        return self._session.look_into(self._ask(LABELS["su_folder_path"], "inbox"))

    def _hear(self, id: str) -> None:
        """Waits for the first sign of it; what failed is forgotten again, if a person wants that."""
        self._settle()
        way = self._way(id)
        self._tell(f"  {way.id}: {way_state(way)}")
        if way.state.startswith("failed") and self._terminal.yes("Forget it, and choose anew?"):
            self._session.forget(id)
            self._add()

    def _settle(self) -> None:
        """Waits until each way has said something or failed and no new device comes, for a while or until Enter."""
        self._tell("  Listening; Enter goes on at once…")
        waited, since, known = 0.0, 0.0, 0
        while waited < FIRST_S:
            silent = any(_may_speak(way) for way in self._session.ways())
            devices = len(self._session.devices())
            since, known = (0.0, devices) if devices != known else (since + LOOK_S, known)
            if (not silent and (since >= STILL_S or not known)) or self._terminal.pressed(LOOK_S):
                return
            waited += LOOK_S

    def _way(self, id: str) -> Way:
        return next(way for way in self._session.ways() if way.id == id)

    def _forget(self) -> None:
        ways = self._session.ways()
        texts = [f"{way.id} ({way.text}), and the probes heard there" for way in ways]
        chosen = self._terminal.choose("Which?", [*texts, "none: go back"], len(ways) + 1)
        if chosen <= len(ways):
            self._session.forget(ways[chosen - 1].id)

    # Which is which

    def _watch(self) -> None:
        """Each device as it sends, until Enter."""
        self._tell(f"{LABELS['su_find']} Enter goes back.")
        shown: dict[str, int] = {}
        rising: str | None = None
        while True:
            devices = self._session.devices()
            for device in devices:
                if device.at - shown.get(device.key, 0) >= SAID_S * 1000:
                    shown[device.key] = device.at
                    self._tell(f"  {device.name}: {values_text(device)}")
            for way in self._session.ways():
                if not way.heard and shown.get(way.id) != hash(way_state(way)):
                    shown[way.id] = hash(way_state(way))
                    self._tell(f"  {way.id}: {way_state(way)}")
            found = in_hand(devices)
            if found is not None and found != rising:
                self._tell("* " + LABELS["su_rises"].format(name=self._session.device(found).name))
            rising = found
            if self._terminal.pressed(LOOK_S):
                return

    def _assign(self, device: Device) -> None:
        self._tell(f"\n{LABELS['su_sends'].format(name=device.name)}: {values_text(device)}")
        answers = [LABELS["su_name_it"], LABELS["su_not_mine"], "go back"]
        chosen = self._terminal.choose("Is it a probe of yours?", answers)
        if chosen == 2:
            self._session.pass_over(device)
        if chosen != 1:
            return
        for value in device.values:
            if value.key and not value.left_out:
                self._mean(device, value)
        left = [value for value in device.values if value.left_out]
        if left and self._terminal.yes(
            f"Is one of {', '.join(value.key for value in left)} a reading too?", False
        ):
            for value in left:
                self._mean(device, value)
        device = self._session.device(device.key)
        self._tell(f"  {values_text(device)}")
        if question := apart_text(
            [one for one in self._session.devices() if one.probe or one.key == device.key]
        ):
            self._tell(f"  {question}\n  {LABELS['su_apart_fine']}")
            if not self._terminal.yes("Is it right so?"):
                return self._assign(device)
        self._spot(device)

    def _mean(self, device: Device, value: Value) -> None:
        """What a number is; the default is what was said before, else the most plausible."""
        offered = choices(value)
        before = self._session.said_before(device, value.key) or offered[0].id
        said = f"{value.quantity.value} {value.unit}" if value.quantity else before
        default = next(n for n, choice in enumerate(offered, 1) if choice.id == said)
        question = LABELS["su_what_is"].format(key=value.key, sent=f"{value.sent:g}")
        chosen = offered[self._terminal.choose(question, [one.text for one in offered], default) - 1].id
        if not chosen:
            return self._session.leave_out(device, value.key)
        quantity, unit = chosen.split(" ")
        self._session.mean(device, value.key, quantity, unit)

    def _spot(self, device: Device) -> None:
        draft = self._session.draft
        taken = [spot.id for spot in draft.spots]
        if device.decode == "logger_csv":
            self._tell(f"  {LABELS['su_logger_note']}")
        while True:
            id = self._ask(LABELS["su_probe_id"], device.probe[0] if device.probe else id_for(device, taken))
            zone = self._ask(
                LABELS["su_zone"], device.probe[1] if device.probe else _newest_zone(self._session)
            )
            names = list(PLACES)
            before = device.probe[2] if device.probe else place_for(device)
            place = names[
                self._terminal.choose(LABELS["su_place"], list(PLACES.values()), names.index(before) + 1) - 1
            ]
            every = self._terminal.until(LABELS["su_every"], f"{self._session.interval(device):g}", _seconds)
            try:
                return self._session.assign(device, id, zone, place, every)
            except CannotSetUp as error:
                self._tell(f"  {error}")

    # The end

    def _write(self) -> bool:
        missing = self._session.missing()
        if missing:
            self._tell(f"  {LABELS[f'su_missing_{missing[0]}']}")
            return False
        self._tell("")
        for spot in self._session.draft.spots:
            self._tell(f"  {spot.id}: {PLACES[spot.place].lower()}, {spot.zone}, every {spot.interval_s:g} s")
        if not self._terminal.yes(f"Write {self._session.settings}?"):
            return False
        try:
            self._session.write()
        except CannotSetUp as error:
            self._tell(f"  {error}")
            return False
        return True


def _may_speak(way: Way) -> bool:
    """True while it is worth waiting for its first word."""
    return not way.heard and not way.state.startswith("failed") and way.kind != "folder"


def _newest_zone(session: SetUp) -> str:
    return session.draft.spots[-1].zone if session.draft.spots else "shed"


def _port(said: str) -> int:
    if said.isdigit() and 1 <= int(said) <= 65535:
        return int(said)
    raise ValueError("allowed: 1 to 65535; most brokers listen at 1883, with TLS at 8883")


def _seconds(said: str) -> float:
    try:
        seconds = float(said)
    except ValueError:
        seconds = 0.0
    if 0 < seconds <= 3600:
        return seconds
    raise ValueError("allowed: seconds, more than 0 and at most 3600")
