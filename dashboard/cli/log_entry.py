"""How a command takes an entry down: it asks serve, the one writer of shop.db, on loopback, or writes the file."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from collector.reading import Quantity
from collector.settings import Settings
from collector.store.schema import Locked, NotYet
from dashboard.cards import CardShelf
from dashboard.cli.doors import base_of, headers_for, in_words
from dashboard.cli.errors import CommandError
from dashboard.cli.house import decisions, house_clock
from dashboard.cli.read_from import readings_of
from dashboard.cli.times import iso
from dashboard.correction import UNIT
from dashboard.display import View
from dashboard.entry_check import check
from dashboard.entry_times import EntryTimes
from dashboard.felt import weigh
from dashboard.fold import fold
from dashboard.live import Live
from dashboard.logbook import Logbook
from dashboard.panel import Event
from dashboard.picture import Picture
from dashboard.words.thumb import MOVED


def log_entry(settings: Settings, event: Event, picture: Picture | None = None) -> str:
    """Takes it down; returns what to tell. Raises CommandError or LogbookError if it is refused.

    picture   what an entry of kind "photo" names
    """
    try:
        cards, times = CardShelf(settings.folder / "cards").names, EntryTimes(settings.readings_db)
        beside = decisions(settings, house_clock(settings)).beside
        logbook = Logbook(settings.shop_db, cards, times, beside).open()
    except Locked:
        return _ask_serve(settings, event, picture)
    try:
        event, moved = _weighed(settings, event, logbook)
        logbook.append(event, picture)
    finally:
        logbook.close()
    what = event.panel or event.body.get("probe") or event.body.get("event")
    return _with(f"logged: {event.kind}, {what}, {iso(event.at)}", moved)


def _weighed(settings: Settings, event: Event, logbook: Logbook) -> tuple[Event, str]:
    """A thumb test as it is to be taken down, and how the estimate moves with it; any other entry as it is."""
    if event.kind not in ("thumb test", "thumb sure"):
        return event, ""
    events = logbook.events()
    panels, now = fold(events), event.recorded
    check(event, panels, events, None)
    try:
        facts = Live(readings_of(settings), logbook, CardShelf(settings.folder / "cards").get).facts(
            panels[event.panel or ""], now
        )
    except NotYet:
        facts = None
    view = View.chosen(logbook.preference, ZoneInfo(settings.time_zone), now)
    told = weigh(facts, event, now, view)
    return told.event, told.moved.said


def _with(text: str, moved: str) -> str:
    """With how the estimate moved. Where it asks, the command that answers is named."""
    if moved == MOVED["unsure"]:
        moved += " Then: coldshed panel sure NAME"
    return f"{text}. {moved}" if moved else text


def _ask_serve(settings: Settings, event: Event, picture: Picture | None) -> str:
    base = base_of(settings)
    path, body = _request(event)
    kind, content = "application/json", json.dumps(body).encode()
    if picture is not None:
        path = f"/api/panels/{event.panel}/photos/{event.id}?who={quote(event.who, safe='')}"
        kind, content = picture.type, picture.content
    headers = {"Content-Type": kind, "Origin": base, **headers_for(settings)}
    request = urllib.request.Request(base + path, content, headers, method="POST")
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(request, timeout=10) as answer:
            told = json.load(answer)
            return _with(
                f"logged by serve: {told.get('said', event.kind)}", told.get("moved", {}).get("said", "")
            )
    except urllib.error.HTTPError as error:
        raise CommandError(f"serve refuses it: {in_words(error.read())}") from error
    except OSError as error:
        raise CommandError(
            f"shop.db is being written, but serve does not answer on {base}: {error}"
        ) from error


def _request(event: Event) -> tuple[str, dict[str, Any]]:
    """The same entry as serve's API takes it."""
    said: dict[str, Any] = {"id": event.id, "who": event.who}
    body = dict(event.body)
    probe = f"/api/probes/{quote(str(body.get('probe', '')), safe='')}"
    match event.kind:
        case "panel registered":
            return "/api/panels", said | body
        case "device replaced":
            return f"{probe}/device", said | {"serial": body["serial"], "since": event.at}
        case "correction entered":
            unit = UNIT[Quantity(body["quantity"])]
            del body["probe"]
            return f"{probe}/correction", said | body | {"unit": unit, "since": event.at}
        case "probe checked":
            kept = {name: body[name] for name in ("against", "since", "stage", "due_at")}
            return f"{probe}/check", said | kept | {"at": event.at}
        case "decided":
            return f"/api/panels/{event.panel}/decisions", said | {"act": body["act"]}
        case "alarm seen":
            return "/api/events", said | {"kind": event.kind} | body
        case "alarm shelved":
            minutes = max(1, (body["until"] - event.at) // 60_000)
            return "/api/alarms/quiet", said | {
                "alarm": body["alarm"],
                "minutes": minutes,
                "reason": body["reason"],
            }
        case "alarm unshelved":
            return "/api/alarms/unquiet", said | body
        case "out of service" | "in service":
            return "/api/alarms/service", said | body | {"off": event.kind == "out of service"}
        case "withdrawn":
            return "/api/events", said | {"kind": event.kind, "panel": event.panel} | body
    said |= {"kind": event.kind, "panel": event.panel, "at": event.at}
    return "/api/events", said | ({"body": body} if body else {})
