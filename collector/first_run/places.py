"""What this machine offers to listen to: serial ports, one-wire sensors, its time zone."""

from __future__ import annotations

import getpass
import grp
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from serial.tools import list_ports

from collector.first_run.facts import Port
from collector.listen import LINKS, stable_link

ONE_WIRE = Path("/sys/bus/w1/devices")
LOCALTIME = Path("/etc/localtime")


def plugged_in() -> list[Any]:
    """The ports as the serial library tells of them."""
    return list(list_ports.comports())


def found_ports(
    plugged: Callable[[], Sequence[Any]] = plugged_in,
    links: Path = LINKS,
    ours: Sequence[str] = (),
) -> list[Port]:
    """The ports, by the name that survives replugging. `ours` are open already, in this program.

    A port that no device has been found at (PCs show many) is left out: its path may be typed.
    """
    found = []
    for port in sorted(plugged(), key=lambda port: port.device):
        if port.subsystem in ("pnp", "serial-base") and not port.serial_number:
            continue
        path = stable_link(port.device, links, has_serial_number=bool(port.serial_number)) or port.device
        trouble = "" if path in ours else port_trouble(path)
        found.append(Port(path, port.device, port.description or "", trouble))
    return found


def port_trouble(path: str) -> str:
    """What speaks against opening the port, and what to do; "" if nothing does.

    It is looked at, not opened: opening restarts many a microcontroller's board, and set-up looks once a second.
    """
    if not os.path.exists(path):
        return "no such port: plug the device in"
    if not os.access(path, os.R_OK | os.W_OK):
        user, group = getpass.getuser(), group_of(path)
        return f"no permission: sudo usermod -aG {group} {user}, then sign out and in again"
    held = ", ".join(f"{name} (process {pid})" for pid, name in open_by(path) if pid != os.getpid())
    return f"another program has the port open: {held}; end it" if held else ""


def open_by(port: str, processes: Path = Path("/proc")) -> list[tuple[int, str]]:
    """Processes that have the port open, and their names; of other users' only if we may look."""
    device, found = os.path.realpath(port), []
    for process in processes.iterdir():
        if not process.name.isdigit():
            continue
        try:
            if any(os.readlink(link) == device for link in (process / "fd").iterdir()):
                found.append((int(process.name), (process / "comm").read_text().strip()))
        except OSError:  # not ours to look at, or it has ended meanwhile
            continue
    return found


def group_of(path: str) -> str:
    """The group that may open it."""
    number = os.stat(path).st_gid
    try:
        return grp.getgrgid(number).gr_name
    except KeyError:
        return str(number)


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
