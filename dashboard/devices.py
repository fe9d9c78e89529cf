"""Which device stood behind a probe when, and which correction was in force: worked out from the logbook.

A probe of the settings is a channel: its id and history stay when the device is replaced. Corrections and
checks belong to a device, by its serial, and go with it to another channel; a device that nobody gave a
serial is known by its channel. Times are UTC ms.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from collector.reading import Quantity
from dashboard.correction import Correction, Stretch
from dashboard.fold import withdrawn
from dashboard.panel import Event
from dashboard.probe_entry import PROBE_KINDS

FIRST = -(2**62)
CORRECTED = (Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY)

Owner = tuple[str, str]
"""(serial, "") of a device with a serial, ("", probe) of one without."""


@dataclass(frozen=True)
class Device:
    """One device behind a channel from `since` on, until the next; serial "" if nobody said.

    event   id of the entry that says so, "" for the device that was there first
    """

    probe: str
    serial: str
    since: int
    event: str

    @property
    def owner(self) -> Owner:
        return (self.serial, "") if self.serial else ("", self.probe)


@dataclass(frozen=True)
class Check:
    """One comparison with a reference, as it was logged.

    stage   "as found" or "as left"
    reads   mean of the raw readings, degC or %; error: what the corrected value was off by then
    """

    event: str
    at: int
    who: str
    quantity: Quantity
    against: str
    stage: str
    reads: float
    true: float
    error: float
    half_width: float
    due_at: int | None


@dataclass(frozen=True)
class Entered:
    """A correction with what is known of its making; `recorded`: UTC ms at which it was entered."""

    correction: Correction
    who: str
    recorded: int
    reference: str
    due_at: int | None


@dataclass(frozen=True)
class PutRight:
    """Somebody saw to a suspicion of the channel: mended it then, or found it right as it was."""

    at: int
    fixed: bool


@dataclass(frozen=True)
class ProbeLog:
    """One channel: its devices, and the corrections and checks of all of them; everything in order of time."""

    probe: str
    devices: tuple[Device, ...]
    entered: Mapping[Owner, tuple[Entered, ...]]
    checks: Mapping[Owner, tuple[Check, ...]]
    put_right: tuple[PutRight, ...] = ()

    @property
    def replaced(self) -> tuple[Device, ...]:
        """The devices that somebody put in."""
        return tuple(device for device in self.devices if device.event)

    def device(self, at: int) -> Device:
        """The device behind the channel at that time."""
        return next(device for device in reversed(self.devices) if device.since <= at)

    def stretches(self, quantity: Quantity) -> tuple[Stretch, ...]:
        """What is in force from when on, for all time."""
        found: list[Stretch] = []
        ends = [device.since for device in self.devices[1:]] + [2**62]
        for device, end in zip(self.devices, ends, strict=True):
            own = [item.correction for item in self.entered.get(device.owner, ())]
            mine = [item for item in own if item.quantity is quantity]
            before = [item for item in mine if item.since <= device.since]
            found.append((device.since, before[-1] if before else None))
            found += [(item.since, item) for item in mine if device.since < item.since < end]
        return tuple(found)

    def in_force(self, quantity: Quantity, at: int) -> Entered | None:
        """The correction of a reading taken at `at`; None if there is none."""
        own = self.entered.get(self.device(at).owner, ())
        mine = [item for item in own if item.correction.quantity is quantity and item.correction.since <= at]
        return mine[-1] if mine else None

    def due(self, quantity: Quantity, at: int) -> int | None:
        """When the device that is there at `at` is next to be checked; None if nobody said."""
        owner = self.device(at).owner
        said = [(item.at, item.due_at) for item in self.checks.get(owner, ()) if item.quantity is quantity]
        said += [
            (item.correction.since, item.due_at)
            for item in self.entered.get(owner, ())
            if item.correction.quantity is quantity
        ]
        known = [due for made, due in sorted(said, key=lambda pair: pair[0]) if due is not None]
        return known[-1] if known else None


def probe_logs(events: Iterable[Event], probes: Iterable[str] = ()) -> dict[str, ProbeLog]:
    """By probe, from the events in the order they were taken down; `probes`: also these, with nothing logged.

    What was taken back is left out. Of two entries for the same time the later one counts.
    """
    listed = list(events)
    gone = withdrawn(listed)
    kept = [event for event in listed if event.id not in gone and event.kind in PROBE_KINDS]
    devices: dict[str, list[Device]] = {probe: [] for probe in probes}
    entered: dict[Owner, list[Entered]] = {}
    checks: dict[Owner, list[Check]] = {}
    put_right: dict[str, list[PutRight]] = {}
    for event in kept:
        probe, serial = str(event.body["probe"]), str(event.body["serial"])
        here = devices.setdefault(probe, [])
        owner: Owner = (serial, "") if serial else ("", probe)
        if event.kind == "device replaced":
            here.append(Device(probe, serial, event.at, event.id))
        elif event.kind == "correction entered":
            entered.setdefault(owner, []).append(_entered(event))
        elif event.kind == "probe put right":
            put_right.setdefault(probe, []).append(PutRight(event.at, bool(event.body["fixed"])))
        else:
            checks.setdefault(owner, []).append(_check(event))
    by_time = {
        owner: tuple(sorted(items, key=lambda item: item.correction.since))
        for owner, items in entered.items()
    }
    checked = {owner: tuple(sorted(items, key=lambda item: item.at)) for owner, items in checks.items()}
    return {
        probe: replace(_log(probe, found, by_time, checked), put_right=tuple(put_right.get(probe, ())))
        for probe, found in devices.items()
    }


def _log(
    probe: str,
    devices: list[Device],
    entered: Mapping[Owner, tuple[Entered, ...]],
    checks: Mapping[Owner, tuple[Check, ...]],
) -> ProbeLog:
    there = (Device(probe, "", FIRST, ""), *sorted(devices, key=lambda device: device.since))
    owners = {device.owner for device in there}
    return ProbeLog(
        probe,
        there,
        {owner: items for owner, items in entered.items() if owner in owners},
        {owner: items for owner, items in checks.items() if owner in owners},
    )


def _entered(event: Event) -> Entered:
    body = event.body
    correction = Correction.of(event.id, event.at, body)
    return Entered(correction, event.who, event.recorded, str(body["reference"]), body.get("due_at"))


def _check(event: Event) -> Check:
    body: Mapping[str, Any] = event.body
    return Check(
        event.id, event.at, event.who, Quantity(body["quantity"]), str(body["against"]), str(body["stage"]),
        float(body["reads"]), float(body["true"]), float(body["error"]), float(body["half_width"]), body.get("due_at"),
    )  # fmt: skip
