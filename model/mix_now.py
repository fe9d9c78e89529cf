"""Mix now, mix if, or not yet: what the numbers of the moment say, each reason with its value and its limit."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from model.what_if import LatestMixing
from model.wood import MOISTURE_CAUTION_PC, MOISTURE_NO_PC, RISE_CAUTION_K, RISE_NO_K, Advice, moisture_advice

START_MARGIN_K = 4.0
"""Asked to start, a degree more than ISO 8502-4's 3 K (as cited by the trade)."""
LEAST_MARGIN_K = 3.0
CEILING_RH_PC = 85.0
"""At the surface (common practice, no source)."""
BOTTLES_C = (20.0, 25.0)
"""Where resin and hardener mix and wet out as their sheets say (common practice, no source)."""


class Answer(StrEnum):
    """To the question whether to mix a pot."""

    MIX_NOW = "mix now"
    MIX_IF = "mix if"
    NOT_YET = "not yet"


class Topic(StrEnum):
    """What a reason is about; the unit of its value and limit."""

    PANEL_COLD = "panel below the card's minimum, degC"
    PANEL_HOT = "panel above the card's maximum, degC"
    COLD_AHEAD = "panel will be below the card's minimum before tack-free, degC"
    MARGIN = "margin over the dew point, K"
    SURFACE_RH = "relative humidity at the surface, %"
    NO_HUMIDITY = "dew point not known"
    TOO_LATE = "tack-free comes after the margin closes, UTC ms"
    BURNER = "heat and moisture jumped together, UTC ms"
    BOTTLES = "temperature of the bottles, degC"
    CLOUDY = "resin grainy or cloudy"
    CRUSTED = "hardener crusted or long open"
    WOOD_MOISTURE = "moisture of bare wood, %"
    WOOD_WARMS = "bare wood warms before gel, K"


@dataclass(frozen=True)
class Reason:
    """Why not simply "mix now": the value found and the limit it misses (None where there is no number).

    stops   True: not yet; False: only if somebody sees to it
    """

    topic: Topic
    value: float | None
    limit: float | None
    stops: bool


@dataclass(frozen=True)
class Conditions:
    """The moment, and the coming hours as forecast. None: not known, or not asked for.

    panel_C, coldest_C   the panel now, and its coldest minute until a film mixed now is tack-free, degC
    minimum_C, maximum_C  the card's, degC
    margin_K, surface_rh_pc   panel less dew point, K, and humidity at its surface, %; both None without humidity
    bottles_C            temperature of resin and hardener, degC
    cloudy, crusted      somebody saw the resin grainy or cloudy, the hardener crusted or long open
    wood_moisture_pc, wood_rise_K   of bare wood: moisture, % of dry mass; largest warming until gel, K
    burnt_ms             when something burned without a flue, UTC ms
    now_ms, latest       now, UTC ms, and the latest mixing time tonight
    """

    now_ms: int
    panel_C: float
    minimum_C: float
    maximum_C: float
    coldest_C: float | None = None
    margin_K: float | None = None
    surface_rh_pc: float | None = None
    bottles_C: float | None = None
    cloudy: bool = False
    crusted: bool = False
    wood_moisture_pc: float | None = None
    wood_rise_K: float | None = None
    burnt_ms: int | None = None
    latest: LatestMixing | None = None


def mix_advice(of: Conditions) -> tuple[Answer, tuple[Reason, ...]]:
    """Answer and reasons, those that stop first. Limits as named above; raises ValueError as moisture_advice()."""
    reasons = sorted([*_panel(of), *_air(of), *_bottles(of), *_wood(of)], key=lambda reason: not reason.stops)
    if not reasons:
        return Answer.MIX_NOW, ()
    return Answer.NOT_YET if reasons[0].stops else Answer.MIX_IF, tuple(reasons)


def _panel(of: Conditions) -> list[Reason]:
    if of.panel_C < of.minimum_C:
        return [Reason(Topic.PANEL_COLD, of.panel_C, of.minimum_C, True)]
    if of.panel_C > of.maximum_C:
        return [Reason(Topic.PANEL_HOT, of.panel_C, of.maximum_C, True)]
    if of.coldest_C is not None and of.coldest_C < of.minimum_C:
        return [Reason(Topic.COLD_AHEAD, of.coldest_C, of.minimum_C, False)]
    return []


def _air(of: Conditions) -> list[Reason]:
    if of.margin_K is None:
        return [Reason(Topic.NO_HUMIDITY, None, None, False)]
    found = []
    if of.burnt_ms is not None:
        found.append(Reason(Topic.BURNER, of.burnt_ms, None, False))
    if of.margin_K < START_MARGIN_K:
        found.append(Reason(Topic.MARGIN, of.margin_K, START_MARGIN_K, of.margin_K < LEAST_MARGIN_K))
    if of.surface_rh_pc is not None and of.surface_rh_pc > CEILING_RH_PC:
        found.append(Reason(Topic.SURFACE_RH, of.surface_rh_pc, CEILING_RH_PC, True))
    late = of.latest
    if (
        late is not None
        and late.closes_ms is not None
        and (late.latest_ms is None or late.latest_ms < of.now_ms)
    ):
        # A cover, peel ply or steady heat can still keep the film dry: somebody has to see to it.
        found.append(Reason(Topic.TOO_LATE, late.tack_free_ms, late.closes_ms, False))
    return found


def _bottles(of: Conditions) -> list[Reason]:
    """Cloudy resin is warmed until clear and cooled again, crusted hardener thrown away (common practice)."""
    found = [
        Reason(topic, None, None, True)
        for topic, seen in ((Topic.CLOUDY, of.cloudy), (Topic.CRUSTED, of.crusted))
        if seen
    ]
    if of.bottles_C is not None and not BOTTLES_C[0] <= of.bottles_C <= BOTTLES_C[1]:
        limit = BOTTLES_C[0] if of.bottles_C < BOTTLES_C[0] else BOTTLES_C[1]
        found.append(Reason(Topic.BOTTLES, of.bottles_C, limit, False))
    return found


def _wood(of: Conditions) -> list[Reason]:
    found = []
    if of.wood_moisture_pc is not None:
        wet = moisture_advice(of.wood_moisture_pc)
        if wet is not Advice.GO:
            limit = MOISTURE_NO_PC if wet is Advice.NO else MOISTURE_CAUTION_PC
            found.append(Reason(Topic.WOOD_MOISTURE, of.wood_moisture_pc, limit, wet is Advice.NO))
    if of.wood_rise_K is not None and of.wood_rise_K > RISE_CAUTION_K:
        stops = of.wood_rise_K > RISE_NO_K
        found.append(Reason(Topic.WOOD_WARMS, of.wood_rise_K, RISE_NO_K if stops else RISE_CAUTION_K, stops))
    return found
