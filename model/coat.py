"""The course of one coat: conversion and equivalent age of every member over a temperature history."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from model.blocks import MINUTE_MS, Blocks, Floats
from model.calibration import Calibration
from model.kinetics import advance
from model.members import quantile

Path = Literal["cold", "central", "hot"]

HOUR_MS = 3_600_000
_CHUNK = 128
"""Minutes whose rate constants are held at once: 128 x 256 members stay in the processor's cache."""


@dataclass(frozen=True)
class CoatState:
    """Where every member stands at `at_ms`, UTC ms: u = 1 - conversion, equivalent age in h; float64 (N,)."""

    at_ms: int
    u: Floats
    age_h: Floats


@dataclass(frozen=True)
class Course:
    """One coat on one path of its temperature history.

    start_ms    UTC ms of the coat's start; t_ms  int64 (n,), the ends of its minutes, UTC ms
    conversion  float64 (n, N), 0 to 1, at those ends
    age_h       float64 (n, N), equivalent age, h at the card's reference temperature, with the member's own E
                and rate: a member's coat is as old as the sheet's when both have the same age
    panel_C, spread_K   float64 (n,), the path's temperature and the forecast's standard deviation
    measured    bool (n,)
    """

    calibration: Calibration
    path: Path
    start_ms: int
    t_ms: NDArray[np.int64]
    conversion: Floats
    age_h: Floats
    panel_C: Floats
    spread_K: Floats
    measured: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.t_ms)

    def temperature(self, rows: slice = slice(None)) -> Floats:
        """Panel temperature of each member, degC (rows, N): probe offset and forecast departure included."""
        return self.calibration.temperature(self.panel_C[rows], self.spread_K[rows])

    def glass_transition(self, rows: slice = slice(None)) -> Floats:
        """Glass transition of each member, degC (rows, N)."""
        return self.calibration.glass_transition(self.conversion[rows])

    def row(self, at_ms: int) -> int:
        """Index of the last minute that has ended by `at_ms`; -1 before the first."""
        return int(np.searchsorted(self.t_ms, at_ms, side="right")) - 1

    def state(self, at_ms: int) -> CoatState:
        """The state at the end of the last minute that has ended by `at_ms`; fresh before the first."""
        row = self.row(at_ms)
        if row < 0:
            return fresh(self.calibration, self.start_ms)
        return CoatState(int(self.t_ms[row]), 1.0 - self.conversion[row], self.age_h[row].copy())

    def conversion_quantiles(
        self, at_ms: NDArray[np.int64], q: tuple[float, ...] = (0.1, 0.5, 0.9), weights: Floats | None = None
    ) -> Floats:
        """Quantiles of conversion at given times (UTC ms), (times, q); 0 before the first minute's end."""
        rows = np.searchsorted(self.t_ms, at_ms, side="right") - 1
        if len(self) == 0:
            return np.zeros((len(rows), len(q)))
        answer = quantile(self.conversion[np.maximum(rows, 0)], q, weights)
        answer[rows < 0] = 0.0
        return answer


def fresh(calibration: Calibration, start_ms: int) -> CoatState:
    """Nothing reacted yet."""
    count = len(calibration.members)
    return CoatState(start_ms, np.ones(count), np.zeros(count))


def course(
    calibration: Calibration,
    blocks: Blocks,
    start_ms: int,
    path: Path = "central",
    resume: CoatState | None = None,
) -> Course:
    """Every member's cure from `start_ms` (UTC ms) to the end of `blocks`.

    A coat that starts inside a minute gets that part of the minute. With `resume`, a state at the end of some
    minute of the same coat, only what follows it is computed, to the same bits.
    Raises ValueError if the history begins after the coat, or `resume` does not stand at a minute's end.
    """
    state = resume or fresh(calibration, start_ms)
    if state.at_ms < blocks.start:
        raise ValueError(
            f"the history begins at {blocks.start}, after the coat stood at {state.at_ms} (UTC ms); "
            "ask for blocks from the coat's start on"
        )
    if resume is not None and (resume.at_ms - blocks.start) % MINUTE_MS:
        raise ValueError(f"a coat resumes at the end of a whole minute; got {resume.at_ms} (UTC ms)")
    first = min((state.at_ms - blocks.start) // MINUTE_MS, len(blocks))
    t_ms = blocks.start + MINUTE_MS * np.arange(first + 1, len(blocks) + 1, dtype=np.int64)
    hours = np.full(len(t_ms), MINUTE_MS / HOUR_MS)
    if len(t_ms):
        hours[0] = (int(t_ms[0]) - state.at_ms) / HOUR_MS
    panel, spread = _path(blocks, path)[first:], blocks.spread[first:]
    conversion, age = _integrate(calibration, state, panel, spread, hours)
    return Course(calibration, path, start_ms, t_ms, conversion, age, panel, spread, blocks.measured[first:])


def courses(
    calibration: Calibration, blocks: Blocks, start_ms: int, resume: dict[Path, CoatState] | None = None
) -> dict[Path, Course]:
    """The central path, and with a gap in the history the coldest and hottest that could have happened."""
    paths: tuple[Path, ...] = ("cold", "central", "hot") if _gap_since(blocks, start_ms) else ("central",)
    return {path: course(calibration, blocks, start_ms, path, (resume or {}).get(path)) for path in paths}


def _gap_since(blocks: Blocks, start_ms: int) -> bool:
    first = max((start_ms - blocks.start) // MINUTE_MS, 0)
    return bool(np.any(blocks.cold[first:] != blocks.hot[first:]))


def _path(blocks: Blocks, path: Path) -> Floats:
    return {"cold": blocks.cold, "central": blocks.central, "hot": blocks.hot}[path]


def _integrate(
    calibration: Calibration, state: CoatState, panel_C: Floats, spread_K: Floats, hours: Floats
) -> tuple[Floats, Floats]:
    """Conversion and equivalent age, (n, N) each, in chunks of minutes."""
    shape = (len(hours), len(calibration.members))
    conversion, age = np.empty(shape), np.empty(shape)
    u, last_age = state.u, state.age_h
    for begin in range(0, len(hours), _CHUNK):
        rows = slice(begin, begin + _CHUNK)
        temperature = calibration.temperature(panel_C[rows], spread_K[rows])
        speed = calibration.speed(temperature)
        critical = calibration.law.critical(temperature, calibration.members.Tg_inf_C)
        after = advance(calibration.law, u, speed * calibration.k_per_h, critical, hours[rows])
        np.subtract(1.0, after, out=conversion[rows])
        gained = speed * hours[rows, np.newaxis]
        gained[0] += last_age
        np.add.accumulate(gained, axis=0, out=age[rows])
        u, last_age = after[-1], age[rows][-1]
    return conversion, age
