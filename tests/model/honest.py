"""Trials of the range on simulated panels; the counts are the callers'."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from model.blocks import Floats
from model.coat import Course
from model.lot import LotRange
from model.milestones import Passing
from model.observation import Touch, hardness_supports, learn, suspect_mix
from model.resin_card import Milestone
from tests.model.simulated import (
    CARD,
    MERGED,
    PAGE,
    SCHEDULES,
    STEP_H,
    Hand,
    Score,
    Truths,
    World,
    answers,
    plain_word,
    prior,
    say,
    touched,
    truths,
)
from tests.resin import HOUR_MS

Hands = Callable[[np.random.Generator], tuple[Hand, Hand]]
Ages = Callable[[np.random.Generator], Sequence[float]]


def sampling_error(share: float, count: int, sigmas: float = 2.0) -> float:
    """What chance alone moves a share found in `count` panels by, two standard errors."""
    return sigmas * float(np.sqrt(share * (1.0 - share) / count))


def untouched(world: World, count: int, seed: int = 1) -> Score:
    """How the range before any touch compares with `count` truths under each schedule."""
    rng, score = np.random.default_rng(seed), Score()
    for readings in SCHEDULES:
        truth, found = truths(world, readings, count, rng), answers(prior(readings))
        for row in range(count):
            score.add(found, truth, row)
    return score


def young(rng: np.random.Generator) -> Sequence[float]:
    """Two touches while the recoat window is on somebody's mind: ages of 0.7 to 2.8 times its opening."""
    return sorted(CARD.film.recoat_from.middle * np.exp(rng.uniform(np.log(0.7), np.log(2.8), 2)))


def glassy(rng: np.random.Generator) -> Sequence[float]:
    """Two touches at ages at which a film at 5 degC is glassy and far from cured."""
    return sorted(rng.uniform(2.0, 8.0, 2))


def clock(run: Course, age_h: float) -> float:
    """Hours at which the middle of the range is that old."""
    middle = np.median(run.age_h, axis=1)
    return float((np.searchsorted(middle, age_h) + 1) * STEP_H)


def always(hand: Hand) -> Hands:
    """The same hand on every panel."""
    return lambda _: (hand, hand)


def biased(bias: float) -> Hands:
    """Half of the hands say everything too hard, half too soft."""

    def hands(rng: np.random.Generator) -> tuple[Hand, Hand]:
        hand = Hand(bias=bias * rng.choice([-1.0, 1.0]))
        return hand, hand

    return hands


@dataclass
class Trial:
    before: Score = field(default_factory=Score)
    after: Score = field(default_factory=Score)
    disagreements: int = 0
    unseen: int = 0
    """Panels whose range for sanding narrowed by more than a tenth without a word or the mix reported."""
    suspected: int = 0

    def judge(
        self,
        run: Course,
        before: dict[Milestone, Passing],
        touches: Sequence[Touch],
        truth: Truths,
        row: int,
    ) -> None:
        """Adds one panel: answers before its touches, and after."""
        learned = learn(run.calibration, touches)
        self.before.add(before, truth, row)
        self.after.add(answers(run, learned.weights), truth, row)
        self.disagreements += bool(learned.disagrees)
        self.suspected += learned.suspect
        narrowed = self.after.width[Milestone.SAND][-1] < 0.9 * self.before.width[Milestone.SAND][-1]
        self.unseen += narrowed and not learned.disagrees and not learned.suspect

    def width(self, milestone: Milestone) -> float:
        """Median of width after over width before."""
        return float(
            np.median(np.array(self.after.width[milestone]) / np.array(self.before.width[milestone]))
        )


def thumbs(
    world: World,
    hands: Hands,
    count: int,
    ages: Ages = young,
    schedules: Sequence[Callable[[Floats], Floats]] = SCHEDULES,
    invented: bool = False,
    seed: int = 2,
) -> Trial:
    """The range before and after touches at the given ages; each panel has hands of its own."""
    rng, trial = np.random.default_rng(seed), Trial()
    for readings in schedules:
        run, truth = prior(readings, invented), truths(world, readings, count, rng)
        before = answers(run)
        for row in range(count):
            touches = []
            for age, by in zip(ages(rng), hands(rng), strict=True):
                at_h = clock(run, age)
                touches.append(touched(run, at_h, say(truth, row, at_h, by, rng)))
            trial.judge(run, before, touches, truth, row)
    return trial


def contradictions(world: World, count: int, invented: bool = False, seed: int = 2) -> Trial:
    """Two touches of which one says two or three words too hard and one as many too soft, in either order."""
    rng, trial = np.random.default_rng(seed), Trial()
    for readings in SCHEDULES:
        run, truth = prior(readings, invented), truths(world, readings, count, rng)
        before = answers(run)
        for row in range(count):
            pair = _contradiction(run, truth, row, rng)
            if pair:
                trial.judge(run, before, pair, truth, row)
    return trial


def _contradiction(run: Course, truth: Truths, row: int, rng: np.random.Generator) -> list[Touch]:
    """Empty if no ages were found in 50 trials at which the page has such words: a film that stays wet, say."""
    for _ in range(50):
        hours = [clock(run, age) for age in young(rng)]
        true = [PAGE.index(plain_word(truth, row, at_h)) for at_h in hours]
        sign, (one, other) = rng.choice([-1, 1]), rng.integers(2, 4, 2)
        said = [true[0] + sign * one, true[1] - sign * other]
        if all(0 <= index < len(PAGE) for index in said):
            words = [MERGED.get(PAGE[index], (PAGE[index],)) for index in said]
            return [touched(run, at_h, of) for at_h, of in zip(hours, words, strict=True)]
    return []


@dataclass
class Pots:
    bad: int = 0
    good: int = 0
    demould_of_bad: int = 0
    demould_of_good: int = 0
    suspected_bad: int = 0
    suspected_good: int = 0


def pots(world: World, count: int, seed: int = 3) -> Pots:
    """Panels touched twice while young (slips included), and a tile at 20 degC felt when the model would demould.

    A demould is said if 95 % of the range has passed, the tile's hardness supports it, and nobody suspects the mix.
    The tile is felt without slips: 1 mis-tap in 70 would otherwise pass for evidence.
    """
    rng, found = np.random.default_rng(seed), Pots()
    for readings in SCHEDULES:
        run, truth = prior(readings), truths(world, readings, count, rng)
        for row in range(count):
            _pot(found, run, truth, row, rng)
    return found


def _pot(found: Pots, run: Course, truth: Truths, row: int, rng: np.random.Generator) -> None:
    bad, touches = bool(truth.bad[row]), []
    for age in (*young(rng), CARD.film.sand.middle * 1.5):
        at_h = clock(run, age)
        touches.append(touched(run, at_h, say(truth, row, at_h, Hand(), rng)))
    learned = learn(run.calibration, touches)
    safe = answers(run, learned.weights)[Milestone.DEMOULD].safe
    said = False
    if safe is not None and not learned.suspect:
        tile = say(truth, row, safe / HOUR_MS, Hand(slip=0.0), rng, coupon=True)
        touches.append(touched(run, safe / HOUR_MS, tile, coupon_C=20.0))
        said = hardness_supports(run.calibration, touches) and not suspect_mix(run.calibration, touches)
    found.bad += bad
    found.good += not bad
    found.demould_of_bad += said and bad
    found.demould_of_good += said and not bad
    found.suspected_bad += learned.suspect and bad
    found.suspected_good += learned.suspect and not bad


@dataclass
class LotTrial:
    """Scores of the first, second, ... panel of each lot before its own touches: by card and lot, by card alone."""

    taught: list[Score]
    untaught: list[Score]

    def pooled(self, of: Callable[[Score], float]) -> tuple[float, float]:
        """A figure over all panels but the first, which nobody has taught: by card and lot, and by card alone."""
        later, plain = self.taught[1:], self.untaught[1:]
        return float(np.mean([of(score) for score in later])), float(np.mean([of(score) for score in plain]))

    def width(self, milestone: Milestone) -> float:
        """Median of width by card and lot over width by card alone, of the last panels."""
        last, plain = self.taught[-1].width[milestone], self.untaught[-1].width[milestone]
        return float(np.median(np.array(last) / np.array(plain)))


def lots(count: int, panels: int = 5, hands: Hands | None = None, seed: int = 4) -> LotTrial:
    """`count` lots of so many panels each, felt twice while young; a lot's hand stays the same. Rates of its panels
    scatter by 8 % around the lot's.
    """
    rng, hands = np.random.default_rng(seed), hands or always(Hand())
    trial = LotTrial([Score() for _ in range(panels)], [Score() for _ in range(panels)])
    for index in range(count):
        lot, hand = None, hands(rng)[0]
        rate, E, full = rng.normal(0.0, 0.25, 1), rng.normal(57e3, 6e3, 1), rng.normal(85.0, 10.0, 1)
        for number in range(panels):
            readings = SCHEDULES[(index + number) % len(SCHEDULES)]
            run = prior(readings)
            of = run.calibration.members
            truth = truths(World(), readings, 1, rng, rate + rng.normal(0.0, 0.08, 1), E, full)
            before = None if lot is None else lot.weights(of, CARD)
            trial.untaught[number].add(answers(run), truth, 0)
            shown = None if lot is None else lot.by_its_hand().weights(of, CARD)
            trial.taught[number].add(answers(run, learn(run.calibration, [], lot=shown).weights), truth, 0)
            touches = []
            for age in young(rng):
                at_h = clock(run, age)
                touches.append(touched(run, at_h, say(truth, 0, at_h, hand, rng)))
            alone = learn(run.calibration, touches)
            if not (alone.suspect or alone.disagrees):
                learned = learn(run.calibration, touches, lot=before)
                lot = (lot or LotRange.new(CARD)).taught(of, learned.weights)
    return trial
