"""An unvented burner puts water and carbon dioxide into the room, and both into a young film.

Burning a gram of propane makes 1.63 g of water (C3H8 + 5 O2 = 3 CO2 + 4 H2O). No other heater raises temperature
and the water in a cubic metre of air together within minutes; the morning does, within hours. The limits are our
own and have not been compared with real burners.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from model.blocks import Bools, Floats
from model.psychrometrics import absolute_humidity_g_m3, usable

WITHIN_MIN = 30
RISE_K = 1.5
RISE_G_M3 = 0.5
RISE_PPM = 800.0
"""Carbon dioxide in WITHIN_MIN. A person at work breathes out 20 to 40 L/h (value from memory): at most 500 ppm in
half an hour in a closed garage of 40 m3; a burner of 3 kW about ten times that."""
HIGH_PPM = 3000.0
"""Above this nobody asks where it comes from: the film meets seven times the outdoor carbon dioxide."""


@dataclass(frozen=True)
class Burning:
    """A stretch in which something burned without a flue; minutes are indices into the arrays given, [from, to).

    rise_ppm     largest rise of carbon dioxide within half an hour, None if it was not measured
    rise_K, rise_g_m3   largest rises of temperature and water in the air, None if not measured
    by_co2       carbon dioxide showed it; otherwise temperature and water rising together
    """

    from_minute: int
    to_minute: int
    by_co2: bool
    rise_ppm: float | None
    rise_K: float | None
    rise_g_m3: float | None


def burnings(air_C: Floats, rh_pc: Floats, co2_ppm: Floats | None = None) -> list[Burning]:
    """Where an unvented burner shows, in order.

    air_C (n,) degC and rh_pc (n,) %, co2_ppm (n,) ppm: one value a minute, NaN where unknown or not usable

    It shows where, within half an hour, carbon dioxide rises by 800 ppm or stands above 3000 ppm, or temperature
    rises by 1.5 K and water by 0.5 g/m3, both. A stretch begins half an hour before it shows first.
    Raises ValueError for arrays of different lengths.
    """
    if air_C.shape != rh_pc.shape or (co2_ppm is not None and co2_ppm.shape != air_C.shape):
        raise ValueError(
            "temperature, humidity and carbon dioxide need one value a minute, all of one length"
        )
    known = usable(air_C, rh_pc)
    water = np.full(len(air_C), np.nan)
    water[known] = absolute_humidity_g_m3(air_C[known], rh_pc[known])
    warmer, wetter = _rise(air_C), _rise(water)
    fumes = np.full(len(air_C), np.nan) if co2_ppm is None else _rise(co2_ppm)
    by_co2 = fumes >= RISE_PPM
    if co2_ppm is not None:
        by_co2 |= co2_ppm >= HIGH_PPM
    return [
        Burning(
            max(first - WITHIN_MIN, 0),
            last,
            bool(np.any(by_co2[first:last])),
            _largest(fumes[first:last]),
            _largest(warmer[first:last]),
            _largest(wetter[first:last]),
        )
        for first, last in _runs(by_co2 | ((warmer >= RISE_K) & (wetter >= RISE_G_M3)))
    ]


def _rise(of: Floats) -> Floats:
    """How far each minute stands above that of half an hour before, NaN where either is unknown."""
    rise = np.full(len(of), np.nan)
    rise[WITHIN_MIN:] = of[WITHIN_MIN:] - of[:-WITHIN_MIN]
    return rise


def _largest(of: Floats) -> float | None:
    known = of[np.isfinite(of)]
    return float(np.max(known)) if len(known) else None


def _runs(shows: Bools) -> list[tuple[int, int]]:
    """[from, to) of the stretches of True; pauses shorter than half an hour do not end one."""
    at = np.flatnonzero(shows)
    if not len(at):
        return []
    breaks = np.flatnonzero(np.diff(at) > WITHIN_MIN)
    first, last = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(at) - 1]])
    return [(int(at[a]), int(at[b]) + 1) for a, b in zip(first, last, strict=True)]
