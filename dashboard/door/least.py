"""What each route asks for at least. A route that stands in no line is refused to everybody who had to sign in.

One table for the whole house, so that it can be read in one go: who may do what. A test compares it with the
application's routes, both ways.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from starlette.routing import compile_path

from dashboard.door.visitor import Role

NOWHERE = "/-/nowhere"
"""A path that no route has: what is refused or missing is answered by the page for that."""


@dataclass(frozen=True)
class Least:
    """role; scope: a token with it may, too; signed: whoever does it gives a PIN for it; told: taken down though it
    only reads."""

    role: Role
    scope: str | None = None
    signed: bool = False
    told: bool = False


@dataclass(frozen=True)
class _Line:
    method: str
    path: str
    least: Least
    pattern: re.Pattern[str]


_LOOK = Least(Role.LOOK)
_READ = Least(Role.LOOK, "read")
_EXPORT = Least(Role.LOOK, "read", told=True)
_TAP = Least(Role.WORK, "taps")
_WORK = Least(Role.WORK)
_MANAGE = Least(Role.MANAGE)
_ANYONE = Least(Role.ANYONE)

TABLE: dict[str, Least] = {
    # Pages
    "GET /": _LOOK,
    "GET /round/sheet": _LOOK,
    "GET /mix": _LOOK,
    "GET /mix/pots": _LOOK,
    "GET /tonight": _LOOK,
    "GET /tonight/{panel_id}": _LOOK,
    "GET /more": _LOOK,
    "GET /more/alarms": _LOOK,
    "GET /more/notices": _LOOK,
    "GET /more/people": _LOOK,
    "GET /more/probes": _LOOK,
    "GET /more/probes/{probe_id}": _LOOK,
    "GET /more/probes/{probe_id}/check": _LOOK,
    "GET /more/probes/{probe_id}/correct": _LOOK,
    "GET /more/probes/{probe_id}/device": _LOOK,
    "GET /more/settings": _LOOK,
    "GET /labels": _LOOK,
    "GET /p": _LOOK,
    "GET /p/{code}": _LOOK,
    "GET /help": _LOOK,
    "GET /help/glossary": _LOOK,
    "GET /help/pictures/{name}": _LOOK,
    "GET /help/{name}": _LOOK,
    "GET /not-kept": _LOOK,
    "GET /worker.js": _ANYONE,
    "GET /panels/new": _WORK,
    "GET /panels/{panel_id}": _LOOK,
    "GET /panels/{panel_id}/coat": _WORK,
    "GET /panels/{panel_id}/demould": _LOOK,
    "GET /panels/{panel_id}/label": _LOOK,
    "GET /panels/{panel_id}/log/{entry_id}": _WORK,
    "GET /panels/{panel_id}/more": _WORK,
    "GET /panels/{panel_id}/photos/{digest}": _LOOK,
    "GET /panels/{panel_id}/pot": _LOOK,
    "GET /panels/{panel_id}/record": _LOOK,
    "GET /panels/{panel_id}/record.css": _LOOK,
    "GET /panels/{panel_id}/sign-off": _LOOK,
    "GET /panels/{panel_id}/thumb": _WORK,
    "GET /static/{version}/{name:path}": _ANYONE,
    # Read by programs
    "GET /api/alarms": _READ,
    "GET /api/changes": _READ,
    "GET /api/events": _EXPORT,
    "GET /api/health": _ANYONE,
    "GET /api/labels": _READ,
    "GET /api/mix": _READ,
    "GET /api/mix/pots": _READ,
    "GET /api/notices": _READ,
    "GET /api/panels": _READ,
    "GET /api/panels/{panel_id}": _READ,
    "GET /api/panels/{panel_id}/chart": _READ,
    "GET /api/panels/{panel_id}/evidence": _READ,
    "GET /api/panels/{panel_id}/pot": _READ,
    "GET /api/panels/{panel_id}/record": _EXPORT,
    "GET /api/panels/{panel_id}/record.csv": _EXPORT,
    "GET /api/panels/{panel_id}/tonight": _READ,
    "GET /api/panels/{panel_id}/tonight/if": _READ,
    "GET /api/probes": _READ,
    "GET /api/probes/{probe_id}": _READ,
    "GET /api/probes/{probe_id}/check": _READ,
    "GET /api/round": _READ,
    "GET /api/tonight": _READ,
    # Log
    "POST /api/events": _TAP,
    "POST /api/panels": _TAP,
    "POST /api/panels/{panel_id}/photos/{entry}": _TAP,
    "POST /api/alarms/quiet": _TAP,
    "POST /api/alarms/unquiet": _TAP,
    "POST /api/panels/{panel_id}/decisions": Least(Role.WORK, signed=True),
    "POST /api/alarms/service": _MANAGE,
    "POST /api/notices/quiet-hours": _MANAGE,
    "POST /api/notices/test": _MANAGE,
    "POST /api/probes/{probe_id}/check": _MANAGE,
    "POST /api/probes/{probe_id}/correction": _MANAGE,
    "POST /api/probes/{probe_id}/device": _MANAGE,
    # The door itself
    "GET /door": _ANYONE,
    "GET /door/keys": _MANAGE,
    "GET /door/me": _LOOK,
    "GET /door/trail": _MANAGE,
    "GET /door/trail.csv": Least(Role.MANAGE, told=True),
    "POST /door/in": _ANYONE,
    "POST /door/first": _ANYONE,
    "POST /door/out": _LOOK,
    "POST /door/sign": _LOOK,
    "POST /door/me/password": _LOOK,
    "POST /door/me/pin": _LOOK,
    "POST /door/phone": _MANAGE,
    "POST /door/accounts": _MANAGE,
    "POST /door/accounts/role": _MANAGE,
    "POST /door/accounts/password": _MANAGE,
    "POST /door/accounts/pin": _MANAGE,
    "POST /door/accounts/remove": _MANAGE,
    "POST /door/sessions/end": _MANAGE,
    "POST /door/tokens": _MANAGE,
    "POST /door/tokens/revoke": _MANAGE,
}


def _lines() -> list[_Line]:
    """Those with the fewest places to fill in first, as the application's own order has it."""
    made = []
    for key, least in TABLE.items():
        method, path = key.split(" ", 1)
        made.append(_Line(method, path, least, compile_path(path)[0]))
    return sorted(made, key=lambda line: line.path.count("{"))


_LINES = _lines()


@lru_cache(maxsize=256)
def least_of(method: str, path: str) -> tuple[str, Least] | None:
    """The line's own path and what it asks for; None: in no line."""
    wanted = "GET" if method == "HEAD" else method
    for line in _LINES:
        if line.method == wanted and line.pattern.match(path):
            return line.path, line.least
    return None


@lru_cache(maxsize=256)
def methods_at(path: str) -> tuple[str, ...]:
    """What may be asked of a path, for the header Allow (RFC 9110, 15.5.6); empty if no line has it."""
    found = {line.method for line in _LINES if line.pattern.match(path)}
    return tuple(sorted(found | {"HEAD"} if "GET" in found else found))
