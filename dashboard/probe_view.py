"""One probe in words: what it reads and what that is after correction, what is in force, what is due, what is next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import quote

from collector.reading import Quantity, Reading
from dashboard.correction import LARGEST
from dashboard.devices import Check, Device, Entered, ProbeLog
from dashboard.display import TIE, View
from dashboard.entries import Entry, entries
from dashboard.field_check import AGAINST, ICE, SALT_RANGE_C, SALTS, Progress
from dashboard.panel import Event, Panel
from dashboard.strips import Button, counted
from dashboard.words import LABELS


@dataclass(frozen=True)
class QuantityView:
    """One quantity of a probe. lines: sentences; notice: a check that is past due, or ""; next: what to do next."""

    name: str
    quantity: Quantity
    lines: tuple[str, ...]
    notice: str
    next: Button | None


def number(quantity: Quantity, value: float, view: View) -> str:
    """A value with its unit."""
    if quantity is Quantity.TEMPERATURE:
        return view.temperature(value)
    return view.signed(f"{value:.1f}{TIE}{LABELS['percent']}")


def difference(quantity: Quantity, value: float, view: View) -> str:
    """A difference with its unit."""
    return view.difference(value) if quantity is Quantity.TEMPERATURE else number(quantity, value, view)


def off(quantity: Quantity, error: float, view: View) -> str:
    """ "0.4 °C too high"."""
    by = difference(quantity, abs(error), view)
    if by == difference(quantity, 0.0, view):
        return LABELS["right"]
    return LABELS["too_high" if error > 0 else "too_low"].format(by=by)


def quantities(newest: Iterable[Reading]) -> list[Quantity]:
    """What of a probe can be corrected: what it was heard to measure; a temperature if it was never heard."""
    heard = {reading.quantity for reading in newest}
    return [quantity for quantity in LARGEST if quantity in heard] or [Quantity.TEMPERATURE]


def notices(log: ProbeLog, measured: Iterable[Quantity], view: View) -> list[str]:
    """Checks that are past due."""
    due = [log.due(quantity, view.now) for quantity in measured]
    return [LABELS["overdue"].format(day=view.day(day)) for day in due if day is not None and day <= view.now]


def device(log: ProbeLog, view: View) -> str:
    """ "Device X7, since Mon 10:00"."""
    there: Device = log.device(view.now)
    if not there.serial:
        return LABELS["device_first"]
    return LABELS["device_serial"].format(serial=there.serial, at=view.clock(there.since))


def quantity_view(probe: str, stated_K: float, log: ProbeLog, quantity: Quantity, view: View) -> QuantityView:
    """What is in force for one quantity now, its last check, when the next is due, and the next step.

    stated_K   what its maker says of its temperature, a 95 % half-width
    """
    entered = log.in_force(quantity, view.now)
    checks = [item for item in log.checks.get(log.device(view.now).owner, ()) if item.quantity is quantity]
    last = checks[-1] if checks else None
    lines = _in_force(stated_K, quantity, entered, view)
    if last is not None:
        lines.append(_found(last, view))
    due = log.due(quantity, view.now)
    late = due is not None and due <= view.now
    if not late:
        lines.append(LABELS["due"].format(day=view.day(due)) if due else LABELS["due_unknown"])
    notice = LABELS["overdue"].format(day=view.day(due)) if late and due else ""
    name = LABELS[f"value_{quantity.value}"]
    return QuantityView(
        name[:1].upper() + name[1:], quantity, tuple(lines), notice, _next(probe, entered, last)
    )


def _in_force(stated_K: float, quantity: Quantity, entered: Entered | None, view: View) -> list[str]:
    if entered is None:
        if quantity is Quantity.TEMPERATURE:
            return [LABELS["not_corrected"].format(stated=view.difference(stated_K))]
        return [LABELS["not_corrected_humidity"]]
    made = entered.correction
    width = difference(quantity, made.half_width, view)
    if len(made.points) == 1:
        reads, true = made.points[0]
        shift = difference(quantity, true - reads, view)
        text = LABELS["corrected_offset"].format(shift=shift, at=number(quantity, reads, view), width=width)
    else:
        text = LABELS["corrected_line"].format(points=_points(entered, view), width=width)
    low, high = (number(quantity, end, view) for end in made.reach)
    since = LABELS["corrected_since"].format(
        at=view.clock(made.since), reference=entered.reference, who=entered.who or LABELS["nobody"]
    )
    return [text, LABELS["corrected_reach"].format(low=low, high=high), since]


def _found(check: Check, view: View) -> str:
    text = LABELS["found"].format(
        stage=LABELS[check.stage.replace(" ", "_")],
        at=view.clock(check.at),
        against=check.against,
        error=off(check.quantity, check.error, view),
    )
    if abs(check.error) <= check.half_width:
        text += " " + LABELS["within_check"].format(width=difference(check.quantity, check.half_width, view))
    return text


def _next(probe: str, entered: Entered | None, last: Check | None) -> Button | None:
    """After "as found" the correction, after that the same check "as left"."""
    if last is None or last.stage == "as left":
        return None
    here = f"/more/probes/{quote(probe, safe='')}"
    if entered is None or entered.recorded < last.at:
        return Button(LABELS["propose"], href=f"{here}/correct?quantity={last.quantity.value}&proposed=1")
    return Button(LABELS["check_left"], href=f"{here}/check?against={quote(last.against)}&stage=as%20left")


def ways(probe: str, measured: Iterable[Quantity]) -> list[Button]:
    """Everything that can be done to a probe."""
    here = f"/more/probes/{quote(probe, safe='')}"
    listed = list(measured)
    found = []
    for against in AGAINST:
        if against == ICE and Quantity.TEMPERATURE in listed:
            found.append(Button(LABELS["check_ice"], href=f"{here}/check?against={quote(against)}"))
        elif against in SALTS and Quantity.RELATIVE_HUMIDITY in listed:
            label = LABELS["check_salt"].format(salt=against)
            found.append(Button(label, href=f"{here}/check?against={quote(against)}"))
    for quantity in listed:
        label = f"{LABELS['enter_correction']}: {LABELS[f'value_{quantity.value}']}"
        found.append(Button(label, href=f"{here}/correct?quantity={quantity.value}"))
    return [*found, Button(LABELS["replace_device"], href=f"{here}/device")]


@dataclass(frozen=True)
class Line:
    """One entry of a probe's history, and what it said."""

    entry: Entry
    detail: str


def history(probe: str, log: ProbeLog, events: Iterable[Event], view: View) -> list[Line]:
    """What was logged of this probe, newest first; what was taken back has no detail."""
    listed = list(events)
    mine = {event.id for event in listed if event.body.get("probe") == probe}
    found = entries((event for event in listed if event.id in mine or event.body.get("event") in mine), view)
    details = {device.event: device.serial for device in log.devices}
    for items in log.entered.values():
        details |= {item.correction.version: _points(item, view) for item in items}
    for checked in log.checks.values():
        details |= {item.event: _found(item, view) for item in checked}
    for event in listed:
        if event.kind == "probe put right":
            details[event.id] = LABELS["was_put_right" if event.body["fixed"] else "was_fine"]
    return [Line(entry, details.get(entry.id, "")) for entry in found]


def _points(entered: Entered, view: View) -> str:
    made = entered.correction
    return ", ".join(
        LABELS["point"].format(
            reads=number(made.quantity, reads, view), true=number(made.quantity, true, view)
        )
        for reads, true in made.points
    )


def headline(here: Progress, since: int, view: View) -> str:
    """Where a check stands, as an instruction."""
    low, high = (view.temperature(end, whole=True) for end in SALT_RANGE_C)
    return LABELS[f"state_{here.state}"].format(at=view.clock(since + here.wait_ms), low=low, high=high)


def progress_lines(quantity: Quantity, here: Progress, view: View) -> list[str]:
    """A check's live numbers as sentences."""
    lines = []
    if here.reads is not None and here.spread is not None:
        lines.append(
            LABELS["live_reads"].format(
                value=number(quantity, here.reads, view),
                n=here.count,
                spread=difference(quantity, here.spread, view),
            )
        )
    if quantity is Quantity.TEMPERATURE:
        lines.append(LABELS["live_true"].format(value=view.temperature(0.0)))
    elif here.true is not None and here.temperature_C is not None:
        value, t = number(quantity, here.true, view), view.temperature(here.temperature_C)
        lines.append(LABELS["live_true_at"].format(value=value, t=t))
    elif here.temperature_C is None and here.reads is not None:
        lines.append(LABELS["live_no_t"])
    if here.found is not None:
        width = difference(quantity, here.found.half_width, view)
        lines.append(LABELS["live_error"].format(error=off(quantity, here.found.error, view), width=width))
    return lines


def stands_for(probe_id: str, panels: Mapping[str, Panel]) -> list[str]:
    """Names of the open panels that this probe answers for, in order."""
    here = [panel for panel in panels.values() if not panel.closed]
    named = [panel.name for panel in here if probe_id in (panel.surface_probe, panel.air_probe)]
    return sorted(named, key=counted)
