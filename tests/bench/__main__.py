"""Measures what model and collector cost, with their ratio to what was asked: python -P -m tests.bench (PYTHONPATH=.).

Run by hand on a quiet machine; nothing here passes or fails. Times are the best of several runs of processor time.
SciPy's LSODA is restarted at every minute, because across a noisy history it is only then right.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp

import model.coat
from model.blocks import Blocks, Floats
from model.calibration import Calibration, calibrate, card_central, card_members
from model.coat import Course, course, courses, fresh
from model.forecast import outlook
from model.history import Samples
from model.kinetics import DEFAULT_LAW, acceleration, advance
from model.milestones import passings
from model.resin_card import Milestone
from model.what_if import Heat, latest_mixing, least_temperature
from tests.bench import charting, collecting, growing, pages
from tests.bench.line import Line, best_s
from tests.resin import HOUR_MS, blocks, shipped

PANELS = 1000
DAY_MIN = 1440
NOW = 24 * HOUR_MS
PATHS, CHECKPOINTS = 3, 4


def noisy_day(panels: int) -> Floats:
    """Invented: every panel its own swing between 4 and 19 degC with 0.1 K of noise, degC (minutes, panels)."""
    random = np.random.default_rng(7)
    hours = np.arange(DAY_MIN)[:, np.newaxis] / 60.0
    swing = 11.5 + 7.5 * np.cos(np.pi * (hours - random.uniform(0.0, 24.0, panels)) / 12.0)
    return swing + random.normal(0.0, 0.1, (DAY_MIN, panels))


def rates(one: Calibration, panel_C: Floats) -> tuple[Floats, Floats]:
    """Rate constant, 1/h, and a_c of the central member at each temperature."""
    k = one.k_per_h * acceleration(panel_C, one.members.E_J_mol, one.card.reference_C)
    return k, DEFAULT_LAW.critical(panel_C, one.members.Tg_inf_C)


def follow(one: Calibration, panel_C: Floats) -> Floats:
    """a of every panel at each minute's end, all panels at once, in stretches that stay in the processor's cache."""
    u, conversion = np.ones(panel_C.shape[1]), np.empty_like(panel_C)
    for begin in range(0, len(panel_C), 32):
        k, critical = rates(one, panel_C[begin : begin + 32])
        after = advance(DEFAULT_LAW, u, k, critical, np.full(len(k), 1.0 / 60.0))
        np.subtract(1.0, after, out=conversion[begin : begin + 32])
        u = after[-1]
    return conversion


def lsoda(one: Calibration, panel_C: Floats) -> float:
    """a of one panel at the end, SciPy restarted at each minute."""
    a = 0.0
    for k, critical in zip(*rates(one, panel_C), strict=True):

        def slope(_: float, y: Floats, k: float = k, critical: float = critical) -> Floats:
            return DEFAULT_LAW.rate(np.maximum(y, 0.0), k, critical)

        a = float(solve_ivp(slope, (0.0, 1.0 / 60.0), [a], method="LSODA", rtol=1e-6, atol=1e-9).y[0, -1])
    return a


def reference(one: Calibration, panel_C: Floats) -> Floats:
    """a of every panel at each minute's end by Runge-Kutta, 16 steps inside each minute."""
    a, h = np.zeros(panel_C.shape[1]), 1.0 / 960.0
    conversion = []
    for k, critical in zip(*rates(one, panel_C), strict=True):
        for _ in range(16):
            k1 = DEFAULT_LAW.rate(a, k, critical)
            k2 = DEFAULT_LAW.rate(a + 0.5 * h * k1, k, critical)
            k3 = DEFAULT_LAW.rate(a + 0.5 * h * k2, k, critical)
            k4 = DEFAULT_LAW.rate(a + h * k3, k, critical)
            a = a + h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)
        conversion.append(a)
    return np.array(conversion)


def integrator() -> list[Line]:
    one = calibrate(shipped(), card_central(shipped()))
    day = noisy_day(PANELS)
    ours = best_s(lambda: follow(one, day), 3) / (PANELS * DAY_MIN)
    theirs = best_s(lambda: lsoda(one, day[:240, 0]), 3) / 240
    worst = float(np.max(np.abs(follow(one, day[:, :50]) - reference(one, day[:, :50]))))
    return [
        Line("panel-block, 1,000 panels at once", 1e9 * ours, "ns"),
        Line("panel-block, SciPy LSODA restarted at each minute", 1e9 * theirs, "ns"),
        Line("  times faster", theirs / ours, "", 300.0, more=True),
        Line("  largest error in conversion in a day, 50 panels", worst, "", 1e-4),
        Line("1,000 panels x 24 h", ours * PANELS * DAY_MIN, "s"),
    ]


def overshoots() -> Line:
    """Single steps of 1 to 300 s at 20 to 220 degC, from every conversion, every member of the quickest card.

    Without sub-steps, which only make it easier.
    """
    card, wrong = shipped("invented-winter"), 0
    of = calibrate(card, card_members(card))
    T = np.arange(20.0, 221.0, 5.0)[:, np.newaxis] + np.zeros(len(of.members))
    k = of.k_per_h * of.speed(T)
    critical = of.law.critical(T, of.members.Tg_inf_C)
    for seconds in (1.0, 10.0, 60.0, 300.0):
        hours = np.array([seconds / 3600.0])
        for u in np.linspace(0.0, 1.0, 51):
            for row in range(len(T)):
                start = np.full(len(of.members), u)
                after = advance(of.law, start, k[[row]], critical[[row]], hours, whole=True)
                wrong += int(np.count_nonzero(~((after >= 0.0) & (after <= u))))
    return Line("steps that leave 0 to 1, or fall, of 20-220 degC, 1-300 s", wrong, "", 0.0)


def evening() -> Blocks:
    """Invented: a day measured, 72 h ahead with a growing spread."""
    minute = np.arange(96 * 60)
    panel = 10.0 + 5.0 * np.sin(minute / DAY_MIN * 2.0 * np.pi)
    ahead = minute >= DAY_MIN
    spread = np.where(ahead, np.minimum(2.0, (minute - DAY_MIN + 1) / 1000.0), 0.0)
    return Blocks(0, panel, panel, panel, ~ahead, spread)


def every_minute(run: Callable[[], Course]) -> float:
    """The same outlook without longer rows, s."""
    stride, model.coat._LONGEST_STRIDE = model.coat._LONGEST_STRIDE, 0.0
    try:
        return best_s(run, 3)
    finally:
        model.coat._LONGEST_STRIDE = stride


def one_panel() -> list[Line]:
    card = shipped()
    members = card_members(card)
    of, whole = calibrate(card, members), evening()
    state = course(of, whole, 0).state(NOW)
    minute = blocks(whole.central[:1])
    runs = courses(of, whole, 0)

    def ahead() -> Course:
        return course(of, whole, 0, "central", state)

    def fresh_ahead() -> Course:
        return course(of, whole, NOW, "central")

    quick = best_s(ahead)
    size = sum(part.nbytes for part in (fresh(of, 0).u, fresh(of, 0).age_h)) * (1 + CHECKPOINTS) * PATHS
    return [
        Line("one block into 256 members", 1e3 * best_s(lambda: course(of, minute, 0), 200), "ms", 0.2),
        Line("outlook of 72 h, coat of 24 h", 1e3 * quick, "ms", 25.0),
        Line("  every minute of it, times slower", every_minute(ahead) / quick, ""),
        Line("outlook of 72 h, fresh coat", 1e3 * best_s(fresh_ahead), "ms", 25.0),
        Line("a coat's 24 h measured and 72 h ahead", 1e3 * best_s(lambda: course(of, whole, 0)), "ms"),
        Line("milestones of 24 h measured and 72 h ahead", 1e3 * best_s(lambda: passings(runs, NOW)), "ms"),
        Line("a card's calibration, 256 members", 1e3 * best_s(lambda: calibrate(card, members)), "ms", 50.0),
        Line("a panel's state with four checkpoints on three paths", size / 1024.0, "KiB", 64.0),
    ]


def tonight() -> list[Line]:
    card, whole = shipped(), evening()
    of = calibrate(card, card_members(card))
    t = np.arange(0, 45 * 24 * HOUR_MS, 300_000, dtype=np.int64)
    log = Samples(t, 10.0 + 5.0 * np.sin(t / HOUR_MS / 24.0 * 2.0 * np.pi))
    dew = np.full(len(whole) - DAY_MIN, 4.0)
    ahead = Blocks(
        NOW,
        *(part[DAY_MIN:] for part in (whole.cold, whole.central, whole.hot, whole.measured, whole.spread)),
    )
    plan = Heat(0.0, NOW + HOUR_MS, NOW + 12 * HOUR_MS)

    def least() -> object:
        return least_temperature(of, whole, 12 * HOUR_MS, Milestone.SAND, plan.to_ms, plan, 30.0)

    return [
        Line(
            "temperature forecast of 72 h from 45 days of 5 min",
            1e3 * best_s(lambda: outlook(log, int(t[-1]))),
            "ms",
        ),
        Line("latest mixing time", 1e3 * best_s(lambda: latest_mixing(of, ahead, dew, 3.0), 3), "ms"),
        Line("least temperature that sands by the morning", 1e3 * best_s(least, 3), "ms"),
    ]


def main() -> None:
    of_model = (integrator, one_panel, lambda: [overshoots()], tonight)
    for part in (*collecting.PARTS, *pages.PARTS, *growing.PARTS, *charting.PARTS, *of_model):
        for line in part():
            sys.stdout.write(f"{line}\n")
            sys.stdout.flush()


main()
