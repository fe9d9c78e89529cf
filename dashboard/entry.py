"""How an entry of the logbook is made, whoever makes it: the pages, the API, a command."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container, Mapping, Sequence
from typing import Any

from dashboard.correction import Correction
from dashboard.field_check import Comparison
from dashboard.panel import Event


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
    vertical: bool = False,
    plan: Sequence[Mapping[str, str]] = (),
) -> Event:
    """A new panel; its id is made from its name. `taken`: ids of panels that are there already. Times UTC ms.

    plan   its coats in order, each {"kind": ..., "card": ...}, the card left out if it is not chosen yet
    """
    body = {
        "name": name.strip(), "zone": zone.strip(), "surface_probe": surface_probe, "air_probe": air_probe,
        "substrate": substrate, "vertical": vertical, "plan": list(plan),
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
    **more: Any,
) -> Event:
    """A coat mixed at `at`, taken down `now` (UTC ms). more: peel_ply, lots, pot, as the API's coat takes them."""
    said = {name: value for name, value in more.items() if value is not None}
    body = {"card": card, "applied_at": applied_at, "kind": kind, **said}
    return Event(id_, at, now, who, "coat mixed", panel, body)


def step_event(
    id_: str, at: int, now: int, who: str, panel: str, kind: str, body: Mapping[str, Any] | None = None
) -> Event:
    """Something done to a panel or said of it: "washed", "held"; `body` as dashboard.api.entry_models has it."""
    return Event(id_, at, now, who, kind, panel, dict(body or {}))


def device_event(id_: str, since: int, now: int, who: str, probe: str, serial: str) -> Event:
    """Another device behind a probe from `since` on. Times UTC ms."""
    return Event(id_, since, now, who, "device replaced", None, {"probe": probe, "serial": serial.strip()})


def correction_event(
    now: int, who: str, probe: str, serial: str, made: Correction, reference: str, due_at: int | None
) -> Event:
    """A correction of the device `serial` ("": the one that was there first); its version is the entry's id."""
    body = {
        "probe": probe, "serial": serial, "quantity": made.quantity.value,
        "points": [list(point) for point in made.points], "half_width": made.half_width, "margin": made.margin,
        "reference": reference.strip(), "due_at": due_at,
    }  # fmt: skip
    return Event(made.version, made.since, now, who, "correction entered", None, body)


def check_event(
    id_: str, now: int, who: str, probe: str, serial: str, stage: str, found: Comparison, due_at: int | None
) -> Event:
    """A check of the device `serial`; stage "as found" or "as left"."""
    body = {
        "probe": probe, "serial": serial, "quantity": found.quantity.value, "against": found.against, "stage": stage,
        "since": found.since, "readings": list(found.readings), "reads": found.reads, "true": found.true,
        "error": found.error, "half_width": found.half_width, "due_at": due_at,
    }  # fmt: skip
    return Event(id_, found.at, now, who, "probe checked", None, body)


def thumb_event(
    id_: str,
    at: int,
    now: int,
    who: str,
    panel: str,
    words: Sequence[str],
    tile_C: float | None,
    patchy: bool = False,
) -> Event:
    """What a thumb found on a panel's film, or on a tile of tile_C (degC) that cured beside it; patchy: unevenly."""
    body: dict[str, Any] = {"words": list(words), "tile_C": tile_C, "patchy": patchy}
    return Event(id_, at, now, who, "thumb test", panel, body)


def slug(name: str, taken: Container[str]) -> str:
    """A panel's id from its name: lower-case ASCII letters, digits, dashes; a number if it is taken."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    base = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:48] or "panel"
    base = "panel-new" if base == "new" else base
    found, number = base, 2
    while found in taken:
        found, number = f"{base}-{number}", number + 1
    return found
