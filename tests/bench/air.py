"""What it costs to turn temperature and humidity into a dew point, beside psychrolib on the same numbers."""

from __future__ import annotations

import numpy as np
import psychrolib

from model.psychrometrics import dew_point_C, frost_point_C, saturation_pressure_water_Pa
from tests.bench.rows import Found, Row, Section, alone, compared, each, turns

MANY, FEW, ROUNDS = 100_000, 1_000, 9
ROWS = {
    "dew": Row("dew points of many readings at once", "/s", "psychrolib, one by one"),
    "saturation": Row("saturation pressures of many readings at once", "/s", "psychrolib, one by one"),
    "one": Row("dew points, one reading at a time", "/s", "psychrolib, one by one"),
    "apart": Row("farthest from psychrolib, dew or frost point, 0 to 40 °C, 20 to 95 %", "K", at_most=0.05),
}


def measure() -> dict[str, Found]:
    psychrolib.SetUnitSystem(psychrolib.SI)
    random = np.random.default_rng(3)
    t, rh = random.uniform(0.5, 40.0, MANY), random.uniform(20.0, 95.0, MANY)
    few = list(zip(t[:FEW].tolist(), rh[:FEW].tolist(), strict=True))
    dew, theirs, one = turns(
        ROUNDS,
        lambda: dew_point_C(t, rh),
        lambda: [psychrolib.GetTDewPointFromRelHum(C, pc / 100.0) for C, pc in few],
        lambda: [dew_point_C(C, pc) for C, pc in few],
    )
    pressure, their_pressure = turns(
        ROUNDS, lambda: saturation_pressure_water_Pa(t), lambda: [psychrolib.GetSatVapPres(C) for C, _ in few]
    )
    return {
        "dew": compared(each(MANY, dew), each(FEW, theirs)),
        "saturation": compared(each(MANY, pressure), each(FEW, their_pressure)),
        "one": compared(each(FEW, one), each(FEW, theirs)),
        "apart": alone([farthest(few)]),
    }


def farthest(few: list[tuple[float, float]]) -> float:
    """psychrolib goes over to ice below 0 degC, where ours has a function of its own."""
    worst = 0.0
    for C, pc in few:
        expected = psychrolib.GetTDewPointFromRelHum(C, pc / 100.0)
        ours = dew_point_C(C, pc) if expected > 0.0 else frost_point_C(C, pc)
        worst = max(worst, abs(float(ours) - expected))
    return worst


SECTION = Section("air", "Moist air", ROWS, measure)
