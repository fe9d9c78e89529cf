"""Probes of a record: which device, how good, how corrected and checked; and the digests of what they read."""

from __future__ import annotations

from collections.abc import Iterator

from collector.reading import ProbeFacts, Quantity
from dashboard.devices import Check, Device, Entered, ProbeLog, probe_logs
from dashboard.probe_view import difference, off
from dashboard.record.used import Used
from dashboard.record.wording import Wording
from dashboard.words import LABELS, RECORD

Table = tuple[tuple[str, ...], ...]


def probe_rows(used: Used, say: Wording) -> Table:
    """One row for each device that stood behind a probe of the panel in the record's time."""
    logs = probe_logs(used.events, [probe.id for probe in used.probes])
    return tuple(row for probe in used.probes for row in _devices(used, probe, logs[probe.id], say))


def digest_rows(used: Used) -> Table:
    """Each series: probe, quantity, how many readings, digest."""
    found = []
    for series in used.series:
        n, sha256 = series.digest()
        found.append((series.probe, LABELS[f"value_{series.quantity.value}"], str(n), sha256))
    return tuple(found)


def _devices(used: Used, probe: ProbeFacts, log: ProbeLog, say: Wording) -> Iterator[tuple[str, ...]]:
    ends = [device.since for device in log.devices[1:]] + [2**62]
    for device, end in zip(log.devices, ends, strict=True):
        if device.since > used.at or end <= used.since:
            continue
        name = device.serial or RECORD["device_unnamed"]
        states = "; ".join(_states(used, log, device, end, say)) or RECORD["uncorrected"]
        where = LABELS["probe_of"].format(place=probe.place, zone=probe.zone)
        yield f"{probe.id} ({where})", name, say.view.difference(probe.accuracy_K), states


def _states(used: Used, log: ProbeLog, device: Device, end: int, say: Wording) -> Iterator[str]:
    for entered in log.entered.get(device.owner, ()):
        if entered.correction.since <= min(used.at, end):
            yield _corrected(entered, say)
    for check in log.checks.get(device.owner, ()):
        if check.at <= min(used.at, end):
            yield _checked(check, say)
    for quantity in (Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY):
        due = log.due(quantity, used.at)
        if due is not None and log.device(used.at) == device:
            yield RECORD["due_on"].format(day=say.at(due)[:10])


def _corrected(entered: Entered, say: Wording) -> str:
    made = entered.correction
    kind = f"{LABELS[f'value_{made.quantity.value}']}, {made.kind}"
    width = difference(made.quantity, made.half_width, say.view)
    return RECORD["corrected_by"].format(
        kind=kind, at=say.at(made.since), reference=entered.reference, width=width
    )


def _checked(check: Check, say: Wording) -> str:
    key = "checked_on" if check.stage == "as found" else "checked_left"
    return RECORD[key].format(
        at=say.at(check.at), error=off(check.quantity, check.error, say.view), against=check.against
    )
