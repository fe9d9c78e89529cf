"""How an entry of the logbook is made, whoever makes it: the pages, the API, a command."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container

from dashboard.logbook import Event


def register_event(
    id_: str,
    now: int,
    who: str,
    name: str,
    zone: str,
    surface_probe: str | None,
    air_probe: str | None,
    substrate: str,
    taken: Container[str],
) -> Event:
    """A new panel; its id is made from its name. `taken`: ids of panels that are there already. Times UTC ms."""
    body = {
        "name": name.strip(), "zone": zone.strip(), "surface_probe": surface_probe, "air_probe": air_probe,
        "substrate": substrate,
    }  # fmt: skip
    return Event(id_, now, now, who, "panel registered", slug(name, taken), body)


def coat_event(
    id_: str,
    at: int,
    now: int,
    who: str,
    panel: str,
    card: str,
    applied_at: int | None = None,
    kind: str = "laminate",
) -> Event:
    """A coat mixed at `at`, taken down `now` (UTC ms)."""
    return Event(
        id_, at, now, who, "coat mixed", panel, {"card": card, "applied_at": applied_at, "kind": kind}
    )


def step_event(id_: str, at: int, now: int, who: str, panel: str, kind: str) -> Event:
    """Something done to a panel: "washed", "sanded"."""
    return Event(id_, at, now, who, kind, panel, {})


def slug(name: str, taken: Container[str]) -> str:
    """A panel's id from its name: lower-case ASCII letters, digits, dashes; a number if it is taken."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    base = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:48] or "panel"
    base = "panel-new" if base == "new" else base
    found, number = base, 2
    while found in taken:
        found, number = f"{base}-{number}", number + 1
    return found
