"""Before you leave: what is to be done at each panel for the night, drawn from its numbers; only what applies."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.asked import leaves_at, night_end
from dashboard.assessment import Assessment
from dashboard.display import HOUR, View
from dashboard.panel import Panel
from dashboard.tonight import closes_by, exposed, is_past, passing, too_cold
from model.resin_card import Milestone
from model.verdict import Kind, Say, State, Value

ASKED_BEFORE_MS = 4 * HOUR
STAYS_MS = 2 * HOUR
"""It stands on the round from four hours before the hour of leaving until two after it."""
COLDER_K = 1.5
"""A panel so much colder than the air lies on something that draws its warmth."""
WET = (State.IN_THE_POT, State.WORKABLE)
WITH_PLY = ("laminate", "seal", "fill", "in-mould")


@dataclass(frozen=True)
class Task:
    """What to do, verb first, and why; `kind`: its part of a key, "peel" """

    kind: str
    do: Say
    why: Say | None


@dataclass(frozen=True)
class Done:
    """A task in words; why "" where it says enough."""

    kind: str
    do: str
    why: str


@dataclass(frozen=True)
class Leaving:
    """One panel's tasks."""

    panel: str
    name: str
    tasks: tuple[Done, ...]


def leaving_of(panel: Panel, found: list[Task], view: View) -> Leaving:
    """A panel's tasks in the viewer's words."""
    said = [
        Done(task.kind, view.sentence(task.do), view.sentence(task.why) if task.why else "") for task in found
    ]
    return Leaving(panel.id, panel.name, tuple(said))


def is_evening(view: View, leave_minute: int) -> bool:
    """Whether it is time to ask."""
    left = leaves_at(view, leave_minute) - view.now
    return left <= ASKED_BEFORE_MS or left > 24 * HOUR - STAYS_MS


def tasks(panel: Panel, item: Assessment | None, view: View) -> list[Task]:
    """In the order in which they are done; item: None, or too old, if nothing is known of it."""
    if panel.closed or panel.hold is not None or not panel.coats:
        return []
    if item is None or item.is_old(view.now) or not item.is_of(panel) or item.night is None:
        return [Task("probe", Say("leave_probe"), None)]
    if item.verdict.kind is Kind.NOT_KNOWN:
        return []
    found = [
        _recoat(panel, item, view), _peel(panel, item, view), _cover(item, view), _floor(panel, item, view),
        _heat(item, view), _heater(panel),
    ]  # fmt: skip
    return [task for task in found if task is not None]


class Tasks:
    """The tasks of many panels. What they are changes with an entry, an answer and the night, not with each look."""

    def __init__(self) -> None:
        self._kept: dict[str, tuple[Panel, Assessment, int, list[Task]]] = {}

    def of(self, panel: Panel, item: Assessment | None, view: View) -> list[Task]:
        """As tasks() has them."""
        if item is None or item.is_old(view.now):
            self._kept.pop(panel.id, None)
            return tasks(panel, item, view)
        known, end = self._kept.get(panel.id), night_end(view)
        if known is None or known[0] is not panel or known[1] is not item or known[2] != end:
            known = self._kept[panel.id] = panel, item, end, tasks(panel, item, view)
        return known[3]


def _recoat(panel: Panel, item: Assessment, view: View) -> Task | None:
    """The window shuts before anybody is back, and opens before it shuts."""
    opens, shuts = passing(item, Milestone.RECOAT_FROM), passing(item, Milestone.RECOAT_UNTIL)
    if shuts is None or opens is None or is_past(shuts) or shuts.early is None or shuts.likely is None:
        return None
    done = panel.plan and panel.next_planned is None
    if done or shuts.early >= night_end(view) or opens.late is None or opens.late >= shuts.early:
        return None
    return Task(
        "recoat",
        Say("leave_recoat", {"shut_by": shuts.early}),
        Say("leave_recoat_why", {"shut_at": shuts.likely}),
    )


def _peel(panel: Panel, item: Assessment, view: View) -> Task | None:
    """While the last coat is still wet, and the film will be young when the margin closes, or nobody knows."""
    newest = panel.newest
    if newest is None or newest.peel_ply or newest.kind not in WITH_PLY or panel.next_planned is not None:
        return None
    if item.verdict.state not in WET or item.night is None:
        return None
    do = Say("leave_peel", {"coat": str(newest.number)})
    if not item.night.dew_point_C:
        return Task("peel", do, Say("leave_peel_blind"))
    return Task("peel", do, _young(item, view, "peel")) if exposed(item, view) else None


def _cover(item: Assessment, view: View) -> Task | None:
    if not exposed(item, view):
        return None
    return Task("cover", Say("leave_cover"), _young(item, view, "cover"))


def _young(item: Assessment, view: View, kind: str) -> Say:
    free, by = passing(item, Milestone.TACK_FREE), closes_by(item, view)
    values: dict[str, Value] = {"closes_by": by if by is not None else item.at}
    if free is None or free.late is None:
        return Say(f"leave_{kind}_far", values)
    return Say(f"leave_{kind}_why", {**values, "free_from": free.late})


def _floor(panel: Panel, item: Assessment, view: View) -> Task | None:
    """Only where the night matters to it, and it can be lifted."""
    if (
        panel.substrate == "floor"
        or item.panel_C is None
        or item.air_C is None
        or panel.surface_probe is None
    ):
        return None
    colder = item.air_C - item.panel_C
    if colder < COLDER_K or not (exposed(item, view) or too_cold(item, view)):
        return None
    return Task("floor", Say("leave_floor"), Say("leave_floor_why", {"colder_K": colder}))


def _heat(item: Assessment, view: View) -> Task | None:
    cold = too_cold(item, view)
    if cold is None:
        return None
    if cold.key == "too_cold_now":
        return Task("heat", Say("leave_heat"), Say("leave_heat_now"))
    return Task("heat", Say("leave_heat"), Say("leave_heat_why", cold.values))


def _heater(panel: Panel) -> Task | None:
    if panel.heated_since is None:
        return None
    return Task("heater", Say("leave_heater_off"), Say("leave_heater_why", {"since_at": panel.heated_since}))
