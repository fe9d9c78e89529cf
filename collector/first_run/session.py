"""One set-up, from nothing to a written file: what a terminal and a browser do alike. Each answer is kept at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from collector.clock import Clock
from collector.decode.numbers import to_si
from collector.durable import create_whole
from collector.first_run.checked import made, named
from collector.first_run.draft import (
    PRIVATE,
    AnyWay,
    BrokerWay,
    Draft,
    FolderWay,
    LeftOut,
    Meaning,
    OneWireWay,
    SerialWay,
    Spot,
    draft_path,
    drop_draft,
    keep_draft,
    read_draft,
)
from collector.first_run.ears import Ears, Heard
from collector.first_run.facts import CannotSetUp, Device, Named, Port, Told, Value, Way
from collector.first_run.loggers import layout_of
from collector.first_run.places import ONE_WIRE, found_ports, has_one_wire, time_zone_here
from collector.first_run.sniff import Number, looks_named, may_be
from collector.first_run.text import settings_text
from collector.reading import Quantity
from collector.settings import EXAMPLE, SettingsError, parse
from collector.source_tables import UNITS_OF, TimeField

PORT = 8137
NEAT_S = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)
"""Intervals that probes are set to; a measured one is rounded up to one of these."""


class SetUp:
    """Not for several threads at once, but for what the ears do by themselves."""

    def __init__(
        self,
        settings: Path,
        clock: Clock,
        plugged: Callable[..., list[Port]] = found_ports,
        port: int = PORT,
        one_wire: Path = ONE_WIRE,
    ) -> None:
        """Goes on where the draft was left. Raises CannotSetUp if there is a settings file, or a draft is damaged."""
        self.settings, self.port = settings, port
        self._plugged, self._one_wire = plugged, one_wire
        if settings.exists():
            raise CannotSetUp(
                f"{settings} is there already, and is never written over: edit it, or move it away and begin anew"
            )
        self._draft_path = draft_path(settings)
        self.draft = read_draft(self._draft_path)
        self.resumed = self.draft != Draft()
        self._ears = Ears(clock, settings.parent)
        for way in self.draft.ways:
            self._open(way)

    # What there is

    def ports(self) -> list[Port]:
        """Serial ports; those of ours are open, and in nobody's way."""
        ours = [way.port for way in self.draft.ways if isinstance(way, SerialWay)]
        return [port for port in self._plugged(ours=ours) if port.path not in ours]

    def one_wire(self) -> bool:
        """True if there are one-wire sensors that are not listened to yet."""
        return has_one_wire(self._one_wire) and not any(
            isinstance(way, OneWireWay) for way in self.draft.ways
        )

    def time_zone(self) -> str:
        """As told, or as this machine has it."""
        return self.draft.time_zone or time_zone_here() or "UTC"

    def ways(self) -> list[Way]:
        """What is listened to. Where a port's bytes are no text, the next speed is tried."""
        for way in self._ears.turn():
            self._keep(ways=tuple(way if one.id == way.id else one for one in self.draft.ways))
        return self._ears.ways()

    def devices(self) -> list[Device]:
        """All that was heard, and what was said of it so far."""
        return [self._device(heard) for heard in self._ears.heard()]

    def device(self, key: str) -> Device:
        """The one of that key. Raises CannotSetUp if it was not heard since we began to listen."""
        found = next((device for device in self.devices() if device.key == key), None)
        if found is None:
            raise CannotSetUp(f"{key!r} has not been heard: wait until it sends again")
        return found

    def told(self) -> Told:
        """What a person has said so far."""
        probes = (Named(s.id, s.zone, s.place, s.interval_s, _key(s)) for s in self.draft.spots)
        return Told(self.draft.site, self.time_zone(), tuple(probes))

    def said_before(self, device: Device, key: str) -> str:
        """What the same key of another device that comes this way was said to be, as "quantity unit", else ""."""
        found = [m for m in self.draft.meanings if (m.way, m.key) == (device.way, key)]
        return f"{found[-1].quantity.value} {found[-1].unit}" if found else ""

    # What a person says

    def name(self, site: str, time_zone: str) -> None:
        """Names the shop and its time zone."""
        told = named(site.strip(), time_zone.strip())
        self._keep(site=told.site, time_zone=told.time_zone)

    def listen_serial(self, port: str, baud: int = 115200) -> str:
        """Listens to a port; returns the way's id."""
        if any(isinstance(way, SerialWay) and way.port == port for way in self.draft.ways):
            raise CannotSetUp(f"{port} is listened to already")
        return self._add(SerialWay, "usb", port=port.strip(), baud=baud)

    def listen_broker(
        self, host: str, port: int, user: str = "", password: str = "", ca_file: str = "", topic: str = "#"
    ) -> str:
        """Listens to a broker; a password is kept in a file of its own. Returns the way's id."""
        topics = tuple(one.strip() for one in topic.split(",") if one.strip()) or ("#",)
        id = self._free_id("broker")
        if password and not user.strip():
            raise CannotSetUp("a password without a user: name the user whose password it is")
        way = made(
            BrokerWay,
            id=id,
            host=host.strip(),
            port=port,
            user=user.strip() or None,
            topic=topics,
            ca_file=ca_file.strip() or None,
        )
        if password:
            way = way.model_copy(update={"password_file": self._keep_password(id, password)})
        self._start(way)
        return id

    def listen_one_wire(self) -> str:
        """Listens to the one-wire sensors of this machine."""
        return self._add(OneWireWay, "one-wire", folder=str(self._one_wire))

    def look_into(self, folder: str) -> str:
        """Looks at a logger's newest file in a folder. Returns the way's id."""
        layout = layout_of(self.settings.parent / folder.strip(), self.time_zone())
        return self._add(
            FolderWay, "logger", folder=folder.strip(), time=layout.time, delimiter=layout.delimiter,
            decimal=layout.decimal,
        )  # fmt: skip

    def forget(self, way: str) -> None:
        """Listens to it no more, and forgets the probes that were heard there."""
        self._ears.close(way)
        gone = next((one for one in self.draft.ways if one.id == way), None)
        if isinstance(gone, BrokerWay) and gone.password_file is not None:
            (self.settings.parent / gone.password_file).unlink(missing_ok=True)  # ours: made in this set-up
        self._keep(
            ways=tuple(one for one in self.draft.ways if one.id != way),
            spots=tuple(one for one in self.draft.spots if one.source != way),
            meanings=tuple(one for one in self.draft.meanings if one.way != way),
            left_out=tuple(one for one in self.draft.left_out if one.way != way),
            passed_over=tuple(one for one in self.draft.passed_over if one.partition(" ")[0] != way),
        )

    def mean(self, device: Device, key: str, quantity: str, unit: str) -> None:
        """Says what a number is; on a port it holds for all that speak there."""
        known = [(q.value, u) for q, units in UNITS_OF.items() for u in units]
        if (quantity, unit) not in known:
            allowed = ", ".join(f"{q} in {u}" for q, u in known)
            raise CannotSetUp(f"{quantity!r} in {unit!r} is not taken; allowed: {allowed}")
        meaning = made(
            Meaning, way=device.way, scope=device.scope, key=key, quantity=Quantity(quantity), unit=unit
        )
        self._say_anew(device, key, meanings=(meaning,))

    def leave_out(self, device: Device, key: str) -> None:
        """Says that a number is no reading."""
        self._say_anew(device, key, left_out=(LeftOut(way=device.way, scope=device.scope, key=key),))

    def assign(self, device: Device, id: str, zone: str, place: str, interval_s: float) -> None:
        """Makes a probe of a device. Raises CannotSetUp while a number of it is unsaid, or if the id is taken."""
        if unsaid := [value.key for value in device.unsaid]:
            raise CannotSetUp(f"say first what {', '.join(unsaid)} is, or leave it out")
        if not any(value.quantity for value in device.values):
            raise CannotSetUp(
                f"nothing that {device.name} sends is a reading: say what one of its numbers is"
            )
        if several := self._several(device):
            raise CannotSetUp(
                f"{device.name} carries several devices ({', '.join(several)}), which would become one probe: let each "
                'send on a topic of its own, or write the source by hand with name = "/..." in its [source.decode]'
            )
        others = [spot for spot in self.draft.spots if _key(spot) != device.key]
        spot = made(
            Spot,
            id=id.strip(),
            source=device.way,
            zone=zone.strip(),
            place=place,
            interval_s=interval_s,
            scope=device.scope,
            decode=device.decode,
            names=device.names,
            time=self._own_time(device),
        )
        self._fits(spot, others)
        self._keep(
            spots=(*others, spot), passed_over=tuple(k for k in self.draft.passed_over if k != device.key)
        )

    def pass_over(self, device: Device) -> None:
        """Says that it is no probe of this shop."""
        spots = tuple(spot for spot in self.draft.spots if _key(spot) != device.key)
        passed = tuple(dict.fromkeys((*self.draft.passed_over, device.key)))
        self._keep(spots=spots, passed_over=passed)

    def interval(self, device: Device) -> float:
        """How often it sends, rounded up to what such things are set to; a minute where nobody knows."""
        measured = device.every_s or 60.0
        return next((float(neat) for neat in NEAT_S if measured <= 1.15 * neat), 3600.0)

    # The end

    def missing(self) -> list[Literal["name", "way", "probe"]]:
        """What is still to be said before the file can be written."""
        needs: list[tuple[Literal["name", "way", "probe"], object]] = [
            ("name", self.draft.site), ("way", self.draft.ways), ("probe", self.draft.spots)
        ]  # fmt: skip
        return [what for what, told in needs if not told]

    def text(self) -> str:
        """The file as it would be written. Raises CannotSetUp if something is missing."""
        if self.missing():
            raise CannotSetUp(f"still to be said: {', '.join(self.missing())}")
        return settings_text(self.draft, self.port, str(EXAMPLE))

    def write(self) -> Path:
        """Writes coldshed.toml, whole or not at all, and forgets the draft. Raises CannotSetUp or OSError."""
        text = self.text()
        try:
            parse(text, self.settings)
        except SettingsError as error:
            raise CannotSetUp(str(error)) from error
        self.close()
        try:
            create_whole(self.settings, text, PRIVATE)
        except FileExistsError as error:
            raise CannotSetUp(
                f"{self.settings} has been made meanwhile, and is not written over: move it away, then write again"
            ) from error
        drop_draft(self._draft_path)
        return self.settings

    def close(self) -> None:
        """Ends listening: ports and brokers are free again."""
        self._ears.close_all()

    # Within

    def _device(self, heard: Heard) -> Device:
        sniffed = heard.sniffed
        values = tuple(self._value(heard, number) for number in sniffed.numbers)
        if any(value.quantity or looks_named(value.key) for value in values):
            values = tuple(
                value if value.quantity or looks_named(value.key) else replace(value, left_out=True)
                for value in values
            )
        device = Device(
            heard.way, sniffed.names, sniffed.scope, sniffed.decode, values, heard.every_s, heard.at
        )
        spot = next((one for one in self.draft.spots if _key(one) == device.key), None)
        return replace(
            device,
            probe=(spot.id, spot.zone, spot.place) if spot else None,
            passed_over=device.key in self.draft.passed_over,
        )

    def _value(self, heard: Heard, number: Number) -> Value:
        scope = (heard.way, heard.sniffed.scope, number.key)
        sent, rise = heard.newest(number)
        if number.quantity is not None:
            unit = UNITS_OF[number.quantity][0]
            return Value("", sent, number.quantity, unit, sent, number.quantity, rise)
        likely = may_be(number.key, sent)[0].quantity
        left = any((one.way, one.scope, one.key) == scope for one in self.draft.left_out)
        said = next((m for m in self.draft.meanings if (m.way, m.scope, m.key) == scope), None)
        if said is None:
            return Value(number.key, sent, None, "", None, likely, rise, left)
        return Value(number.key, sent, said.quantity, said.unit, to_si(sent, said.unit), likely, rise)

    def _own_time(self, device: Device) -> TimeField | None:
        """Where its messages carry their time, if all of them did."""
        heard = self._heard(device)
        return heard.sniffed.time if heard.own_time else None

    def _several(self, device: Device) -> list[str]:
        """Names in the payloads of one topic, if there is more than one."""
        inner = self._heard(device).inner
        return sorted(name or "without a name" for name in inner) if len(inner) > 1 else []

    def _heard(self, device: Device) -> Heard:
        found = (heard for heard in self._ears.heard() if heard.way == device.way)
        return next(heard for heard in found if heard.sniffed.names == device.names)

    def _fits(self, spot: Spot, others: Sequence[Spot]) -> None:
        for other in others:
            same = other.source == spot.source
            both = (
                other.decode == spot.decode == "logger_csv" and same and not self._measure_alike(other, spot)
            )
            if other.id == spot.id and not both:
                raise CannotSetUp(f"another probe is called {spot.id!r}: each needs its own id")
            if same and {other.decode, spot.decode} == {"text_line", "nmea_xdr"}:
                raise CannotSetUp(
                    f"{other.id} speaks another form on the same port: one port is read in one form, "
                    "so give one of them a port of its own"
                )

    def _measure_alike(self, one: Spot, other: Spot) -> bool:
        """Whether two columns of a logger are the same quantity."""
        quantities = [
            {m.quantity for m in self.draft.meanings if m.way == spot.source and m.key in spot.names}
            for spot in (one, other)
        ]
        return bool(quantities[0] & quantities[1])

    def _say_anew(
        self, device: Device, key: str, meanings: tuple[Meaning, ...] = (), left_out: tuple[LeftOut, ...] = ()
    ) -> None:
        """Replaces whatever was said of a key."""
        place = (device.way, device.scope, key)
        self._keep(
            meanings=(*(m for m in self.draft.meanings if (m.way, m.scope, m.key) != place), *meanings),
            left_out=(*(m for m in self.draft.left_out if (m.way, m.scope, m.key) != place), *left_out),
        )

    def _add(self, table: type[SerialWay | OneWireWay | FolderWay], word: str, **values: Any) -> str:
        id = self._free_id(word)
        self._start(made(table, id=id, **values))
        return id

    def _start(self, way: AnyWay) -> None:
        self._keep(ways=(*self.draft.ways, way))
        self._open(way)

    def _open(self, way: AnyWay) -> None:
        self._ears.open(way)
        if isinstance(way, FolderWay):
            try:
                layout = layout_of(self.settings.parent / way.folder, self.time_zone())
            except CannotSetUp as error:  # what was said of it is kept; its state says what to do
                self._ears.fail(way.id, str(error))
                return
            for sniffed in layout.devices():
                self._ears.tell(way.id, sniffed)

    def _free_id(self, word: str) -> str:
        taken = {way.id for way in self.draft.ways}
        return next(id for id in (word, *(f"{word}-{n}" for n in range(2, 100))) if id not in taken)

    def _keep_password(self, id: str, password: str) -> str:
        """The name of a new file that only its owner reads."""
        names = (f"{id}-password", *(f"{id}-password-{n}" for n in range(2, 100)))
        name = next(name for name in names if not (self.settings.parent / name).exists())
        create_whole(self.settings.parent / name, password + "\n", PRIVATE)
        return name

    def _keep(self, **changed: Any) -> None:
        draft = self.draft.model_copy(update=changed)
        keep_draft(self._draft_path, draft)
        self.draft = draft


def _key(spot: Spot) -> str:
    return f"{spot.source} {spot.names[0]}"
