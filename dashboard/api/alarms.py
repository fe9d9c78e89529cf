"""Alarms and notices as JSON: states in the words of the alarm standards, sentences beside them, times UTC ms."""

from __future__ import annotations

import dataclasses
from typing import Annotated, Any

from fastapi import APIRouter, Request, Response
from pydantic import BeforeValidator, Field

from dashboard.alarm_desk import AlarmLine, until_of
from dashboard.api.entry_models import UNSEEN, Body, Id, Who, Yes, is_number
from dashboard.desk import Desk
from dashboard.entries import said
from dashboard.pages.alarms import (
    deadline_of,
    find_alarm,
    history,
    lines,
    persons,
    running,
    troubles,
    zone_of,
)
from dashboard.panel import Event
from dashboard.quiet import QuietError
from dashboard.step_check import LogbookError

Text = Annotated[str, Field(max_length=200, pattern=f"^[^{UNSEEN}]*$")]


class Quiet(Body):
    """Quiet for so many minutes; None: until the morning. It may be cut short by the panel's next deadline."""

    id: Id
    who: Who = ""
    alarm: Text
    minutes: Annotated[int, Field(ge=1, le=720), BeforeValidator(is_number)] | None = 30
    reason: Text = ""


class Unquiet(Body):
    """It may ring again."""

    id: Id
    who: Who = ""
    alarm: Text


class Service(Body):
    """A kind of alarm of one panel or probe is switched off (out of service), or on again."""

    id: Id
    who: Who = ""
    kind: Text
    of: Text = ""
    off: Yes
    reason: Text = ""


class QuietHours(Body):
    """When a person is not told, and what may wake them all the same; start and end alike: no quiet hours."""

    id: Id
    who: Who = ""
    person: Text
    start: Text
    end: Text
    wake: Annotated[tuple[Text, ...], Field(max_length=20)] = ()


class Test(Body):
    """A notice that says nothing but that it arrives; without a person: to everybody."""

    id: Id
    who: Who = ""
    person: Text = ""


def router(desk: Desk) -> APIRouter:
    """GET /api/alarms, /api/notices; POST /api/alarms/quiet, unquiet, service, /api/notices/quiet-hours, test."""
    routes = APIRouter(prefix="/api")

    @routes.get("/alarms")
    def alarms(request: Request) -> Response:
        view = desk.view()
        times = {alarm.id: alarm for alarm in desk.alarms()}
        found = [_alarm(line) | _times(times[line.id]) for line in lines(desk, view)]
        return desk.json(request, {"alarms": found}, view)

    @routes.get("/notices")
    def notices(request: Request) -> Response:
        body = {
            "people": [
                {"name": one.name, "start": one.start, "end": one.end, "wake": sorted(one.wake)}
                for one in persons(desk)
            ],
            "told": [dataclasses.asdict(one) for one in history(desk)],
            "not_reached": [dataclasses.asdict(one) for one in troubles(desk)],
            "running": running(desk),
        }
        return desk.json(request, body, desk.view())

    @routes.post("/alarms/quiet")
    def quiet(entry: Quiet) -> dict[str, Any]:
        """409 for a pot, or where the next deadline is too near."""
        now = desk.shop.clock.now()
        alarm = find_alarm(desk, entry.alarm)
        try:
            until = until_of(alarm, entry.minutes, deadline_of(desk, alarm, now), now, zone_of(desk))
        except QuietError as error:
            raise LogbookError(str(error)) from error
        body = {"alarm": entry.alarm, "until": until, "reason": entry.reason}
        return _log(desk, entry.id, entry.who, "alarm shelved", body) | {"until": until}

    @routes.post("/alarms/unquiet")
    def unquiet(entry: Unquiet) -> dict[str, Any]:
        return _log(desk, entry.id, entry.who, "alarm unshelved", {"alarm": entry.alarm})

    @routes.post("/alarms/service")
    def service(entry: Service) -> dict[str, Any]:
        body = {"kind": entry.kind, "of": entry.of} | ({"reason": entry.reason} if entry.off else {})
        return _log(desk, entry.id, entry.who, "out of service" if entry.off else "in service", body)

    @routes.post("/notices/quiet-hours")
    def quiet_hours(entry: QuietHours) -> dict[str, Any]:
        _known(desk, entry.person)
        body = {"person": entry.person, "start": entry.start, "end": entry.end, "wake": list(entry.wake)}
        return _log(desk, entry.id, entry.who, "quiet hours", body)

    @routes.post("/notices/test")
    def test(entry: Test) -> dict[str, Any]:
        if entry.person:
            _known(desk, entry.person)
        return _log(desk, entry.id, entry.who, "notice test", {"person": entry.person})

    return routes


def _known(desk: Desk, person: str) -> None:
    if person not in desk.shop.told:
        names = ", ".join(desk.shop.told) or "nobody: name people under [notices] in the settings"
        raise LogbookError(f"nobody called {person!r} is told; there are: {names}")


def _log(desk: Desk, ident: str, who: str, kind: str, body: dict[str, Any]) -> dict[str, Any]:
    now = desk.shop.clock.now()
    event = Event(ident, now, now, who, kind, None, body)
    new = desk.shop.logbook.append(event)
    return {"event": ident, "new": new, "recorded": now, "gone": False, "said": said(event, desk.view())}


def _alarm(line: AlarmLine) -> dict[str, Any]:
    return dataclasses.asdict(line)


def _times(alarm: Any) -> dict[str, Any]:
    return {
        "raised_at": alarm.raised_at,
        "returned_at": alarm.returned_at,
        "seen_at": alarm.seen_at,
        "panels": list(alarm.panels),
    }
