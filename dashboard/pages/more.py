"""More: units and look, probes, cautions, and what nobody has tried yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request, Response

from collector.reading import ProbeFacts, Quality, Quantity, Reading, silent_after_ms
from dashboard import probe_view
from dashboard.desk import Desk
from dashboard.devices import ProbeLog
from dashboard.display import TIE, View
from dashboard.doubts import unanswered, words
from dashboard.probes import Heard
from dashboard.site_view import site_lines
from dashboard.words import LABELS, QUALITY


@dataclass(frozen=True)
class ProbeLine:
    """One probe: what it last said, how long ago, whether that is used; what is suspected, checks past due. Text."""

    id: str
    where: str
    values: tuple[str, ...]
    age: str
    late: bool
    notices: tuple[str, ...] = ()
    doubted: bool = False


def router(desk: Desk) -> APIRouter:
    """GET /more, /more/probes."""
    routes = APIRouter()

    @routes.get("/more")
    def more(request: Request) -> Response:
        closed = [panel for panel in desk.panels().values() if panel.closed]
        return desk.page(request, "more.html", desk.view(), tab="more", closed=closed)

    @routes.get("/more/probes")
    def probes(request: Request) -> Response:
        view = desk.view()
        heard = desk.heard()
        away = next((site.why for site in heard.sites if site.why), "") if heard else ""
        lines = probe_lines(heard, desk.probe_logs(), view) if heard and not away else []
        lines.sort(key=lambda line: not line.late and not line.doubted)
        troubles = desk.shop.troubles()
        return desk.page(
            request,
            "probes.html",
            view,
            tab="more",
            heard=heard,
            lines=lines,
            troubles=troubles,
            not_sent_on=desk.shop.not_sent_on(),
            sites=site_lines(heard.sites, view) if heard else [],
            away=away,
        )

    return routes


def probe_lines(heard: Heard, logs: Mapping[str, ProbeLog], view: View) -> list[ProbeLine]:
    """Every probe of the settings, heard or not; `logs` by probe."""
    newest: dict[str, list[Reading]] = {}
    for reading in heard.newest:
        newest.setdefault(reading.probe, []).append(reading)
    lines, held = [], heard.held_back(view.now)
    for probe in heard.probes:
        log = logs.get(probe.id)
        line = _probe_line(probe, newest.get(probe.id, []), log, view, probe.id in held)
        doubts = unanswered(heard.suspicions, probe.id, log.put_right if log else ())
        told = tuple(view.sentence(words(item, "doubt")) for item in doubts)
        lines.append(replace(line, notices=told + line.notices, doubted=bool(doubts)))
    return lines


def _probe_line(
    probe: ProbeFacts, heard: list[Reading], log: ProbeLog | None, view: View, held: bool
) -> ProbeLine:
    where = LABELS["probe_of"].format(place=probe.place, zone=probe.zone)
    late = tuple(probe_view.notices(log, probe_view.quantities(heard), view)) if log else ()
    if not heard:
        return ProbeLine(probe.id, where, (), LABELS["never"], True, late)
    last = max(reading.at for reading in heard)
    silent = view.now - last > silent_after_ms(probe.interval_s)
    why = LABELS["site_probe" if held else "silent"]
    age = why.format(at=view.clock(last)) if silent else view.age(last)
    order = list(Quantity)
    values = tuple(
        value(reading, log, view) for reading in sorted(heard, key=lambda item: order.index(item.quantity))
    )
    return ProbeLine(probe.id, where, values, age, silent, late)


def value(reading: Reading, log: ProbeLog | None, view: View) -> str:
    """ "temperature 5.2 °C (reads 5.6 °C)": corrected, with what it reads, and why it is not used if it is not."""
    entered = log.in_force(reading.quantity, reading.at) if log else None
    name = LABELS[f"value_{reading.quantity.value}"]
    if entered is None:
        text = f"{name} {_number(reading.quantity, reading.value, view)}"
    else:
        made, show = entered.correction, probe_view.number
        corrected = made.one(reading.value)
        text = f"{name} {show(reading.quantity, corrected, view)}"
        text += f" ({LABELS['reads'].format(value=show(reading.quantity, reading.value, view))}"
        low, high = made.reach
        text += ")" if low <= reading.value <= high else f", {LABELS['beyond']})"
    if not reading.quality.usable:
        found = [QUALITY[flag.name] for flag in Quality if flag in reading.quality and flag.name in QUALITY]
        text += f" ({LABELS['not_used'].format(why=', '.join(found))})"
    return text


def _number(quantity: Quantity, value: float, view: View) -> str:
    match quantity:
        case Quantity.TEMPERATURE:
            return view.temperature(value)
        case Quantity.RELATIVE_HUMIDITY:
            return f"{value:.0f}{TIE}%"
        case Quantity.CO2:
            return f"{value:.0f}{TIE}ppm"
