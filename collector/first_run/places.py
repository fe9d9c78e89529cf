"""What this machine offers to listen to: serial ports, one-wire sensors, its time zone."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Protocol
from zoneinfo import ZoneInfo

from serial.tools import list_ports

from collector.first_run.facts import Port
from collector.listen import LINKS, stable_link
from collector.sources.serial_port import PORT_TROUBLE, explained, open_alone

ONE_WIRE = Path("/sys/bus/w1/devices")
LOCALTIME = Path("/etc/localtime")


class Plugged(Protocol):
    """What the serial library tells of a port."""

    device: str
    description: str | None
    serial_number: str | None
    subsystem: str | None


def found_ports(
    plugged: Callable[[], Sequence[Plugged]] = list_ports.comports,
    links: Path = LINKS,
    ours: Sequence[str] = (),
) -> list[Port]:
    """The ports, by the name that survives replugging. `ours` are open already, in this program.

    A port that no device has been found at (most PCs show some) is left out.
    """
    found = []
    for port in sorted(plugged(), key=lambda port: port.device):
        if port.subsystem in ("platform", "pnp", "serial-base") and port.description in (
            None,
            "n/a",
            port.device,
        ):
            continue
        path = stable_link(port.device, links, has_serial_number=bool(port.serial_number)) or port.device
        trouble = "" if path in ours else port_trouble(path)
        found.append(Port(path, port.device, port.description or "", trouble))
    return found


def port_trouble(path: str) -> str:
    """Why the port cannot be opened now, and what to do; "" if it can."""
    try:
        open_alone(path, 115200, 0.0).close()
    except PORT_TROUBLE as error:
        return explained(error)
    return ""


def has_one_wire(folder: Path = ONE_WIRE) -> bool:
    """True if this machine's kernel shows one-wire devices of a kind that measures."""
    try:
        return any(path.name[:3] in ("22-", "28-", "42-") for path in folder.iterdir())
    except OSError:  # no driver, no devices
        return False


def time_zone_here(localtime: Path = LOCALTIME) -> str | None:
    """The name of this machine's time zone, None if it does not say."""
    told = [os.environ.get("TZ", "").removeprefix(":")]
    if localtime.is_symlink():
        told.append(str(localtime.resolve()).partition("zoneinfo/")[2])
    for name in told:
        try:
            if name and ZoneInfo(name):
                return name
        except (ValueError, OSError, KeyError):
            continue  # TZ may hold a rule instead of a name
    return None
