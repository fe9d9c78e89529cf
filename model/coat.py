"""The course of one coat: conversion and equivalent age of every member over a temperature history."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from model.blocks import MINUTE_MS, Blocks, Floats
from model.calibration import Calibration
from model.kinetics import advance
from model.members import quantile

Path = Literal["cold", "central", "hot"]

HOUR_MS = 3_600_000
QUARTER_MS = 15 * MINUTE_MS
_NEAR = 120
"""Minutes of the outlook that stay single, so that what is promised soon is promised to the minute."""
_PIECE = 120
"""Minutes of the outlook whose rows are equally long."""
_LONGEST_STRIDE = 0.01
"""Largest conversion gained in a row of several minutes: in a fresh coat a minute at 20 degC gains as much."""
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

    start_ms    UTC ms of the coat's start; t_ms  int64 (n,), the ends of its rows, UTC ms: every minute up to
                two hours ahead of now, then 1, 3, 5 or 15 minutes that fill quarters of an hour
    remaining   float64 (n, N), u = 1 - conversion, 1 to 0, at those ends: the state itself, to the last bit
    conversion  float64 (n, N), 0 to 1: the same, rounded once more
    age_h       float64 (n, N), equivalent age, h at the card's reference temperature, with the member's own E
                and rate: a member's coat is as old as the sheet's when both have the same age
    panel_C, spread_K   float64 (n,), the path's mean temperature in each row and the forecast's standard deviation
    measured    bool (n,)
    """

    calibration: Calibration
    path: Path
    start_ms: int
    t_ms: NDArray[np.int64]
    remaining: Floats
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

    def first(self, rows: int) -> Course:
        """Its first so many rows."""
        part = slice(rows)
        return replace(
            self,
            t_ms=self.t_ms[part],
            remaining=self.remaining[part],
            conversion=self.conversion[part],
            age_h=self.age_h[part],
            panel_C=self.panel_C[part],
            spread_K=self.spread_K[part],
            measured=self.measured[part],
        )

    def row(self, at_ms: int) -> int:
        """Index of the last minute that has ended by `at_ms`; -1 before the first."""
        return int(np.searchsorted(self.t_ms, at_ms, side="right")) - 1

    def state(self, at_ms: int) -> CoatState:
        """The state at the end of the last minute that has ended by `at_ms`; fresh before the first."""
        row = self.row(at_ms)
        if row < 0:
            return fresh(self.calibration, self.start_ms)
        return CoatState(int(self.t_ms[row]), self.remaining[row].copy(), self.age_h[row].copy())

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
    minutes = _Rows(t_ms, _path(blocks, path)[first:], blocks.spread[first:], hours)
    ahead = int(np.argmax(np.append(minutes.spread_K > 0.0, True)))
    rows, remaining, age = _integrate(calibration, state, minutes, ahead)
    measured = blocks.measured[(rows.t_ms - blocks.start) // MINUTE_MS - 1]
    return Course(
        calibration,
        path,
        start_ms,
        rows.t_ms,
        remaining,
        1.0 - remaining,
        age,
        rows.panel_C,
        rows.spread_K,
        measured,
    )


def courses(
    calibration: Calibration, blocks: Blocks, start_ms: int, resume: dict[Path, CoatState] | None = None
) -> dict[Path, Course]:
    """The central path, and with a gap in the history the coldest and hottest that could have happened.

    resume: by path; a coat that stood on one path so far, without a gap, goes on from there on all of them.
    """
    stood = resume or {}
    apart = len(stood) > 1 or _gap_since(blocks, start_ms)
    paths: tuple[Path, ...] = ("cold", "central", "hot") if apart else ("central",)
    return {
        path: course(calibration, blocks, start_ms, path, stood.get(path, stood.get("central")))
        for path in paths
    }


def _gap_since(blocks: Blocks, start_ms: int) -> bool:
    first = max((start_ms - blocks.start) // MINUTE_MS, 0)
    return bool(np.any(blocks.cold[first:] != blocks.hot[first:]))


def _path(blocks: Blocks, path: Path) -> Floats:
    return {"cold": blocks.cold, "central": blocks.central, "hot": blocks.hot}[path]


@dataclass(frozen=True)
class _Rows:
    """Consecutive stretches of the history in which each coat gets one mean temperature; (n,) each."""

    t_ms: NDArray[np.int64]
    panel_C: Floats
    spread_K: Floats
    hours: Floats

    def __getitem__(self, rows: slice) -> _Rows:
        return _Rows(self.t_ms[rows], self.panel_C[rows], self.spread_K[rows], self.hours[rows])

    def joined(self, minutes: int) -> _Rows:
        """So many rows as one each; their number must be a multiple of it."""
        if minutes == 1:
            return self
        panel, spread = (of.reshape(-1, minutes).mean(axis=1) for of in (self.panel_C, self.spread_K))
        return _Rows(
            self.t_ms[minutes - 1 :: minutes], panel, spread, self.hours.reshape(-1, minutes).sum(axis=1)
        )


def _integrate(
    calibration: Calibration, state: CoatState, minutes: _Rows, ahead: int
) -> tuple[_Rows, Floats, Floats]:
    """What remains, u, and equivalent age, (n, N) each, and their rows: every minute before `ahead`, longer rows in
    the outlook from there on, where they change nothing.
    """
    remaining, age = (np.empty((len(minutes.hours), len(calibration.members))) for _ in range(2))
    u, last_age = state.u, state.age_h
    done: list[_Rows] = []
    begin = row = 0
    while begin < len(minutes.hours):
        end, is_aligned = _next_chunk(minutes, begin, ahead)
        part = minutes[begin:end]
        width = _width(calibration, u, part) if is_aligned else 1
        rows = part.joined(width)
        to = slice(row, row + len(rows.hours))
        temperature = calibration.temperature(rows.panel_C, rows.spread_K)
        speed = calibration.speed(temperature)
        critical = calibration.law.critical(temperature, calibration.members.Tg_inf_C)
        k = speed * calibration.k_per_h
        after = advance(calibration.law, u, k, critical, rows.hours, whole=width > 1)
        remaining[to] = after
        gained = speed * rows.hours[:, np.newaxis]
        gained[0] += last_age
        np.add.accumulate(gained, axis=0, out=age[to])
        u, last_age = after[-1], age[to][-1]
        done.append(rows)
        begin, row = end, to.stop
    return _all(done), remaining[:row], age[:row]


def _next_chunk(minutes: _Rows, begin: int, ahead: int) -> tuple[int, bool]:
    """Where the rows that are worked out together end, and whether they are whole quarters of an hour ahead."""
    if begin < ahead:
        return min(begin + _CHUNK, ahead), False
    if begin < ahead + _NEAR:
        return min(ahead + _NEAR, len(minutes.hours)), False
    to_quarter = int(-(minutes.t_ms[begin] - MINUTE_MS) % QUARTER_MS) // MINUTE_MS
    if to_quarter:
        return min(begin + to_quarter, len(minutes.hours)), False
    quarters = min(_PIECE, (len(minutes.hours) - begin) // 15 * 15)
    return (begin + quarters, True) if quarters else (len(minutes.hours), False)


def _width(calibration: Calibration, u: Floats, part: _Rows) -> int:
    """Minutes that may go into one step: as many as leave every member's conversion within _LONGEST_STRIDE."""
    spread = np.array([np.min(part.spread_K), np.max(part.spread_K)])
    hottest = calibration.temperature(np.full(2, np.max(part.panel_C)), spread).max(axis=0)
    k = calibration.speed(hottest) * calibration.k_per_h
    critical = calibration.law.critical(hottest, calibration.members.Tg_inf_C)
    a_minute = float(np.max(calibration.law.fastest(1.0 - u, k, critical))) / 60.0
    return next((width for width in (15, 5, 3) if width * a_minute <= _LONGEST_STRIDE), 1)


def _all(parts: list[_Rows]) -> _Rows:
    if not parts:
        return _Rows(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), np.zeros(0))
    return _Rows(
        np.concatenate([part.t_ms for part in parts]),
        np.concatenate([part.panel_C for part in parts]),
        np.concatenate([part.spread_K for part in parts]),
        np.concatenate([part.hours for part in parts]),
    )
