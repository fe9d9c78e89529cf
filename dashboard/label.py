"""A panel's label: six letters that stand for it, and the address that its QR code opens on a phone."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import blake2b
from urllib.parse import urlsplit

import segno

from dashboard.panel import Event, Panel

LETTERS = "BCDFHJKLMNPRSTVWXZ"
"""No vowels, so that no code is a word; none of G, I, O, Q, U and Y, which a pencil turns into others."""
LENGTH = 6
QUIET_MODULES = 4
"""White on every side of a QR code (ISO/IEC 18004: at least four modules)."""
SYMBOL_MM = 28.0
"""Side of the code on paper without its quiet zone; 25 are wanted, and a printer may shrink a page."""


@dataclass(frozen=True)
class Drawn:
    """A QR code as one SVG path over `size` by `size` modules, quiet zone included, `mm` wide on paper."""

    size: int
    path: str
    mm: float


@dataclass(frozen=True)
class Label:
    """What stands on one label; `link` and `drawn` are None while no phone could open the page."""

    panel: str
    name: str
    zone: str
    code: str
    link: str | None
    drawn: Drawn | None


def codes(events: Iterable[Event]) -> dict[str, str]:
    """By panel its six letters. Made of the panel's id, and never another's: of two that would be alike the one
    registered later takes the next, so that no label changes whatever is registered after it.
    """
    found: dict[str, str] = {}
    taken: set[str] = set()
    for event in events:
        if event.kind != "panel registered" or event.panel is None or event.panel in found:
            continue
        turn = 0
        while (code := letters(event.panel, turn)) in taken:
            turn += 1
        found[event.panel] = code
        taken.add(code)
    return found


def letters(panel: str, turn: int = 0) -> str:
    """Six of LETTERS for a panel's id; another six for each `turn`."""
    digest = blake2b(f"{panel}\0{turn}".encode(), digest_size=16).digest()
    number, made = int.from_bytes(digest, "big"), ""
    for _ in range(LENGTH):
        number, index = divmod(number, len(LETTERS))
        made += LETTERS[index]
    return made


def leads_nowhere(public_url: str | None) -> bool:
    """Whether a phone that is told this address comes to no page: there is none, or it is the phone's own."""
    if public_url is None:
        return True
    host = (urlsplit(public_url).hostname or "").rstrip(".")
    if host in ("", "localhost") or host.endswith(".localhost"):  # RFC 6761, 6.3
        return True
    address = _address(host)
    if address is None:
        return False
    mapped = getattr(address, "ipv4_mapped", None) or address
    return bool(mapped.is_loopback or mapped.is_unspecified)


def _address(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """The address that a host is written as, also in the short forms that browsers take ("127.1"); None: a name."""
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        pass
    try:
        return ipaddress.IPv4Address(socket.inet_aton(host))
    except OSError:
        return None


def labels(panels: Iterable[Panel], code_of: Mapping[str, str], public_url: str | None) -> list[Label]:
    """Labels of `panels`, in their order."""
    made = []
    for panel in panels:
        code = code_of[panel.id]
        link = None if public_url is None or leads_nowhere(public_url) else f"{public_url}/p/{code}"
        made.append(Label(panel.id, panel.name, panel.zone, code, link, draw(link) if link else None))
    return made


def draw(text: str) -> Drawn:
    """The QR code of `text`, level M or better: a smear over a seventh of it is read all the same."""
    rows = [bytes(row) for row in segno.make_qr(text, error="m").matrix_iter(border=QUIET_MODULES)]
    path = "".join(
        f"M{start} {y}h{length}v1h-{length}z" for y, row in enumerate(rows) for start, length in _runs(row)
    )
    inner = len(rows) - 2 * QUIET_MODULES
    return Drawn(len(rows), path, round(SYMBOL_MM * len(rows) / inner, 2))


def _runs(row: bytes) -> Iterable[tuple[int, int]]:
    """Where dark modules lie side by side: (first, how many)."""
    start = None
    for x, dark in enumerate((*row, 0)):
        if dark and start is None:
            start = x
        elif not dark and start is not None:
            yield start, x - start
            start = None
