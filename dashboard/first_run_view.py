"""What set-up found, in words: the same in a terminal and in a browser. Temperatures in degC, beside what was sent."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from collector.first_run.facts import Device, Reading, Value, Way, apart
from collector.first_run.sniff import may_be, plausible
from collector.reading import Quantity
from dashboard.words import LABELS

UNIT = {Quantity.TEMPERATURE: "°C", Quantity.RELATIVE_HUMIDITY: "%", Quantity.CO2: "ppm"}
SENT = {"degC": "°C", "degF": "°F", "K": "K", "%": "%", "1": "", "ppm": "ppm"}
"""How a unit of the settings is written behind a number."""
QUANTITY = {quantity: LABELS[f"value_{quantity.value}"] for quantity in Quantity}
PLACES = {place: LABELS[f"su_place_{place}"] for place in ("surface", "air", "bottles")}
TIE = "\N{NO-BREAK SPACE}"
FAILED = "failed: "
AS_ASKED = {"password_file": "password", "ca_file": "the file of its authority"}
"""Keys of the settings, as set-up asks for them."""


@dataclass(frozen=True)
class Choice:
    """One thing that a number may be. `id` is what a form sends back."""

    id: str
    text: str


def number(quantity: Quantity, value: float) -> str:
    """A value in SI with its unit, as exactly as probes are."""
    digits = {Quantity.TEMPERATURE: 1, Quantity.RELATIVE_HUMIDITY: 0, Quantity.CO2: 0}[quantity]
    return f"{value:.{digits}f}{TIE}{UNIT[quantity]}".replace("-", "\N{MINUS SIGN}")


def reading(one: Reading | Value, sent: float) -> str:
    """A number as one unit has it; the number on the wire beside it where that is another."""
    assert one.quantity is not None  # callers ask about known ones only
    assert one.value is not None
    text = f"{QUANTITY[one.quantity]} {number(one.quantity, one.value)}"
    other = SENT[one.unit] != UNIT[one.quantity]
    return f"{text} (it sends {sent:g}{TIE}{SENT[one.unit]})".replace(f"{TIE})", ")") if other else text


def values_text(device: Device) -> str:
    """Its numbers in a line: those of which nobody has said what they are, as they are sent."""
    taken = [value for value in device.values if not value.left_out] or device.values
    return ", ".join(
        f"{value.key} {value.sent:g}" if value.value is None else reading(value, value.sent)
        for value in taken
    )


def left_out_text(device: Device) -> str:
    """What else it sends."""
    return ", ".join(f"{value.key} {value.sent:g}" for value in device.values if value.left_out)


def choices(value: Value) -> list[Choice]:
    """What a number may be, the most plausible first; last: nothing of ours."""
    found = [
        Choice(f"{one.quantity.value} {one.unit}", _begun(reading(one, value.sent)))
        for one in may_be(value.key, value.sent)
    ]
    return [*found, Choice("", LABELS["su_no_reading"])]


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]


def whose(device: Device) -> str:
    """What was said of the device; "" if nothing was."""
    if device.probe is not None:
        id, zone, place = device.probe
        return LABELS["su_assigned"].format(id=id, place=PLACES[place].lower(), zone=zone)
    return LABELS["su_is_not_mine"] if device.passed_over else ""


def way_state(way: Way) -> str:
    """What comes by a way, or why nothing does."""
    if way.state.startswith(FAILED):
        text = way.state.removeprefix(FAILED)
        for key, word in AS_ASKED.items():
            text = text.replace(key, word)
        return text
    remark = way.state.partition("; ")[2]
    if remark:
        return remark
    if way.state == "waiting":
        return LABELS["su_connecting"]
    if way.heard:
        return LABELS["su_came"].format(n=way.heard)
    return LABELS["su_not_read"].format(text=way.unread) if way.unread else LABELS["su_nothing_came"]


def apart_text(devices: Sequence[Device]) -> str:
    """A question if two temperatures lie so far apart that a unit may be wrong, else ""."""
    found = apart(devices)
    if found is None:
        return ""
    names = {device.key: device.name for device in devices}
    warmer, colder, by = found
    return LABELS["su_apart"].format(warmer=names[warmer], colder=names[colder], by=f"{by:.0f}{TIE}K")


def id_for(device: Device, taken: Iterable[str]) -> str:
    """A name to propose: the end of what it calls itself, as the settings allow it, and free."""
    last = re.split(r"[/:]", device.name.rstrip("/:"))[-1] or device.name
    plain = re.sub(r"[^\w .\-]", "-", last).strip("- ")[:60] or "probe"
    used = set(taken)
    return next(name for name in (plain, *(f"{plain}-{n}" for n in range(2, 1000))) if name not in used)


def place_for(device: Device) -> str:
    """Where it most likely is: one that tells humidity hangs in the air."""
    taken = [value.quantity or value.likely for value in device.values if not value.left_out]
    humid = Quantity.RELATIVE_HUMIDITY in taken
    return "air" if humid else "surface"


def chosen(value: Value, before: str) -> tuple[list[Choice], list[Choice], str]:
    """For a form: the likely answers, the others, and which one is ticked. `before`: of the same key elsewhere."""
    offered = choices(value)
    if value.quantity is not None:
        ticked = f"{value.quantity.value} {value.unit}"
    else:
        ticked = "" if value.left_out else before or offered[0].id
    likely = may_be(value.key, value.sent)
    taken = [one for one in likely if one.quantity is likely[0].quantity]
    ids = {
        f"{one.quantity.value} {one.unit}" for one in taken if plausible(one) or one.unit in ("degC", "degF")
    }
    near = [one for one in offered if one.id in ids | {ticked, "", offered[0].id}]
    return near, [one for one in offered if one not in near], ticked
