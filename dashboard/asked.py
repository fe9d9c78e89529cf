"""A what-if as a form, an address or a command line asks it: read, put right where it can be, and refused in words."""

from __future__ import annotations

import math
import re
from collections.abc import Container, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from dashboard.display import HOUR, MINUTE, View
from dashboard.suppose import LEAST_HOLD_C, RISES_K_H, Goal, Plan, first_minute_ahead
from dashboard.words import LABELS
from model.resin_card import Milestone
from model.what_if import RAMP_K_H

WHATS = (Milestone.SAND, Milestone.RECOAT_FROM, Milestone.TACK_FREE)
USUAL_HOLD_C = 20.0
WARMEST_C = 90.0
SHORT_MS = 2 * HOUR
"""How long somebody who is still here after hours is taken to stay."""
LATELY_MS = 6 * HOUR
LEAST_STAY_MS = 30 * MINUTE
HALF_HOUR_MIN = 30
NIGHT_ENDS_MIN = 8 * 60
BACK_MIN = 6 * 60
"""When somebody is likely to be back, minutes past midnight."""
NEXT_NIGHT_MS = 2 * HOUR
"""With less of a night than this left, the coming one is meant."""


class NotAsked(ValueError):
    """The question makes no sense; the text says what is allowed."""


@dataclass(frozen=True)
class Question:
    """A plan, a goal, and whether the least heat for that goal is asked for."""

    plan: Plan
    goal: Goal
    wants_least: bool

    @property
    def is_bare(self) -> bool:
        """Whether nothing is supposed at all."""
        return self.plan.hold_C is None and self.plan.start_ms is None and not self.wants_least


def question(
    asked: Mapping[str, str], view: View, leave_minute: int, gel_ms: int | None, cards: Container[str]
) -> Question:
    """From the fields of the form, times as "21:30" of the viewer's clock, temperatures in the viewer's unit.

    gel_ms   when the newest coat likely gels, if that lies ahead: heat is proposed from then on
    Raises NotAsked with words for the page.
    """
    asked = {key: text for key, text in asked.items() if text.strip()}
    stepped = step(asked, view, leave_minute, gel_ms)
    earliest = first_minute_ahead(view.now)
    from_ms, to_ms = hours(stepped, view, leave_minute, gel_ms)
    if to_ms <= from_ms:
        raise NotAsked(LABELS["if_short"])
    start = max(clock_time(stepped["start"], view, lately(view)), earliest) if "start" in stepped else None
    card = stepped.get("card")
    if card is not None and card not in cards:
        raise NotAsked(LABELS["if_bad_card"])
    if card is not None and start is None:
        start = earliest
    what = stepped.get("until", Milestone.SAND.value)
    if what not in [milestone.value for milestone in WHATS]:
        raise NotAsked(LABELS["if_bad_what"])
    by = clock_time(stepped["by"], view) if "by" in stepped else night_end(view)
    return Question(
        Plan(_hold(stepped, view), from_ms, to_ms, _rise(stepped, view), start, card),
        Goal(Milestone(what), by),
        stepped.get("ask") == "least",
    )


def night_end(view: View) -> int:
    """Eight in the morning after the night that is meant, UTC ms."""
    return _next(NIGHT_ENDS_MIN, view, view.now + NEXT_NIGHT_MS)


def leaves_at(view: View, leave_minute: int) -> int:
    """When the last person leaves next, UTC ms."""
    return _next(leave_minute, view, view.now)


def lately(view: View) -> int:
    """A time of day that has just gone by is today's, not tomorrow's: a page may stand open for hours. UTC ms."""
    return view.now - LATELY_MS


def hours(asked: Mapping[str, str], view: View, leave_minute: int, gel_ms: int | None) -> tuple[int, int]:
    """When the heater is on: as asked, else while somebody is here, and if it can be after the film gels."""
    earliest = first_minute_ahead(view.now)
    leave = leaves_at(view, leave_minute)
    # Not before it gels, but rather that than unattended.
    gelled = gel_ms if gel_ms is not None and gel_ms <= leave - LEAST_STAY_MS else earliest
    usual = _ceil(max(earliest, gelled), view)
    told = clock_time(asked["from"], view, lately(view)) if "from" in asked else usual
    from_ms = max(told, earliest)
    # After hours, or in the morning: somebody asks, so somebody is here.
    here = leave - from_ms if LEAST_STAY_MS <= leave - from_ms <= 12 * HOUR else SHORT_MS
    to_ms = clock_time(asked["to"], view, told) if "to" in asked else from_ms + here
    return from_ms, to_ms


def unattended(plan: Plan, view: View, leave_minute: int) -> bool:
    """Whether the heater would run after the last person has left."""
    leave = _next(leave_minute, view, plan.from_ms)
    away = (BACK_MIN - leave_minute) % (24 * 60) * MINUTE
    return plan.to_ms > leave or plan.from_ms < leave - 24 * HOUR + away


def clock_time(text: str, view: View, after: int | None = None) -> int:
    """The next moment at which the viewer's clock shows it, UTC ms; `after`: later than that. Raises NotAsked."""
    found = re.fullmatch(r"([01]?\d|2[0-3]):?([0-5]\d)", text.strip())
    if found is None:
        raise NotAsked(LABELS["if_bad_time"])
    return _next(int(found[1]) * 60 + int(found[2]), view, view.now if after is None else after)


def time_text(at: int, view: View) -> str:
    """As a time field wants it, "21:30"."""
    return view.time_field(at)[-5:]


def _next(minute: int, view: View, after: int) -> int:
    """The first moment after `after` (UTC ms) at which the viewer's clock shows so many minutes past midnight."""
    return _next_in(minute, view.zone, after)


@lru_cache(maxsize=64)
def _next_in(minute: int, zone: ZoneInfo, after: int) -> int:
    """A page asks the same for each of its panels."""
    day = datetime.fromtimestamp(after / 1000, UTC).astimezone(zone).date()
    for ahead in (0, 1, 2):
        local = datetime.combine(day + timedelta(days=ahead), datetime.min.time(), zone)
        at = round(local.replace(hour=minute // 60, minute=minute % 60).timestamp() * 1000)
        if at > after:
            return at
    raise AssertionError("a day has every minute of the clock")


def _ceil(at: int, view: View) -> int:
    """The next quarter of an hour of the viewer's clock."""
    local = datetime.fromtimestamp(at / 1000, UTC).astimezone(view.zone)
    past = (local.minute % 15) * MINUTE + local.second * 1000 + at % 1000
    return at if past == 0 else at + 15 * MINUTE - past


def _hold(asked: Mapping[str, str], view: View) -> float | None:
    if "hold" not in asked:
        return None
    low, high = (view.temperature(value, whole=True) for value in (LEAST_HOLD_C, WARMEST_C))
    wrong = LABELS["if_bad_number"].format(low=low, high=high)
    value = _number(asked["hold"], wrong)
    celsius = value if view.unit == "degC" else (value - 32.0) / 1.8
    if not LEAST_HOLD_C <= celsius <= WARMEST_C:
        raise NotAsked(wrong)
    return celsius


def _rise(asked: Mapping[str, str], view: View) -> float:
    if "rise" not in asked:
        return RAMP_K_H
    low, high = (view.difference(value, whole=True) for value in RISES_K_H)
    wrong = LABELS["if_bad_rise"].format(low=low, high=high)
    kelvin = _number(asked["rise"], wrong) / (1.8 if view.unit == "degF" else 1.0)
    # Whole degrees Fahrenheit may lie a little beyond.
    if not RISES_K_H[0] - 0.5 <= kelvin <= RISES_K_H[1] + 0.5:
        raise NotAsked(wrong)
    return min(max(kelvin, RISES_K_H[0]), RISES_K_H[1])


def _number(text: str, wrong: str) -> float:
    try:
        value = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise NotAsked(wrong)
    return value


def step(asked: Mapping[str, str], view: View, leave_minute: int, gel_ms: int | None) -> dict[str, str]:
    """The fields after one tap on − or +, as a browser without scripts sends it: step "hold:+1"."""
    fields = dict(asked)
    name, _, way = fields.pop("step", "").partition(":")
    if way not in ("+1", "-1"):
        return fields
    sign = int(way)
    if name in ("hold", "rise"):
        usual = (
            view.scale(USUAL_HOLD_C) if name == "hold" else RAMP_K_H * (1.8 if view.unit == "degF" else 1.0)
        )
        value = _number(fields[name], LABELS["if_no_number"]) + sign if name in fields else usual
        fields[name] = f"{value:g}"
    elif name in ("from", "to", "start", "by"):
        from_ms, to_ms = hours(fields, view, leave_minute, gel_ms)
        usual_ms = {"from": from_ms, "to": to_ms, "by": night_end(view)}.get(name)
        if name in fields:
            usual_ms = clock_time(fields[name], view, lately(view))
        at = _ceil(view.now, view) if usual_ms is None else usual_ms + sign * HALF_HOUR_MIN * MINUTE
        fields[name] = time_text(at, view)
    return fields
