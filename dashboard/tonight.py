"""Tonight in words: the coldest hour, the margin, when each thing may be done, and what a what-if would change."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dashboard.asked import Question, night_end, unattended
from dashboard.assessment import Assessment, Night, Passing
from dashboard.display import HOUR, MINUTE, View
from dashboard.panel import Panel
from dashboard.suppose import IfSo, Least, warmest
from model.milestones import SAFE_SHARE
from model.milestones import Passing as Found
from model.resin_card import CLOSING, Milestone
from model.verdict import Kind, Say, Value

if TYPE_CHECKING:
    from dashboard.supposing import Reply

HOUR_QUARTERS = 4
NIGHT_MS = 14 * HOUR
"""From six in the evening to eight in the morning."""
SAME_MS = 5 * MINUTE
REACHED_K = 0.5
SHORT = {
    Milestone.TACK_FREE: "free",
    Milestone.RECOAT_FROM: "opens",
    Milestone.RECOAT_UNTIL: "shuts",
    Milestone.SAND: "sand",
    Milestone.PEEL_PLY_OFF: "peel",
    Milestone.CLAMPS_OFF: "clamp",
}
"""The milestones of these pages, by the part of a key that says them."""
NAMES = {"free": "free", "opens": "open", "shuts": "shut", "sand": "sand", "peel": "peel", "clamp": "clamp"}
_SHARES = {milestone.value: share for milestone, share in SAFE_SHARE.items()}
SET_BY = {"card": "capped_card", "substrate": "capped_substrate", "film": "capped_film"}


@dataclass(frozen=True)
class Coldest:
    """The coldest hour of the night: UTC ms and means, degC."""

    begin: int
    end: int
    likely_C: float
    low_C: float
    high_C: float

    @property
    def middle(self) -> int:
        return (self.begin + self.end) // 2


def coldest(night: Night, view: View) -> Coldest | None:
    """Of the night's hours that are left; None if none are."""
    end = night_end(view)
    best: Coldest | None = None
    for first in range(len(night.t) - HOUR_QUARTERS + 1):
        begin, last = night.t[first], night.t[first] + HOUR
        if last > end or last <= view.now or begin < end - NIGHT_MS:
            continue
        quarters = slice(first, first + HOUR_QUARTERS)
        low, likely, high = (
            sum(of[quarters]) / HOUR_QUARTERS for of in (night.low_C, night.likely_C, night.high_C)
        )
        if best is None or likely < best.likely_C:
            best = Coldest(begin, last, likely, low, high)
    return best


def too_cold(item: Assessment, view: View) -> Say | None:
    """Whether the cure will stop in the night that comes, before the panel can be sanded; None: not likely."""
    night = item.night
    if night is None or not item.coats or night.cold_at is None or night.cold_at >= night_end(view):
        return None
    if item.verdict.kind is Kind.NOT_KNOWN:
        return None
    sand = passing(item, Milestone.SAND)
    if sand is None or sand.passed >= SAFE_SHARE[Milestone.SAND]:
        return None
    if sand.late is not None and sand.late <= night.cold_at:
        return None
    if night.cold_at <= item.at:
        return Say("too_cold_now")
    return Say("too_cold_tonight", {"cold_at": night.cold_at})


def passing(item: Assessment, milestone: Milestone) -> Passing | None:
    return item.by_name.get(milestone.value)


def is_past(one: Passing | None) -> bool:
    return one is not None and one.passed >= _SHARES[one.name]


def closes_by(item: Assessment, view: View) -> int | None:
    """When the margin could close at the earliest in the night that comes, UTC ms; None: not, or not known."""
    night = item.night
    if night is None or night.closes_by is None or night.closes_by >= night_end(view):
        return None
    return night.closes_by


def exposed(item: Assessment, view: View) -> bool:
    """Whether the film may still be young when the margin closes."""
    by, free = closes_by(item, view), passing(item, Milestone.TACK_FREE)
    if by is None or free is None or is_past(free):
        return False
    return free.late is None or free.late > by


def headline(item: Assessment, view: View) -> Say | None:
    """What matters most of the night; None where there is no outlook."""
    cold = too_cold(item, view)
    if cold is not None:
        return cold
    found = coldest(item.night, view) if item.night is not None else None
    if found is None:
        return None
    return Say("coldest", {"middle_at": found.middle, "likely_C": found.likely_C})


def night_lines(panel: Panel, item: Assessment, view: View) -> list[Say]:
    """The night itself: its coldest hour, and how the margin does."""
    night = item.night
    if night is None:
        return []
    found, said = coldest(night, view), []
    cold = too_cold(item, view) is not None
    if found is not None:
        span: dict[str, Value] = {"low_C": found.low_C, "high_C": found.high_C}
        if cold:
            said.append(Say("coldest_hour", {"middle_at": found.middle, "likely_C": found.likely_C}))
        said.append(Say("coldest_range", span))
    if (
        item.minimum_C is not None
        and item.coats
        and (night.cold_at is None or night.cold_at >= night_end(view))
    ):
        said.append(Say("stays_warm", {"minimum_C": item.minimum_C}))
    elif item.minimum_C is not None and night.cold_at is not None and night.cold_at > item.at and not cold:
        said.append(Say("too_cold_why", {"minimum_C": item.minimum_C, "cold_at": night.cold_at}))
    said.append(_margin(item, night, view))
    if panel.heated_since is not None:
        said.append(Say("heated_now", {"since_at": panel.heated_since}))
    return said


def _margin(item: Assessment, night: Night, view: View) -> Say:
    if not night.dew_point_C:
        return Say("margin_not_known")
    limit: dict[str, Value] = {"margin_K": night.margin_K}
    by, end = closes_by(item, view), night_end(view)
    if by is None:
        return Say("margin_stays", limit)
    if night.closes_at is None or night.closes_at >= end:
        return Say("margin_may_close", {**limit, "closes_by": by})
    if night.closes_at <= item.at:
        return Say("margin_under", limit)
    return Say("margin_closes", {**limit, "closes_by": by, "closes_at": night.closes_at})


def shown(panel: Panel) -> list[Milestone]:
    """What there is to wait for: ply and clamps only where they hold the newest coat."""
    newest, hidden = panel.newest, set()
    if newest is None or not newest.peel_ply or newest.peel_ply_off_at is not None:
        hidden.add(Milestone.PEEL_PLY_OFF)
    off = panel.clamps_off_at
    if newest is None or newest.kind != "glue line" or (off is not None and off >= newest.mixed_at):
        hidden.add(Milestone.CLAMPS_OFF)
    return [milestone for milestone in SHORT if milestone not in hidden]


def time_lines(panel: Panel, item: Assessment, view: View) -> list[Say]:
    """Whether the film is tack-free before the margin closes, and when each thing may be done, from the safe side."""
    found = [_when(item, milestone) for milestone in shown(panel)]
    said = [one for one in found if one is not None]
    free = passing(item, Milestone.TACK_FREE)
    if free is None or is_past(free) or closes_by(item, view) is None:
        return said
    return [Say("free_too_late" if exposed(item, view) else "free_in_time"), *said]


def _when(item: Assessment, milestone: Milestone) -> Say | None:
    one, short = passing(item, milestone), SHORT[milestone]
    if one is None:
        return None
    if is_past(one):
        if short == "shuts" and one.likely is not None and one.likely > item.at:
            return Say("shuts_unsure", {"shut_at": one.likely})
        shut = is_past(passing(item, Milestone.RECOAT_UNTIL))
        told = short in ("shuts", "sand") or (short in ("free", "opens") and not shut)
        return Say(f"{short}_past") if told else None
    name = NAMES[short]
    safe = one.early if milestone in CLOSING else one.late
    if safe is None or one.likely is None:
        return None if milestone in CLOSING else Say(f"{short}_far")
    limit = "by" if milestone in CLOSING else "from"
    when = "slow" if one.likely <= item.at else "not_yet"
    return Say(f"{short}_{when}", {f"{name}_{limit}": safe, f"{name}_at": one.likely})


def zone_lines(items: Iterable[tuple[str, Assessment]], view: View) -> list[Say]:
    """The shop's night: of each zone the coldest hour of its coldest panel."""
    zones: dict[str, Coldest] = {}
    for zone, item in items:
        found = coldest(item.night, view) if item.night is not None else None
        if found is not None and (zone not in zones or found.likely_C < zones[zone].likely_C):
            zones[zone] = found
    return [
        Say(
            "zone_coldest",
            {
                "zone": zone, "middle_at": of.middle, "likely_C": of.likely_C,
                "low_C": of.low_C, "high_C": of.high_C,
            },
        )
        for zone, of in sorted(zones.items())
    ]  # fmt: skip


def changes(found: IfSo, goal: Milestone) -> list[Say]:
    """What would be otherwise, the goal first; what lies behind already is left out."""
    order = [goal, *(milestone for milestone in SHORT if milestone is not goal)]
    order = [milestone for milestone in order if milestone in found.now]
    said = [_change(milestone, found.now[milestone], found.then[milestone]) for milestone in order]
    return [one for one in said if one is not None]


def _change(milestone: Milestone, now: Found, then: Found) -> Say | None:
    if now.is_past:
        return None
    short, limit = SHORT[milestone], "by" if milestone in CLOSING else "from"
    if now.safe is None and then.safe is None:
        return Say(f"none_{short}")
    if now.safe is None:
        return Say(f"gain_{short}", {f"then_{limit}": then.safe or 0})
    if then.safe is None:
        return Say(f"lose_{short}", {f"now_{limit}": now.safe})
    if abs(then.safe - now.safe) < SAME_MS:
        return Say(f"same_{short}", {f"now_{limit}": now.safe})
    return Say(f"shift_{short}", {f"then_{limit}": then.safe, f"now_{limit}": now.safe})


def least_lines(reply: Reply) -> list[Say]:
    """The answer to "least heat by then": a headline, and what follows from it."""
    least, asked = reply.least, reply.question
    if least is None:
        return []
    by: dict[str, Value] = {"by_at": asked.goal.by_ms}
    span: dict[str, Value] = {"begin_at": asked.plan.from_ms, "end_at": asked.plan.to_ms}
    if least.not_needed:
        return [Say("done_already") if least.passed else Say("no_heat_needed", by)]
    if least.hold_C is not None:
        return [Say("heat_to", {**span, "hold_C": float(least.hold_C)})]
    return [Say("not_by", by), _best(least, asked, span), *_longer(least, asked, reply.if_so)]


def _best(least: Least, asked: Question, span: dict[str, Value]) -> Say:
    held: dict[str, Value] = {**span, "hold_C": least.best_C or 0.0}
    if least.best_ms is None:
        return Say("best_none", held)
    short = SHORT[asked.goal.milestone]
    return Say(f"best_{short}", {**held, f"{NAMES[short]}_from": least.best_ms})


def _longer(least: Least, asked: Question, found: IfSo | None) -> list[Say]:
    if asked.plan.to_ms >= asked.goal.by_ms or found is None:
        return []
    until: dict[str, Value] = {"end_at": asked.goal.by_ms}
    if least.longer_C is None:
        return [Say("not_all_night", {**until, "hold_C": float(int(found.cap.hold_C))})]
    return [Say("all_night", {**until, "hold_C": float(least.longer_C)})]


def heed(reply: Reply, wished_C: float | None, view: View, leave_minute: int) -> tuple[list[Say], list[str]]:
    """What to heed if it is done: sentences, and keys of cautions. wished_C: the heat as it was asked for."""
    found, plan = reply.if_so, reply.question.plan
    if found is None:
        return [], []
    said = []
    if found.card:
        start = plan.start_ms if plan.start_ms is not None else found.begins_ms
        said.append(Say("new_coat", {"card": found.card, "start_at": start, "base": found.base}))
    longer = reply.least is not None and reply.least.longer_C is not None
    if found.hold_C is None:
        return said, []
    if (wished_C is not None and wished_C > found.cap.hold_C) or found.hold_C >= int(found.cap.hold_C):
        said.append(Say(SET_BY[found.cap.set_by], {"maximum_C": found.cap.hold_C}))
    peak = warmest(found, plan.from_ms, plan.to_ms)
    if peak < found.hold_C - REACHED_K:
        said.append(Say("heat_peak", {"peak_C": peak, "end_at": plan.to_ms}))
    if found.gel_ms is not None:
        said.append(Say("heat_before_gel", {"gel_at": found.gel_ms}))
    alone = longer or unattended(plan, view, leave_minute)
    return said, (["heater"] if alone else []) + ["burner"]


def gels_at(item: Assessment | None) -> int | None:
    """When the newest coat likely gels, if that lies ahead, UTC ms."""
    opens = passing(item, Milestone.RECOAT_FROM) if item is not None else None
    return None if opens is None or is_past(opens) else opens.likely
