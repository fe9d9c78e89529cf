"""Simulated panels: coats that are known exactly, some from another model than ours, and hands that touch them.

Everything is invented. A truth is stepped by code of its own (5 minutes, exponential midpoint), with two
activation energies and a shape that need not be the model's; the model sees only probe readings and words.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from model.blocks import Floats
from model.calibration import Calibration, calibrate, card_members
from model.coat import Course
from model.kinetics import DEFAULT_LAW, advance
from model.members import Weights
from model.milestones import Passing, passings
from model.observation import THUMB_BOUNDS, THUMB_WORDS, Touch, Word, touch
from model.resin_card import Milestone, ResinCard
from tests.resin import HOUR_MS, medium_sheet

CARD: ResinCard = replace(medium_sheet(), invented=False)
STEP_H = 1.0 / 12.0
HOURS = 96.0
JUDGED = (Milestone.RECOAT_FROM, Milestone.RECOAT_UNTIL, Milestone.SAND, Milestone.DEMOULD)
R = 8.314462618
PAGE = (Word.WET, Word.TAPE, Word.TACK_FREE, Word.SOFT_RUBBER, Word.NAIL_DENTS, Word.GUMS, Word.DUSTS)
MERGED = {Word.WET: (Word.WET, Word.STRINGY, Word.SOFT_TACK)}

SCHEDULES: tuple[Callable[[Floats], Floats], ...] = (
    lambda h: 21.0 + 0.0 * h,
    lambda h: 16.0 + 0.0 * h,
    lambda h: 13.0 + 0.0 * h,
    lambda h: 17.0 + 5.0 * np.cos(2 * np.pi * h / 24.0),
    lambda h: 15.0 - 4.0 * np.cos(2 * np.pi * h / 24.0),
    lambda h: 22.0 - 10.0 * np.clip(h / 12.0, 0.0, 1.0),
)
"""What the probe reads, degC, by the hour since application: rooms, swings, a heater that is switched off."""
COLD: tuple[Callable[[Floats], Floats], ...] = (
    lambda h: 5.0 + np.where(h > 40.0, 14.0, 0.0),
    lambda h: 7.0 + 3.0 * np.cos(2 * np.pi * h / 24.0) + np.where(h > 48.0, 12.0, 0.0),
)
"""A film that goes glassy in the cold before it has cured, warmed later."""


@dataclass(frozen=True)
class Shape:
    """A rate law and a glass transition written apart from the model's, (P,) each; second_E_J_mol is how much higher
    the energy of the reaction's start lies than that of its autocatalytic course.
    """

    m: Floats
    n: Floats
    c: Floats
    gel: Floats
    steepness: Floats
    lead_K: Floats
    liquid_C: Floats
    curve: Floats
    second_E_J_mol: Floats

    def transition(self, a: Floats, full: Floats) -> Floats:
        """DiBenedetto, degC, of a (P, n) or (P,)."""
        liquid, curve, full = (_like(a, item) for item in (self.liquid_C, self.curve, full))
        return liquid + (full - liquid) * curve * a / (1.0 - (1.0 - curve) * a)

    def conversion(self, Tg: Floats, full: Floats) -> Floats:
        """Its inverse."""
        liquid, curve, full = (_like(Tg, item) for item in (self.liquid_C, self.curve, full))
        x = np.maximum((Tg - liquid) / (full - liquid), 0.0)
        return x / (curve + (1.0 - curve) * x)


def _like(of: Floats, item: Floats) -> Floats:
    return item[:, None] if np.ndim(of) == 2 else item


def models_own(count: int, _: np.random.Generator) -> Shape:
    law = DEFAULT_LAW
    fields = (law.m, law.n, law.c, law.gel, law.steepness, law.lead_K, law.liquid_C, law.shape, 0.0)
    return Shape(*(np.full(count, value) for value in fields))


OTHERS = (
    (0.5, 1.3),
    (1.6, 2.2),
    (0.05, 0.25),
    (0.55, 0.62),
    (18, 45),
    (3, 13),
    (-45, -25),
    (0.33, 0.5),
    (0, 40e3),
)
"""Range of each field of a shape from another model: as far as published amines differ (tests/published)."""


def another(count: int, rng: np.random.Generator) -> Shape:
    return Shape(*(rng.uniform(low, high, count) for low, high in OTHERS))


def adverse(count: int, _: np.random.Generator) -> Shape:
    """Every departure at once and to the side on which films stay soft in the cold."""
    fields = (1.1, 1.7, 0.08, 0.60, 40.0, 4.0, -32.0, 0.35, 20e3)
    return Shape(*(np.full(count, value) for value in fields))


@dataclass(frozen=True)
class World:
    """Where truths come from; standard deviations, and half widths where a range is meant.

    sheet  relative error of each sheet time, uniform; probe_bias_K  +- this, at a coin's toss; bad  share of
    pots that stop at 55 to 75 % of their conversion; warm_spot_K  how much warmer the window's spot is
    """

    shape: Callable[[int, np.random.Generator], Shape] = models_own
    sheet: float = 0.0
    probe_bias_K: float = 0.0
    warm_spot_K: float = 0.0
    bad: float = 0.0
    rate_sd: float = 0.25


@dataclass(frozen=True)
class Hand:
    """How a thumb errs: noise and bias in ln(age), share of slips, and whether it meets age (0) or glass (1)."""

    noise: float = 0.10
    bias: float = 0.0
    slip: float = 0.1
    glass: float = 0.0


@dataclass
class Truths:
    """P coats under one schedule of readings; every array (P,) or (P, n)."""

    t_h: Floats
    panel_C: Floats
    a: Floats
    age_h: Floats
    Tg_C: Floats
    felt_h: Floats
    sheet: dict[Milestone, Floats]
    bad: np.ndarray
    at_reference: Floats
    glass_felt_h: Floats
    passed_h: dict[Milestone, Floats] = field(default_factory=dict)


def arrhenius(T_C: Floats, E: Floats) -> Floats:
    return np.exp(-E / R * (1.0 / (T_C + 273.15) - 1.0 / (CARD.reference_C + 273.15)))


def step(shape: Shape, E: Floats, k: Floats, full: Floats, cap: Floats, T: Floats) -> Floats:
    """Conversion (P, n) at the end of each step of STEP_H under T (P, n); cap (P,) is where a bad pot stops."""
    u = np.ones(len(k))
    out = np.empty(T.shape)
    slow, fast = arrhenius(T, (E + shape.second_E_J_mol)[:, None]), arrhenius(T, E[:, None])
    critical = shape.conversion(T + shape.lead_K[:, None], full)

    def exponent(of: Floats, i: int) -> Floats:
        a = 1.0 - of
        free = k * (shape.c * slow[:, i] + fast[:, i] * np.power(a, shape.m)) * np.power(of, shape.n - 1.0)
        return -0.5 * STEP_H * free / (1.0 + np.exp(shape.steepness * (a * cap - critical[:, i])))

    for i in range(T.shape[1]):
        for _ in range(2):
            middle = u * np.exp(0.5 * exponent(u, i))
            u = u * np.exp(exponent(middle, i))
        out[:, i] = 1.0 - u
    return cap[:, None] * out


def truths(
    world: World,
    readings: Callable[[Floats], Floats],
    count: int,
    rng: np.random.Generator,
    ln_rate: Floats | None = None,
    E: Floats | None = None,
    full: Floats | None = None,
) -> Truths:
    """`count` coats of that world; lots pass on rate, E and Tg_inf."""
    t = STEP_H * np.arange(1, round(HOURS / STEP_H) + 1)
    ln_rate = rng.normal(0.0, world.rate_sd, count) if ln_rate is None else ln_rate
    E = rng.normal(57e3, 6e3, count) if E is None else E
    full = rng.normal(85.0, 10.0, count) if full is None else full
    shape = world.shape(count, rng)
    offset = rng.normal(0.0, 0.4, count)
    if world.probe_bias_K:
        offset = world.probe_bias_K * rng.choice([-1.0, 1.0], count)
    panel = readings(t - 0.5 * STEP_H)[None, :] + offset[:, None]
    bad = rng.random(count) < world.bad
    cap = np.where(bad, rng.uniform(0.55, 0.75, count), 1.0)
    sheet = {m: CARD.film.hours(m) * rng.uniform(1 - world.sheet, 1 + world.sheet, count) for m in JUDGED}
    one, reference = np.ones(count), np.full((count, len(t)), CARD.reference_C)
    trial = np.pad(step(shape, E, one, full, one, reference), ((0, 0), (1, 0)))
    gels = [np.interp(gel, row, np.append(0.0, t)) for gel, row in zip(shape.gel, trial, strict=True)]
    k = np.array(gels) / sheet[Milestone.RECOAT_FROM]
    at_reference = step(shape, E, k, full, one, reference)
    rate = np.exp(ln_rate)
    a = step(shape, E, k * rate, full, cap, panel)
    age = np.cumsum(arrhenius(panel, E[:, None]) * rate[:, None] * STEP_H, axis=1)
    Tg = shape.transition(a, full)
    alike = shape.conversion(Tg + CARD.reference_C - panel, full)
    glass = np.array([as_old(row, t, reference) for row, reference in zip(alike, at_reference, strict=True)])
    felt = np.where(bad[:, None], np.minimum(age, glass), age)
    found = Truths(t, panel, a, age, Tg, felt, sheet, bad, at_reference, glass)
    _milestones(found, world, shape, E, rate, full, offset, readings)
    return found


def as_old(conversion: Floats, t_h: Floats, at_reference: Floats) -> Floats:
    """Hours at the sheet's temperature to a conversion; ten times the record if it does not get there."""
    return np.interp(conversion, at_reference, t_h, left=t_h[0], right=10.0 * HOURS)


def hours_to(t: Floats, values: Floats, targets: Floats) -> Floats:
    """First time each row reaches its target, inf if never."""
    reached = values >= targets[:, None]
    return np.where(reached.any(axis=1), t[np.argmax(reached, axis=1)], np.inf)


def _milestones(
    found: Truths,
    world: World,
    shape: Shape,
    E: Floats,
    rate: Floats,
    full: Floats,
    offset: Floats,
    readings: Callable[[Floats], Floats],
) -> None:
    t, panel = found.t_h, found.panel_C
    found.passed_h[Milestone.RECOAT_FROM] = hours_to(t, found.a, shape.gel)
    warm = np.cumsum(arrhenius(panel + world.warm_spot_K, E[:, None]) * rate[:, None] * STEP_H, axis=1)
    shut = hours_to(t, warm, found.sheet[Milestone.RECOAT_UNTIL])
    found.passed_h[Milestone.RECOAT_UNTIL] = np.minimum(shut, 24.0)
    for milestone in (Milestone.SAND, Milestone.DEMOULD):
        hours = found.sheet[milestone]
        rows = np.minimum((hours / STEP_H).astype(int), len(t) - 1)
        lead = shape.transition(found.at_reference[np.arange(len(E)), rows], full) - CARD.reference_C
        hottest = panel
        if milestone is Milestone.DEMOULD:
            ahead = round(48.0 / STEP_H)
            padded = np.pad(readings(t), (0, ahead), mode="edge")
            hottest = (
                np.array([padded[i : i + ahead].max() for i in range(len(t))])[None, :] + offset[:, None]
            )
        needed = np.minimum(hottest, CARD.reference_C + 5.0) + lead[:, None]
        ready = (found.age_h >= hours[:, None]) & (found.Tg_C >= needed)
        found.passed_h[milestone] = hours_to(t, ready.astype(float), np.full(len(E), 0.5))


def say(
    truth: Truths, row: int, at_h: float, hand: Hand, rng: np.random.Generator, coupon: bool = False
) -> tuple[Word, ...]:
    """The word somebody says who touches coat `row` at `at_h`; coupon: a tile brought to the sheet's temperature."""
    i = int(np.searchsorted(truth.t_h, at_h, side="right")) - 1
    felt = truth.felt_h[row, i] ** (1.0 - hand.glass) * truth.glass_felt_h[row, i] ** hand.glass
    if coupon:
        felt = float(as_old(truth.a[row, i], truth.t_h, truth.at_reference[row]))
    felt *= np.exp(rng.logistic(0.0, hand.noise) + hand.bias)
    slipped = rng.random() < hand.slip
    word = PAGE[rng.integers(len(PAGE))] if slipped else _word(truth, row, felt)
    return MERGED.get(word, (word,))


def plain_word(truth: Truths, row: int, at_h: float) -> Word:
    """The page's word that a hand without noise, habit or slip says."""
    i = int(np.searchsorted(truth.t_h, at_h, side="right")) - 1
    return _word(truth, row, truth.felt_h[row, i])


def _word(truth: Truths, row: int, felt_h: float) -> Word:
    if felt_h >= truth.sheet[Milestone.RECOAT_UNTIL][row]:
        return Word.DUSTS if felt_h >= truth.sheet[Milestone.SAND][row] else Word.GUMS
    bounds = np.array(THUMB_BOUNDS) * truth.sheet[Milestone.RECOAT_FROM][row]
    word = THUMB_WORDS[int(np.searchsorted(bounds, felt_h, side="right"))]
    return Word.WET if word in MERGED[Word.WET] else word


@lru_cache(maxsize=64)
def prior(readings: Callable[[Floats], Floats], invented: bool = False) -> Course:
    """The model's course before anybody touched the panel, for the shop's own card or for an invented one."""
    return follow(readings, calibrate(CARD, card_members(replace(CARD, invented=invented))))


def follow(readings: Callable[[Floats], Floats], calibration: Calibration) -> Course:
    """The model's course in steps of 5 minutes: by minutes it would be the same answer at five times the cost."""
    t = STEP_H * np.arange(1, round(HOURS / STEP_H) + 1)
    panel, spread, hours = readings(t - 0.5 * STEP_H), np.zeros(len(t)), np.full(len(t), STEP_H)
    temperature = calibration.temperature(panel, spread)
    speed = calibration.speed(temperature)
    critical = calibration.law.critical(temperature, calibration.members.Tg_inf_C)
    u = advance(
        calibration.law, np.ones(len(calibration.members)), speed * calibration.k_per_h, critical, hours
    )
    age = np.cumsum(speed * STEP_H, axis=0)
    t_ms = np.rint(t * HOUR_MS).astype(np.int64)
    return Course(
        calibration, "central", 0, t_ms, u, 1.0 - u, age, panel, spread, np.ones(len(t), dtype=np.bool_)
    )


def answers(run: Course, weights: Weights | None = None) -> dict[Milestone, Passing]:
    return passings({"central": run}, 0, weights)


def touched(run: Course, at_h: float, words: tuple[Word, ...], coupon_C: float | None = None) -> Touch:
    return touch(run, round(at_h * HOUR_MS), *words, coupon_C=coupon_C)


@dataclass
class Score:
    """How answers compare with truths, milestone by milestone."""

    inside: dict[Milestone, list[bool]] = field(default_factory=lambda: {m: [] for m in JUDGED})
    false: dict[Milestone, list[bool]] = field(default_factory=lambda: {m: [] for m in JUDGED})
    width: dict[Milestone, list[float]] = field(default_factory=lambda: {m: [] for m in JUDGED})

    def add(self, found: dict[Milestone, Passing], truth: Truths, row: int) -> None:
        for milestone in JUDGED:
            early, late, safe = (
                np.inf if at is None else at / HOUR_MS
                for at in (found[milestone].early, found[milestone].late, found[milestone].safe)
            )
            true = truth.passed_h[milestone][row]
            closes = milestone is Milestone.RECOAT_UNTIL
            true -= STEP_H if closes else 0.0  # what closes is said to be open up to the step before
            self.inside[milestone].append(bool(early - 1e-6 <= true <= late + 1e-6))
            self.false[milestone].append(bool(true < safe - 1e-6 if closes else true > safe + 1e-6))
            self.width[milestone].append(late - early)

    def coverage(self, milestone: Milestone) -> float:
        return float(np.mean(self.inside[milestone]))

    def wrong(self, milestone: Milestone) -> float:
        return float(np.mean(self.false[milestone]))

    def table(self) -> str:
        return "  ".join(f"{m.value} {self.coverage(m):.3f}/{self.wrong(m):.3f}" for m in JUDGED)
