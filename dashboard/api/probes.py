"""What is said and logged of one probe, as JSON; numbers in SI and UTC ms."""

from __future__ import annotations

import dataclasses
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import AfterValidator, Field

from collector.reading import Quantity
from dashboard.api.entry_models import Body, Id, Moment, Number, Short, Who
from dashboard.correction import Correction, CorrectionError
from dashboard.desk import Desk
from dashboard.display import LAST_MS
from dashboard.entries import said
from dashboard.entry import check_event, correction_event, device_event
from dashboard.field_check import AGAINST, quantity_of
from dashboard.pages.probes import Stage, known, progress_of
from dashboard.panel import Event
from dashboard.probe_view import quantities
from dashboard.step_check import LogbookError
from dashboard.words import LABELS


def _reference(against: str) -> str:
    """Raises ValueError for one that is not in AGAINST."""
    quantity_of(against)
    return against


Reference = Annotated[str, Field(json_schema_extra={"enum": list(AGAINST)}), AfterValidator(_reference)]


class DevicePut(Body):
    """Another device stands behind the probe. since: UTC ms; None: now."""

    id: Id
    who: Who = ""
    serial: Short
    since: Moment | None = None


class CorrectionMade(Body):
    """A correction of the device that is there now, or of the one with `serial`. points as (reads, true)."""

    id: Id
    who: Who = ""
    quantity: Literal["temperature", "relative_humidity"]
    unit: Literal["degC", "degF", "%"]
    points: Annotated[list[tuple[Number, Number]], Field(min_length=1, max_length=12)]
    half_width: Number
    margin: Number
    reference: Short
    since: Moment | None = None
    due_at: Moment | None = None
    serial: Annotated[str, Field(max_length=64)] | None = None


class CheckDone(Body):
    """A check that came to rest; its numbers are worked out here. at: UTC ms; None: now."""

    id: Id
    who: Who = ""
    against: Reference
    since: Moment
    stage: Stage = "as found"
    due_at: Moment | None = None
    at: Moment | None = None


def router(desk: Desk) -> APIRouter:
    """GET /api/probes/{id} and {id}/check; POST {id}/device, {id}/correction and {id}/check."""
    routes = APIRouter(prefix="/api/probes/{probe_id}")

    @routes.get("")
    def one_probe(request: Request, probe_id: str) -> Response:
        known(desk, probe_id)
        view = desk.view()
        return desk.json(request, _probe(desk, probe_id, view.now), view)

    @routes.get("/check")
    def check(
        request: Request, probe_id: str, against: Reference, since: Annotated[int, Query(ge=0, lt=LAST_MS)]
    ) -> Response:
        view = desk.view()
        here = progress_of(desk, known(desk, probe_id), against, since, view.now)
        return desk.json(request, dataclasses.asdict(here), view)

    @routes.post("/device")
    def put_device(probe_id: str, entry: DevicePut) -> dict[str, Any]:
        known(desk, probe_id)
        now = desk.shop.clock.now()
        return _log(desk, device_event(entry.id, entry.since or now, now, entry.who, probe_id, entry.serial))

    @routes.post("/correction")
    def enter(probe_id: str, entry: CorrectionMade) -> dict[str, Any]:
        known(desk, probe_id)
        now = desk.shop.clock.now()
        serial = entry.serial if entry.serial is not None else _serial(desk, probe_id, now)
        try:
            made = Correction.of(entry.id, entry.since or now, _in_si(entry))
        except CorrectionError as error:
            raise LogbookError(str(error)) from error
        return _log(
            desk, correction_event(now, entry.who, probe_id, serial, made, entry.reference, entry.due_at)
        )

    @routes.post("/check")
    def log_check(probe_id: str, entry: CheckDone) -> dict[str, Any]:
        facts, now = known(desk, probe_id), desk.shop.clock.now()
        earlier = next((event for event in desk.shop.logbook.events() if event.id == entry.id), None)
        if earlier is not None:
            return _answer(desk, earlier, new=False)
        at = min(entry.at or now, now)
        found = progress_of(desk, facts, entry.against, entry.since, at).found
        if found is None:
            raise LogbookError(LABELS["not_steady"])
        serial = _serial(desk, probe_id, at)
        return _log(
            desk, check_event(entry.id, now, entry.who, probe_id, serial, entry.stage, found, entry.due_at)
        )

    return routes


def _probe(desk: Desk, probe_id: str, now: int) -> dict[str, Any]:
    """Newest readings raw and corrected, the devices, and all that was entered and checked, newest last."""
    log, heard = desk.probe_logs()[probe_id], desk.heard()
    newest = heard.of(probe_id) if heard else []
    values = []
    for reading in newest:
        entered = log.in_force(reading.quantity, reading.at)
        corrected = entered.correction.one(reading.value) if entered else reading.value
        values.append(
            {"quantity": reading.quantity, "at": reading.at, "raw": reading.value, "corrected": corrected,
             "correction": entered.correction.version if entered else None}
        )  # fmt: skip
    return {
        "probe": probe_id,
        "values": values,
        "due": {quantity.value: log.due(quantity, now) for quantity in quantities(newest)},
        "devices": [
            dataclasses.asdict(item) | {"since": item.since if item.event else None} for item in log.devices
        ],
        "corrections": [
            dataclasses.asdict(item) | {"serial": owner[0]}
            for owner, items in log.entered.items()
            for item in items
        ],
        "checks": [
            dataclasses.asdict(item) | {"serial": owner[0]}
            for owner, items in log.checks.items()
            for item in items
        ],
    }


def _log(desk: Desk, event: Event) -> dict[str, Any]:
    return _answer(desk, event, new=desk.shop.logbook.append(event))


def _answer(desk: Desk, event: Event, *, new: bool) -> dict[str, Any]:
    return {"event": event.id, "new": new, "recorded": event.recorded, "said": said(event, desk.view())}


def _serial(desk: Desk, probe_id: str, at: int) -> str:
    return desk.probe_logs()[probe_id].device(at).serial


def _in_si(entry: CorrectionMade) -> dict[str, Any]:
    """The entry's numbers in degC, K or %. Raises CorrectionError for a unit that is not the quantity's."""
    quantity, humid = Quantity(entry.quantity), entry.quantity == "relative_humidity"
    if humid != (entry.unit == "%"):
        allowed = "%" if humid else "degC, degF"
        raise CorrectionError(f"unit {entry.unit!r} is not one of {entry.quantity}; allowed: {allowed}")
    degree = 1.8 if entry.unit == "degF" else 1.0
    zero = 32.0 if entry.unit == "degF" else 0.0
    points = [tuple((value - zero) / degree for value in point) for point in entry.points]
    width, margin = entry.half_width / degree, entry.margin / degree
    return {"quantity": quantity, "points": points, "half_width": width, "margin": margin}
