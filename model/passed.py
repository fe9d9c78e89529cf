"""What a panel's coats have passed, seen from the safe side: small questions that every headline asks."""

from __future__ import annotations

from collections.abc import Mapping

from model.film_times import Milestone
from model.milestones import SAFE_SHARE
from model.standing import NEVER, Standing, When
from model.verdict import State

LEAST_WINDOW_MS = 20 * 60_000
"""A window whose safe ends leave less than this is no window: the thumb decides."""
UNPROVEN_COLD_H = 1.0
"""A coat that spent longer than this below its card's minimum, where nothing is claimed, is left to the thumb."""


def state_of(now: Standing) -> State:
    """How far it has come, whatever stands in the way of going on."""
    if proven(now, Milestone.CURED):
        return State.FULLY_CURED
    if proven(now, Milestone.DEMOULD):
        return State.DEMOULDABLE
    if past(now.least, Milestone.SAND):
        return State.SANDABLE
    if is_shut(now):
        return State.FIRM
    if is_open(now) and now.job.bonds:
        return State.RECOATABLE
    return State.WORKABLE if is_workable(now) else State.SETTING


def when(passings: Mapping[str, When], milestone: Milestone) -> When:
    """When it is passed."""
    return passings.get(milestone.value, NEVER)


def past(passings: Mapping[str, When], milestone: Milestone) -> bool:
    """Passed, seen from the safe side."""
    return when(passings, milestone).passed >= SAFE_SHARE[milestone]


def is_workable(now: Standing) -> bool:
    """Still liquid enough to be worked; also where its end lies beyond the outlook."""
    work_by = when(now.newest, Milestone.WORKING).early
    return work_by is None or now.at < work_by


def is_open(now: Standing) -> bool:
    """The recoat window has opened."""
    return past(now.newest, Milestone.RECOAT_FROM)


def is_shut(now: Standing) -> bool:
    """The window counts as shut at its early end, or, where that leaves no window, at its middle."""
    if no_safe_window(now):
        return when(now.newest, Milestone.RECOAT_UNTIL).passed >= 0.5
    return past(now.newest, Milestone.RECOAT_UNTIL)


def thumb_decides(now: Standing) -> bool:
    """No clock can say when to recoat: the ends overlap, or too much of the time lies where the card claims nothing."""
    likely_open = when(now.newest, Milestone.RECOAT_FROM).passed >= 0.5
    return likely_open and (no_safe_window(now) or now.cold_h > UNPROVEN_COLD_H)


def no_safe_window(now: Standing) -> bool:
    """The safe ends of the recoat window overlap."""
    opens, shuts = when(now.newest, Milestone.RECOAT_FROM), when(now.newest, Milestone.RECOAT_UNTIL)
    if shuts.early is None:
        return False
    return opens.late is None or opens.late + LEAST_WINDOW_MS > shuts.early


def washable(now: Standing) -> bool:
    """A tacky film cannot be washed."""
    return is_shut(now) or past(now.newest, Milestone.TACK_FREE)


def proven(now: Standing, milestone: Milestone) -> bool:
    """Past it with all that demoulding asks for; what an invented card or a cold, glassy film says is no proof."""
    shown = now.proven and (now.proven_cured or milestone is not Milestone.CURED)
    allowed = shown and now.cap is None and now.glassy is None
    return allowed and past(now.least, Milestone.DEMOULD) and past(now.least, milestone)
