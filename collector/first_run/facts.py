"""What set-up shows a person: ports, ways that readings come by, devices and their numbers. Plain values, no I/O."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from collector.reading import Quantity

NEAR_C = (-25.0, 45.0)
"""A panel or the air of a shop lies between; common practice, no source. Outside it the other unit is asked first."""
FAR_K = 8.0
"""Two probes of one shop that are further apart may be in different units."""
RISE = {Quantity.TEMPERATURE: 1.0, Quantity.RELATIVE_HUMIDITY: 4.0, Quantity.CO2: 300.0}
"""K, % or ppm that a warm hand or a breath adds in a minute, a quiet shop not: common practice, no source."""
CLEARLY = 2.0
"""The one in the hand rises so many times as much as any other."""


class CannotSetUp(ValueError):
    """What was said cannot be used; the text says why and what is allowed."""


@dataclass(frozen=True)
class Port:
    """A serial port. `path` survives replugging where there is such a name; `trouble`: why it cannot be opened."""

    path: str
    device: str
    what: str
    trouble: str = ""


@dataclass(frozen=True)
class Way:
    """One thing that is listened to. `state` as collector.arrival.Source has it; `heard`: arrivals so far."""

    id: str
    kind: str
    text: str
    state: str
    heard: int = 0
    unread: str = ""
    """The last thing that came and could not be read, and why."""


@dataclass(frozen=True)
class Value:
    """One number of a device. `sent` is as the wire has it; `value` SI, None while nobody has said what it is.

    key     where it stands in the payload; "" where the wire itself says what it is
    likely  what its name and size speak for, while nobody has said it
    rise    how far it lies above the least of the last minute, as the wire has it
    """

    key: str
    sent: float
    quantity: Quantity | None
    unit: str
    value: float | None
    likely: Quantity
    rise: float = 0.0
    left_out: bool = False


@dataclass(frozen=True)
class Device:
    """What sends under one name, or under the names of its quantities.

    way, names    the way it comes by, and its names there
    scope         where what was said of its keys holds: a whole port (""), or one topic, or one file
    decode        kind of decode table
    every_s       how often it sends, as measured; None after one arrival
    at            UTC ms of the last arrival
    probe         id, zone and place once a person has assigned it
    """

    way: str
    names: tuple[str, ...]
    scope: str
    decode: str
    values: tuple[Value, ...]
    every_s: float | None
    at: int
    probe: tuple[str, str, str] | None = None
    passed_over: bool = False

    @property
    def key(self) -> str:
        """Names it among all devices."""
        return f"{self.way} {self.names[0]}"

    @property
    def name(self) -> str:
        """What a person calls it: its name, or what its names have in common."""
        if len(self.names) == 1:
            return self.names[0]
        first, last = min(self.names), max(self.names)
        alike = next((n for n, (a, b) in enumerate(zip(first, last, strict=False)) if a != b), len(first))
        return first[:alike].rstrip("/:_.-") or ", ".join(self.names)

    @property
    def unsaid(self) -> tuple[Value, ...]:
        """The numbers of which nobody has said what they are."""
        return tuple(value for value in self.values if value.quantity is None and not value.left_out)


@dataclass(frozen=True)
class Named:
    """A probe that a person has named; `device`: the key of what it was heard as."""

    id: str
    zone: str
    place: str
    interval_s: float
    device: str


@dataclass(frozen=True)
class Told:
    """What was said so far. `site`: None while nobody named the shop."""

    site: str | None
    time_zone: str
    probes: tuple[Named, ...]


@dataclass(frozen=True)
class Reading:
    """A number as one of the units it may be in: `value` in SI."""

    quantity: Quantity
    unit: str
    value: float


def in_hand(devices: Sequence[Device]) -> str | None:
    """The key of the one device that is being warmed or breathed on; None if none is, or more than one."""
    risen = sorted(((_rise(device), device.key) for device in devices), reverse=True)
    if not risen or risen[0][0] < 1.0:
        return None
    return risen[0][1] if len(risen) == 1 or risen[0][0] >= CLEARLY * risen[1][0] else None


def _rise(device: Device) -> float:
    """The largest rise of its readings, in hands: 1 is as much as a hand or a breath adds."""
    risen = (
        value.rise / RISE[value.quantity or value.likely] for value in device.values if not value.left_out
    )
    return max(risen, default=0.0)


def apart(devices: Sequence[Device]) -> tuple[str, str, float] | None:
    """Two devices whose temperatures lie so far apart that one unit may be wrong: warmer, colder, K between them."""
    known = [
        (value.value, device.key)
        for device in devices
        for value in device.values
        if value.quantity is Quantity.TEMPERATURE and value.value is not None and not device.passed_over
    ]
    pairs = [(abs(a[0] - b[0]), max(a, b)[1], min(a, b)[1]) for a, b in combinations(known, 2)]
    widest = max(pairs, default=None)
    return None if widest is None or widest[0] < FAR_K else (widest[1], widest[2], widest[0])
