"""What the model costs.

SciPy's LSODA is restarted at every minute, because across a noisy history it is only then right.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.integrate import solve_ivp

from model.blocks import Blocks, Floats
from model.calibration import Calibration, calibrate, card_central, card_members
from model.coat import course, courses, fresh
from model.forecast import outlook
from model.history import Samples
from model.kinetics import DEFAULT_LAW, acceleration, advance
from model.milestones import passings
from model.resin_card import Milestone
from model.what_if import Heat, latest_mixing, least_temperature
from tests.bench.rows import Found, Row, Section, alone, compared, each, scaled, turns
from tests.resin import HOUR_MS, blocks, shipped

PANELS, ROUNDS = 1000, 7
LSODA_MIN = 240
DAY_MIN = 1440
NOW = 24 * HOUR_MS
PATHS, CHECKPOINTS = 3, 4
ROWS = {
    "minutes": Row(
        "minutes of a panel, 1,000 panels at once", "/s", "SciPy LSODA, one panel", at_least=300.0
    ),
    "error": Row(
        "largest error in conversion in a day, 50 panels, against 16 small steps a minute", at_most=1e-4
    ),
    "leaves": Row("steps that leave 0 to 1, or fall: 20 to 220 °C, 1 to 300 s", at_most=0.0),
    "day": Row("a day of 1,000 panels, one set of constants", "s"),
    "block": Row("one minute of one panel, all 256 sets of constants", "ms", at_most=0.2),
    "ahead": Row("what lies 72 h ahead of a coat of 24 h", "ms", at_most=25.0),
    "fresh": Row("what lies 72 h ahead of a fresh coat", "ms", at_most=25.0),
    "both": Row("a coat's 24 h measured and 72 h ahead", "ms"),
    "times": Row("when it will be what, from these 96 h", "ms"),
    "card": Row("a card made into 256 sets of constants", "ms", at_most=50.0),
    "state": Row("what is kept of a panel to go on from", "KiB", at_most=64.0),
    "forecast": Row("temperatures of 72 h ahead from 45 days", "ms"),
    "mixing": Row("until when to mix tonight", "ms"),
    "least": Row("how warm to keep it to sand by the morning", "ms"),
}


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


def integrator() -> Iterator[tuple[str, Found]]:
    one = calibrate(shipped(), card_central(shipped()))
    day = noisy_day(PANELS)
    ours, theirs = turns(ROUNDS, lambda: follow(one, day), lambda: lsoda(one, day[:LSODA_MIN, 0]))
    worst = float(np.max(np.abs(follow(one, day[:, :50]) - reference(one, day[:, :50]))))
    yield "minutes", compared(each(PANELS * DAY_MIN, ours), each(LSODA_MIN, theirs))
    yield "error", alone([worst])
    yield "day", alone(ours)


def overshoots() -> int:
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
    return wrong


def evening() -> Blocks:
    """Invented: a day measured, 72 h ahead with a growing spread."""
    minute = np.arange(96 * 60)
    panel = 10.0 + 5.0 * np.sin(minute / DAY_MIN * 2.0 * np.pi)
    ahead = minute >= DAY_MIN
    spread = np.where(ahead, np.minimum(2.0, (minute - DAY_MIN + 1) / 1000.0), 0.0)
    return Blocks(0, panel, panel, panel, ~ahead, spread)


def one_panel() -> Iterator[tuple[str, Found]]:
    card = shipped()
    members = card_members(card)
    of, whole = calibrate(card, members), evening()
    state = course(of, whole, 0).state(NOW)
    minute = blocks(whole.central[:1])
    runs = courses(of, whole, 0)

    block, ahead, fresh_s, both, times, made = turns(
        ROUNDS,
        lambda: [course(of, minute, 0) for _ in range(50)],
        lambda: course(of, whole, 0, "central", state),
        lambda: course(of, whole, NOW, "central"),
        lambda: course(of, whole, 0),
        lambda: passings(runs, NOW),
        lambda: calibrate(card, members),
    )
    size = sum(part.nbytes for part in (fresh(of, 0).u, fresh(of, 0).age_h)) * (1 + CHECKPOINTS) * PATHS
    yield "block", alone(scaled(1e3 / 50, block))
    named = {"ahead": ahead, "fresh": fresh_s, "both": both, "times": times, "card": made}
    for key, seconds in named.items():
        yield key, alone(scaled(1e3, seconds))
    yield "state", alone([size / 1024.0])


def tonight() -> Iterator[tuple[str, Found]]:
    card, whole = shipped(), evening()
    of = calibrate(card, card_members(card))
    t = np.arange(0, 45 * 24 * HOUR_MS, 300_000, dtype=np.int64)
    log = Samples(t, 10.0 + 5.0 * np.sin(t / HOUR_MS / 24.0 * 2.0 * np.pi))
    dew = np.full(len(whole) - DAY_MIN, 4.0)
    parts = (whole.cold, whole.central, whole.hot, whole.measured, whole.spread)
    ahead = Blocks(NOW, *(part[DAY_MIN:] for part in parts))
    plan = Heat(0.0, NOW + HOUR_MS, NOW + 12 * HOUR_MS)
    forecast, mixing, least = turns(
        ROUNDS,
        lambda: outlook(log, int(t[-1])),
        lambda: latest_mixing(of, ahead, dew, 3.0),
        lambda: least_temperature(of, whole, 12 * HOUR_MS, Milestone.SAND, plan.to_ms, plan, 30.0),
    )
    for key, seconds in (("forecast", forecast), ("mixing", mixing), ("least", least)):
        yield key, alone(scaled(1e3, seconds))


def measure() -> dict[str, Found]:
    return dict([*integrator(), *one_panel(), *tonight(), ("leaves", alone([overshoots()]))])


SECTION = Section("curing", "Working out the cure", ROWS, measure)
