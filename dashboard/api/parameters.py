"""What may stand in the addresses that are read by hand, as OpenAPI parameters: of the mix, and of a what-if's form."""

from __future__ import annotations

from typing import Any, get_args

from dashboard.measures import FIELDS
from dashboard.mix_asked import (
    AMOUNT_G,
    AREA_M2,
    BOTTLES_C,
    CLOTH_GM2,
    MOST_CLOTHS,
    MOST_FILLS,
    MOST_PLIES,
    MOST_TOOLS,
    VESSELS,
    WETTEST_PC,
)
from dashboard.mix_hour import Onto
from model.layup import Cloth

Json = dict[str, Any]
TEXT: Json = {"type": "string"}
LEFT: Json = {"const": ""}
"""A field that was left empty."""


def _asked(schemas: dict[str, Json]) -> list[Json]:
    return [{"name": name, "in": "query", "schema": schema} for name, schema in schemas.items()]


def _between(low: float, high: float, kind: str = "number") -> Json:
    return {"anyOf": [{"type": kind, "minimum": low, "maximum": high}, LEFT]}


def _measured(name: str, allowed: tuple[float, float]) -> dict[str, Json]:
    """One quantity by the names it has in each of its units."""
    fields = FIELDS[name].values()
    low, high = allowed
    return {f"{name}_{one.end}": _between(one.of_si(low), one.of_si(high)) for one in fields}


def _lines(of: Json) -> Json:
    return {"type": "array", "items": of, "maxItems": MOST_CLOTHS}


HOUR: dict[str, Json] = {
    "spot": TEXT,
    "card": TEXT,
    "onto": {"enum": [*get_args(Onto), ""]},
    **_measured("bottles", BOTTLES_C),
    "wood_pc": _between(0, WETTEST_PC),
    "cloudy": TEXT,
    "crusted": TEXT,
}
POTS: dict[str, Json] = {
    **HOUR,
    **_measured("area", AREA_M2),
    **{name: _lines(one) for name, one in _measured("cloth", CLOTH_GM2).items()},
    "plies": _lines(_between(1, MOST_PLIES, "integer")),
    "weave": _lines({"enum": [*(item.value for item in Cloth), ""]}),
    "peel": TEXT,
    "tools": _between(0, MOST_TOOLS, "integer"),
    "fills": _between(0, MOST_FILLS, "integer"),
    **_measured("amount", AMOUNT_G),
    "vessel": {"enum": [*VESSELS, ""]},
    "upright": TEXT,
}
FORM = ("hold", "from", "to", "rise", "start", "card", "until", "by", "ask", "step")

BY_HAND: dict[str, list[Json]] = {
    "GET /api/mix": _asked(HOUR),
    "GET /api/mix/pots": _asked(POTS),
    # A page says in its own words what it cannot understand: it takes any text.
    "GET /mix": _asked(dict.fromkeys(HOUR, TEXT)),
    "GET /mix/pots": _asked(dict.fromkeys(POTS, TEXT)),
    "GET /tonight/{panel_id}": _asked(dict.fromkeys(FORM, TEXT)),
}
"""By operation."""
