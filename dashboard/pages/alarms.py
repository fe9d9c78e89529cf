"""Alarms: what asks for somebody, and what was done about it. Notices: who is told away from the pages, and when."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from fastapi import APIRouter, HTTPException, Request, Response

from collector.store.schema import NotYet
from dashboard.alarm import Alarm
from dashboard.alarm_desk import AlarmLine, alarm_line, deadline, groups
from dashboard.alarm_kinds import OF_SITES, OFFERED
from dashboard.alarm_state import Marks
from dashboard.assessment import Assessment
from dashboard.desk import Desk
from dashboard.display import View
from dashboard.notice_store import Attempt, Told
from dashboard.quiet import Person, people
from dashboard.words import LABELS
from dashboard.words.alarms import KIND_NAMES


@dataclass(frozen=True)
class PersonLine:
    """One who is told: quiet hours, what wakes, and whether the last try reached them."""

    name: str
    hours: str
    start: str
    end: str
    wake: tuple[str, ...]
    trouble: str


def router(desk: Desk) -> APIRouter:
    """GET /more/alarms, /more/notices."""
    routes = APIRouter()

    @routes.get("/more/alarms")
    def alarms(request: Request) -> Response:
        view = desk.view()
        return desk.page(
            request, "alarms.html", view, tab="more", groups=groups(lines(desk, view)), names=desk.shop.told
        )

    @routes.get("/more/notices")
    def notices(request: Request) -> Response:
        view = desk.view()
        return desk.page(
            request,
            "notices.html",
            view,
            tab="more",
            people=person_lines(desk, view),
            offered=[
                (kind, KIND_NAMES[kind], desk.shop.has_sites or kind not in OF_SITES) for kind in OFFERED
            ],
            told=[(view.clock(one.at), one.person, one.title, one.woke) for one in history(desk)],
            running=running(desk),
        )

    return routes


def lines(desk: Desk, view: View) -> list[AlarmLine]:
    """All alarms, the newest first."""
    marks = Marks.of(desk.shop.logbook.events())
    return [alarm_line(alarm, marks, view, _told(desk, alarm)) for alarm in desk.alarms()]


def find_alarm(desk: Desk, ident: str) -> Alarm:
    """Raises HTTPException 404."""
    found = next((alarm for alarm in desk.alarms() if alarm.id == ident), None)
    if found is None:
        raise HTTPException(404, LABELS["no_such_alarm"])
    return found


def deadline_of(desk: Desk, alarm: Alarm, now: int) -> int | None:
    """The next deadline of the panels it is about, UTC ms."""
    try:
        latest: list[Assessment] = desk.shop.watched.latest()
    except NotYet:
        latest = []
    return deadline(alarm, desk.panels(), latest, now)


def zone_of(desk: Desk) -> ZoneInfo:
    return ZoneInfo(desk.shop.time_zone)


def persons(desk: Desk) -> list[Person]:
    return list(people(desk.shop.told, desk.shop.logbook.events()).values())


def person_lines(desk: Desk, view: View) -> list[PersonLine]:
    """Everybody of the settings, with what they entered."""
    trouble = {attempt.person: attempt for attempt in troubles(desk)}
    return [_person(person, trouble.get(person.name), view) for person in persons(desk)]


def _person(person: Person, trouble: Attempt | None, view: View) -> PersonLine:
    hours = LABELS["no_quiet_hours"]
    if person.start != person.end:
        hours = LABELS["quiet_from"].format(start=person.start, end=person.end)
    why = ""
    if trouble is not None:
        why = LABELS["not_reached"].format(why=trouble.why, at=view.clock(trouble.next_at))
    return PersonLine(person.name, hours, person.start, person.end, tuple(sorted(person.wake)), why)


def troubles(desk: Desk) -> list[Attempt]:
    """Persons whom the last try did not reach."""
    try:
        return desk.shop.notices.troubles() if desk.shop.notices else []
    except NotYet:
        return []


def history(desk: Desk) -> list[Told]:
    """Messages that were taken, the newest first."""
    try:
        return desk.shop.notices.told() if desk.shop.notices else []
    except NotYet:
        return []


def running(desk: Desk) -> bool:
    """Whether notify runs: without it nobody is told."""
    return desk.shop.processes().get("notify", "running") == "running"


def _told(desk: Desk, alarm: Alarm) -> list[tuple[str, str, int]]:
    try:
        return desk.shop.notices.of_alarm(alarm.id) if desk.shop.notices else []
    except NotYet:
        return []
