"""More: units and look, alarms, probes, cautions, and what nobody has tried yet."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from collector.reading import ProbeFacts, Quality, Quantity, Reading
from dashboard.desk import Desk
from dashboard.display import TIE, View
from dashboard.probes import Heard
from dashboard.watch_store import Alarm
from dashboard.words import LABELS, QUALITY


@dataclass(frozen=True)
class AlarmLine:
    """One alarm as text."""

    id: str
    text: str
    when: str
    seen: str
    panel: str | None


@dataclass(frozen=True)
class ProbeLine:
    """One probe: what it last said, how long ago, and whether that is used. Times as text."""

    id: str
    where: str
    values: tuple[str, ...]
    age: str
    late: bool


def router(desk: Desk) -> APIRouter:
    """GET /more, /more/alarms, /more/probes."""
    routes = APIRouter()

    @routes.get("/more")
    def more(request: Request) -> Response:
        closed = [panel for panel in desk.panels().values() if panel.closed]
        return desk.page(request, "more.html", desk.view(), tab="more", closed=closed)

    @routes.get("/more/alarms")
    def alarms(request: Request) -> Response:
        view = desk.view()
        lines = [alarm_line(alarm, view) for alarm in desk.alarms()]
        return desk.page(request, "alarms.html", view, tab="more", lines=lines)

    @routes.get("/more/probes")
    def probes(request: Request) -> Response:
        view = desk.view()
        heard = desk.heard()
        lines = probe_lines(heard, view) if heard else []
        troubles = desk.shop.troubles()
        return desk.page(
            request, "probes.html", view, tab="more", heard=heard, lines=lines, troubles=troubles
        )

    return routes


def alarm_line(alarm: Alarm, view: View) -> AlarmLine:
    """An alarm's sentence, since when, whether it lasts, and who saw it."""
    over = alarm.returned_at
    lasts = LABELS["alarm_lasts"] if over is None else LABELS["alarm_gone"].format(at=view.clock(over))
    seen = ""
    if alarm.seen_at is not None:
        seen = LABELS["alarm_seen"].format(
            at=view.clock(alarm.seen_at), who=alarm.seen_by or LABELS["nobody"]
        )
    when = f"{LABELS['raised'].format(at=view.clock(alarm.raised_at))}, {lasts}"
    return AlarmLine(alarm.id, view.sentence(alarm.say), when, seen, alarm.panel)


def probe_lines(heard: Heard, view: View) -> list[ProbeLine]:
    """Every probe of the settings, heard or not."""
    newest: dict[str, list[Reading]] = {}
    for reading in heard.newest:
        newest.setdefault(reading.probe, []).append(reading)
    return [_probe_line(probe, newest.get(probe.id, []), view) for probe in heard.probes]


def _probe_line(probe: ProbeFacts, heard: list[Reading], view: View) -> ProbeLine:
    where = LABELS["probe_of"].format(place=probe.place, zone=probe.zone)
    if not heard:
        return ProbeLine(probe.id, where, (), LABELS["never"], True)
    last = max(reading.at for reading in heard)
    silent = view.now - last > 3 * probe.interval_s * 1000
    age = LABELS["silent"].format(at=view.clock(last)) if silent else view.age(last)
    order = list(Quantity)
    values = tuple(
        value(reading, view) for reading in sorted(heard, key=lambda item: order.index(item.quantity))
    )
    return ProbeLine(probe.id, where, values, age, silent)


def value(reading: Reading, view: View) -> str:
    """ "temperature 5.2 °C", with why it is not used if it is not."""
    match reading.quantity:
        case Quantity.TEMPERATURE:
            number = view.temperature(reading.value)
        case Quantity.RELATIVE_HUMIDITY:
            number = f"{reading.value:.0f}{TIE}%"
        case Quantity.CO2:
            number = f"{reading.value:.0f}{TIE}ppm"
    text = f"{LABELS[f'value_{reading.quantity.value}']} {number}"
    if not reading.quality.usable:
        found = [QUALITY[flag.name] for flag in Quality if flag in reading.quality and flag.name in QUALITY]
        text += f" ({LABELS['not_used'].format(why=', '.join(found))})"
    return text
