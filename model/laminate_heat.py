"""Temperature and cure through the thickness of a laminate that heats itself, on air or on a mould.

    rho cp dT/dt = d/dz (lambda dT/dz) + rho_resin H da/dt          one dimension, layers from below to above

Each layer is cut into equal cells (second order in space; a cell's face lies half way, so layers may differ in
everything). In time the cells' conduction is advanced exactly, by the eigenvectors of its symmetric matrix,
with the cure's heat even over a step: implicit in the sense that no step is too long for it, and without the
ringing that the trapezoidal rule shows after a sudden change at a face. Cure and temperature take turns in a
predictor and a corrector (second order), and a step in which a cell cures too far is halved.
Faces and depths in m, times in hours, temperatures in degC, heat in J.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from model.blocks import Floats
from model.calibration import Calibration
from model.kinetics import RateLaw, acceleration
from model.material import E_GLASS, LIQUID_RESIN, Material, laminate
from model.pot import HEAT_J_G

SECONDS_PER_HOUR = 3600.0
_CURING_LIMIT = 0.01
"""A step in which a cell cures by more is halved: its heat alone could warm the cell by 1 to 2.5 K."""
_SHORTEST_H = 1e-5


@dataclass(frozen=True)
class Layer:
    """thickness_m, material, and of what cures the heat of full cure in J/m3 (0: a mould, foam, wood)."""

    thickness_m: float
    material: Material
    heat_J_m3: float = 0.0

    def __post_init__(self) -> None:
        if not self.thickness_m > 0.0 or not self.heat_J_m3 >= 0.0:
            raise ValueError(
                f"a layer has a thickness above 0 and a heat of 0 or more; got {self.thickness_m:g} m and "
                f"{self.heat_J_m3:g} J/m3"
            )


@dataclass(frozen=True)
class Face:
    """What a face meets: temperature_C, and h_W_m2K to it (0: insulated; inf: held at that temperature).

    For still air with radiation h is 1 / 0.10 upwards, 1 / 0.13 sideways and 1 / 0.17 downwards (ISO 6946).
    """

    temperature_C: float
    h_W_m2K: float

    def __post_init__(self) -> None:
        if not self.h_W_m2K >= 0.0:
            raise ValueError(f"a face's h is 0 (insulated) up to inf (held); got {self.h_W_m2K:g}")


AIR_ABOVE_W_M2K = 1.0 / 0.10
AIR_BELOW_W_M2K = 1.0 / 0.17
"""Surface resistances of ISO 6946, m2K/W, radiation included, as a building-physics page lists them."""


@dataclass(frozen=True)
class LaminateCourse:
    """hours (n,); depth_m (cells,), cell middles from below; temperature_C and conversion (n, cells), conversion
    NaN where nothing cures; below_C and above_C (n,), the two faces."""

    hours: Floats
    depth_m: Floats
    temperature_C: Floats
    conversion: Floats
    below_C: Floats
    above_C: Floats

    @property
    def peak_C(self) -> float:
        """Hottest that any cell became."""
        return float(self.temperature_C.max())

    @property
    def peak_h(self) -> float:
        """When it did."""
        return float(self.hours[self.temperature_C.max(axis=1).argmax()])


class Slab:
    """Layers between two faces, cut into cells; knows heat only.

    depth_m  middles of the cells above the lower face; width_m, capacity_J_m2K, heat_J_m3  of each; all (cells,)
    """

    def __init__(self, layers: Sequence[Layer], below: Face, above: Face, cells_per_layer: int = 40) -> None:
        if not layers or cells_per_layer < 1:
            raise ValueError("a slab needs a layer, and a layer a cell")
        n = cells_per_layer
        width = np.repeat([layer.thickness_m / n for layer in layers], n)
        conductivity = np.repeat([layer.material.conductivity for layer in layers], n)
        held = np.repeat([layer.material.density * layer.material.heat_capacity for layer in layers], n)
        self.heat_J_m3 = np.repeat([layer.heat_J_m3 for layer in layers], n)
        self.capacity_J_m2K = held * width
        self.width_m = width
        self.depth_m = np.add.accumulate(width) - 0.5 * width
        self._half = 0.5 * width / conductivity
        self._faces = (below, above)
        self._end = np.array(
            [_in_series(below.h_W_m2K, self._half[0]), _in_series(above.h_W_m2K, self._half[-1])]
        )
        self._cached: dict[float, tuple[Floats, Floats]] = {}
        self._decompose(1.0 / (self._half[:-1] + self._half[1:]))

    def _decompose(self, between: Floats) -> None:
        """Symmetric form C^-1/2 K C^-1/2 of the conduction matrix, its eigenvalues (1/s) and eigenvectors."""
        K = np.diag(-np.append(between, self._end[1]) - np.insert(between, 0, self._end[0]))
        K += np.diag(between, 1) + np.diag(between, -1)
        self._root = np.sqrt(self.capacity_J_m2K)
        self._rate, self._modes = np.linalg.eigh(K / np.outer(self._root, self._root))
        self._rate = np.minimum(self._rate, 0.0)  # an insulated slab's zero may round to just above it
        self._inflow = np.zeros(len(self._root))
        self._inflow[0] += self._end[0] * self._faces[0].temperature_C
        self._inflow[-1] += self._end[1] * self._faces[1].temperature_C

    def step(self, T_C: Floats, source_W_m2: Floats, hours: float) -> Floats:
        """Temperatures (cells,) after `hours` with so much heat made in each cell, W/m2 of face (cells,)."""
        if hours not in self._cached:
            seconds = SECONDS_PER_HOUR * hours
            x = self._rate * seconds
            kept = np.exp(x)
            gained = seconds * np.where(x < -1e-12, np.expm1(x) / np.where(x < -1e-12, x, 1.0), 1.0)
            left, right = self._modes / self._root[:, np.newaxis], self._modes.T
            self._cached[hours] = (left * kept) @ (right * self._root), (left * gained) @ (right / self._root)
        keep, gain = self._cached[hours]
        return np.asarray(keep @ T_C + gain @ (source_W_m2 + self._inflow))

    def steady(self, source_W_m2: Floats) -> Floats:
        """Temperatures (cells,) in the end. Raises ValueError if both faces are insulated: there is no end."""
        if not self._end.any():
            raise ValueError("a slab insulated on both faces comes to no rest; give one face an h above 0")
        inside = self._modes.T @ ((source_W_m2 + self._inflow) / self._root)
        return np.asarray((self._modes @ (inside / -self._rate)) / self._root)

    def faces(self, T_C: Floats) -> tuple[Floats, Floats]:
        """Face temperatures below and above, from cells (..., cells): where flow through half a cell meets h."""
        below, above = self._faces
        return (
            T_C[..., 0] + (below.temperature_C - T_C[..., 0]) * self._end[0] * self._half[0],
            T_C[..., -1] + (above.temperature_C - T_C[..., -1]) * self._end[1] * self._half[-1],
        )


def fresh_laminate(
    thickness_m: float, fibre_fraction: float, heat_J_g: float = HEAT_J_G, glass: Material = E_GLASS
) -> Layer:
    """A layer of wet laminate with so much fibre by weight (0 to 1): liquid resin's heat capacity, and its heat."""
    material = laminate(fibre_fraction, glass, LIQUID_RESIN)
    return Layer(thickness_m, material, material.density * (1.0 - fibre_fraction) * 1e3 * heat_J_g)


def laminate_course(
    calibration: Calibration, slab: Slab, start_C: Floats | float, hours: float, step_h: float = 1.0 / 60.0
) -> LaminateCourse:
    """From wetting out at start_C, one number or (cells,), for `hours`, reported every step_h.

    The laminate cures at the film's rate: the sheet's film times are measured on thin laminates. Calibration
    of the central member (model.calibration.card_central). Raises ValueError for another, and for times
    that are not above 0.
    """
    if len(calibration.members) != 1:
        raise ValueError(
            f"a laminate is worked out for the central member alone; got {len(calibration.members)} members"
        )
    if not 0.0 < step_h <= hours:
        raise ValueError(f"0 < step <= hours is needed; got a step of {step_h:g} h and {hours:g} h")
    steps = math.ceil(hours / step_h - 1e-9)
    T = np.empty((steps + 1, len(slab.depth_m)))
    u = np.ones_like(T)
    T[0] = start_C
    cure = _Cure(calibration, slab)
    for i in range(steps):
        T[i + 1], u[i + 1] = cure.step(T[i], u[i], step_h)
    below, above = slab.faces(T)
    conversion = np.where(slab.heat_J_m3 > 0.0, 1.0 - u, np.nan)
    at = step_h * np.arange(steps + 1, dtype=np.float64)
    return LaminateCourse(at, slab.depth_m, T, conversion, below, above)


class _Cure:
    """One step of cure and conduction together."""

    def __init__(self, calibration: Calibration, slab: Slab) -> None:
        self._of = calibration
        self._slab = slab
        self._cures = slab.heat_J_m3 > 0.0
        self._full_J_m2 = slab.heat_J_m3 * slab.width_m

    def step(self, T: Floats, u: Floats, hours: float) -> tuple[Floats, Floats]:
        """Temperature and u = 1 - a, (cells,), after `hours`: predicted and corrected, or in halves."""
        guess, cured = self._attempt(T, u, T, hours)
        if hours > _SHORTEST_H and (u - cured).max() > _CURING_LIMIT:
            return self.step(*self.step(T, u, 0.5 * hours), 0.5 * hours)
        return self._attempt(T, u, 0.5 * (T + guess), hours)

    def _attempt(self, T: Floats, u: Floats, middle_C: Floats, hours: float) -> tuple[Floats, Floats]:
        of = self._of
        k = of.k_per_h * acceleration(middle_C, of.members.E_J_mol, of.card.reference_C)
        critical = of.law.critical(middle_C, of.members.Tg_inf_C)
        after = np.where(self._cures, _cured(of.law, u, k * hours, critical), u)
        source = self._full_J_m2 * (u - after) / (SECONDS_PER_HOUR * hours)
        return self._slab.step(T, source, hours), after


def _cured(law: RateLaw, u: Floats, kh: Floats, critical: Floats) -> Floats:
    """u = 1 - a after a step of rate constant x time kh; all (cells,).

    Midpoint in a, with (1 - a)^n integrated exactly: the hot end of a run-away, where the rate constant is
    thousands an hour and hardly anything is left to react, then needs no sub-steps (model.kinetics.advance would).
    """

    def left(share: float, at: Floats) -> Floats:
        done = share * kh * (law.c + np.power(1.0 - at, law.m)) / law.slowing(1.0 - at, critical)
        if law.n == 1.0:
            return np.asarray(u * np.exp(-done))
        order = law.n - 1.0
        return np.asarray(u * np.power(1.0 + order * done * np.power(u, order), -1.0 / order))

    return left(1.0, left(0.5, u))


def _in_series(h_W_m2K: float, half_m2K_W: float) -> float:
    """From a face's surroundings to the middle of its cell, W/m2K."""
    return 0.0 if h_W_m2K == 0.0 else 1.0 / (1.0 / h_W_m2K + half_m2K_W)
