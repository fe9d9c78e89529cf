"""The sentences that stand beside a headline: why, and what comes next. Times UTC ms."""

from __future__ import annotations

from model.standing import FilmNow, Glassy, Standing, Stopped, When
from model.verdict import Say, Value

MARGIN_K = 3.0
"""ISO 8502-4's margin over the dew point, as cited by the trade."""
SHOWN_MARGIN_H = 0.5
NUMBER_K = 1.0
"""A softening temperature nearer than this to the panel's own tells nothing: it softens as soon as it warms."""


def film_why(film: FilmNow) -> tuple[Say, ...]:
    """What the young film met; nothing if nothing was measured that matters."""
    if film.level is None:
        return () if film.measured else (Say("why_film_not_measured"),)
    if film.felt_at is not None:
        return (Say("why_wash_felt", {"felt_at": film.felt_at}),)
    if film.level == "wet" and film.wet_at is not None and film.dry_at is not None:
        under = max(film.under_K, 0.0)
        return (Say("why_wash_wet", {"under_K": under, "wet_at": film.wet_at, "dry_at": film.dry_at}),)
    if film.missing_h > film.exposed_h / 2:
        return (Say("why_wash_gap", {"missing_h": film.missing_h}),)
    if film.margin_h >= SHOWN_MARGIN_H:
        return (Say("why_wash_margin", {"margin_K": MARGIN_K, "exposed_h": film.margin_h}),)
    return (Say("why_wash_some", {"exposed_h": film.exposed_h}),)


def cold_why(now: Standing, stopped: Stopped) -> Say:
    """Below the card's minimum, since when if it is known, or too far away at this temperature."""
    values: dict[str, Value] = {"panel_C": now.panel_C, "minimum_C": now.minimum_C}
    if now.since_cold is not None:
        return Say("why_stopped_by_cold", {**values, "since_at": now.since_cold})
    if now.panel_C < now.minimum_C:
        return Say("why_stopped_below_card", values)
    return Say("why_stopped_far", {"panel_C": now.panel_C, "do": stopped.do})


def glassy_why(now: Standing, glassy: Glassy) -> Say:
    """That it softens, and from where."""
    if glassy.soften_C <= now.panel_C + NUMBER_K:
        return Say("why_soft_when_warm", {"panel_C": now.panel_C})
    return Say("why_hard_not_cured", {"panel_C": now.panel_C, "soften_C": glassy.soften_C})


def sand_next(sand: When, at: int) -> Say:
    """When sanding is likely; once that has passed, when it is at the latest: the headline waits for the slow end."""
    if sand.likely is not None and sand.likely > at:
        return Say("next_sand", {"sand_at": sand.likely})
    if sand.late is not None and sand.late > at:
        return Say("next_sand_late", {"sand_from": sand.late})
    return Say("next_far", {"do": "sand"})


def ahead(when: When, at: int) -> int | None:
    """The likely time if it is still to come, else the late end if that is, else None."""
    return next((time for time in (when.likely, when.late) if time is not None and time > at), None)
