"""What a thumb found on a film, and what that says about which members of the range are right.

A film is felt either as old as its equivalent age, or as old as a film at the sheet's temperature would be that
is as far above or below its glass transition as this one is under the thumb. At the sheet's temperature both are
the same. In the cold the second is older: such a film is glassy, not cured. Which of the two a thumb meets is not
known, so a thumb's word counts half by each. Sanding paper meets glass: "dusts" and "gums" count by the second
alone, and dust from a film colder than the sheet's temperature counts for nothing, because it may be glass.
(Taking the lesser of the two ages for "dusts" would read cold glass as age and push the rate up.)

Word boundaries are common practice put into numbers of our own; no measurement stands behind them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from model.blocks import Floats
from model.calibration import Calibration
from model.coat import CoatState, Course
from model.conversion_time import ConversionTime
from model.members import quantile
from model.resin_card import Milestone


class Word(StrEnum):
    """What was felt, in the order of cure; after that what lies on the film and says nothing of its cure."""

    WET = "wet"
    STRINGY = "stringy"
    SOFT_TACK = "soft tack"
    TAPE = "tacky like tape"
    TACK_FREE = "tack-free"
    SOFT_RUBBER = "soft rubber"
    NAIL_DENTS = "thumbnail dents"
    GUMS = "gums the paper"
    DUSTS = "sands to dust"
    GREASY = "greasy"
    WAXY = "waxy"
    BEADS = "water beads"


FILM_WORDS = frozenset({Word.GREASY, Word.WAXY, Word.BEADS})
"""Blush and water: wash. They never slow the rate, because a greasy skin is not a young film."""
THUMB_WORDS = tuple(Word)[:7]
THUMB_BOUNDS = (0.5, 0.75, 1.0, 1.35, 1.9, 2.6)
"""Upper bounds of all but the last, in ages at "recoat from"."""
SAND_WORDS = (Word.GUMS, Word.DUSTS)

BOUND_WIDTH = 0.10
"""Width of the logistic around a boundary, in ln(age): where two thumbs would say different words."""
ALIKE_K = 5.0
WIDTH_PER_K = 0.05
"""How much wider boundaries get for each kelvin further than ALIKE_K from the sheet's temperature, in ln(age): how
hardness carries over is a guess, and a thumb in the cold must teach little (our own figures)."""
HABIT_SD = 0.10
"""Standard deviation of a thumb's habit on one panel, in ln(age): the same hand errs the same way twice (our own)."""
SLIP = 0.1
SLIP_WORDS = 7
"""Share of words that are slips, spread over the page's seven buttons: without it contradictions would not widen."""
DISAGREES = 0.1
"""A word less than this share as likely as the likeliest of its kind is reported."""
SUSPECT_RATIO = 2.0
"""Still so soft at so many times the age at which the word ends, by the slow end of the range: suspect the mix
(common practice, no source)."""
TELLING_K = 3.0
"""Dust felt further below the sheet's temperature than this may be glass: it teaches and proves nothing."""
LEAST_EFFECTIVE = 24.0
"""A range must rest on at least so many members' worth of weight; sharper weights are flattened until it does."""
_SLOW_END = 0.1
_HABITS, _ONCE = np.polynomial.hermite_e.hermegauss(7)
_HABIT_WEIGHTS = np.concatenate([_ONCE, _ONCE]) / (2.0 * _ONCE.sum())
"""A habit holds for all touches on a panel, and so does what they meet, age or glass: half the weight each."""


@dataclass(frozen=True)
class Touch:
    """One touch on one coat.

    words       what was said: one word, or the neighbours that a page with fewer words has merged
    at_ms       when, UTC ms
    state       where every member stood then
    touched_C   the film's temperature under the thumb for each member, degC (N,)
    Raises ValueError for no word, or words of different kinds.
    """

    words: tuple[Word, ...]
    at_ms: int
    state: CoatState
    touched_C: Floats

    def __post_init__(self) -> None:
        kinds = [kind for kind in (THUMB_WORDS, SAND_WORDS, FILM_WORDS) if set(self.words) <= set(kind)]
        if not self.words or not kinds:
            raise ValueError(
                f"words of one test belong together, got {', '.join(self.words) or 'none'}; allowed: some of "
                "the thumb's words, or of the sanding paper's, or of what lies on the film"
            )

    @property
    def washes(self) -> bool:
        """Something lies on the film: wash it before going on."""
        return self.words[0] in FILM_WORDS


def touch(course: Course, at_ms: int, *words: Word, coupon_C: float | None = None) -> Touch:
    """A touch at `at_ms` (UTC ms) on the coat followed by `course`; coupon_C, degC, if a tile that cured beside
    the panel was brought to that temperature first. Raises ValueError before the coat's first minute has ended.
    """
    row = course.row(at_ms)
    if row < 0:
        raise ValueError("nothing can be felt before the coat's first minute has ended")
    panel = course.temperature(slice(row, row + 1))[0]
    touched = panel if coupon_C is None else np.full(len(panel), coupon_C)
    return Touch(words, at_ms, course.state(at_ms), touched)


@dataclass(frozen=True)
class Learned:
    """What touches did to the range.

    weights     float64 (N,), sum 1
    effective   effective number of members, 1 / sum of squared weights
    disagrees   indices of touches with a word less than a tenth as likely, given temperatures and all other
                touches, as the likeliest word of its kind. Unless more touches agree than disagree, nothing is
                learned: an unlikely word asks for another touch before it teaches
    suspect     the mix is suspected: nothing was learned
    Where nothing was learned all weights are equal.
    """

    weights: Floats
    effective: float
    disagrees: tuple[int, ...]
    suspect: bool


def learn(calibration: Calibration, touches: Sequence[Touch], suspect: bool = False) -> Learned:
    """Weights of the members after `touches`, in any order; taking one back is asking again without it.

    suspect    somebody already suspects the pot (off ratio, badly stirred): it must not teach
    """
    count = len(calibration.members)
    felt = {
        index: _Felt(calibration, item) for index, item in enumerate(touches) if _telling(calibration, item)
    }
    likelihood = {index: item.likelihood(touches[index].words) for index, item in felt.items()}
    joint = {index: _product([of for other, of in likelihood.items() if other != index]) for index in felt}
    disagrees = tuple(
        index for index, item in felt.items() if _disagrees(item, touches[index], joint[index], count)
    )
    suspect = suspect or suspect_mix(calibration, touches)
    outvoted = len(disagrees) < len(felt) - len(disagrees)
    if suspect or not outvoted:
        return Learned(np.full(count, 1.0 / count), float(count), disagrees, suspect)
    weights = _flattened(_over_habits(_product(list(likelihood.values()))).sum(axis=0))
    return Learned(weights, effective(weights), disagrees, suspect)


def effective(weights: Floats) -> float:
    """Effective number of members, from 1 to N: (sum of weights)^2 / sum of squared weights (Kish)."""
    return float(weights.sum() ** 2 / (weights * weights).sum())


def suspect_mix(calibration: Calibration, touches: Sequence[Touch]) -> bool:
    """Whether the newest telling touch found a film still soft at twice the age at which its word ends, and
    that even for the slow end of the range: waiting will not cure it.
    """
    newest = _newest_telling(calibration, touches)
    if newest is None or newest.words[0] is Word.DUSTS:
        return False
    felt = _Felt(calibration, newest)
    age = float(quantile(np.minimum(felt.age_h, felt.glass_age_h), _SLOW_END))
    return age >= SUSPECT_RATIO * _end_h(calibration, newest.words[-1])


def hardness_supports(calibration: Calibration, touches: Sequence[Touch]) -> bool:
    """Whether the newest telling touch is dust, felt no colder than 3 K below the sheet's temperature: the
    physical evidence that demoulding asks for beside the model's 95 %.
    """
    newest = _newest_telling(calibration, touches)
    return newest is not None and newest.words == (Word.DUSTS,)


def probabilities(calibration: Calibration, item: Touch) -> dict[Word, Floats]:
    """P(word | member) for each word of the kind that was said, float64 (N,), without habit and slips."""
    return {word: of.mean(axis=0) for word, of in _Felt(calibration, item).table(np.zeros(1)).items()}


class _Felt:
    """The ages, h (N,), that a touch may have met: by reaction, and by glass."""

    def __init__(self, calibration: Calibration, item: Touch) -> None:
        card, full = calibration.card, calibration.members.Tg_inf_C
        self._calibration = calibration
        self._sanding = item.words[0] in SAND_WORDS
        self.age_h = np.maximum(item.state.age_h, 1e-9)
        transition = calibration.glass_transition(1.0 - item.state.u) + card.reference_C - item.touched_C
        time = ConversionTime(calibration.law, calibration.law.critical(card.reference_C, full))
        alike = time.to(calibration.law.conversion_at(transition, full))
        self.glass_age_h = np.maximum(alike / calibration.k_per_h, 1e-9)
        away = np.maximum(np.abs(item.touched_C - card.reference_C) - ALIKE_K, 0.0)
        self._width = np.hypot(BOUND_WIDTH, WIDTH_PER_K * away)

    def table(self, habits: Floats) -> dict[Word, Floats]:
        """P(word | habit, member) for all words of the kind, (2 habits, N): met by age, then met by glass."""
        sand = self._calibration.hours(Milestone.SAND) or 0.0
        if self._sanding:
            dusts = self._beyond(self.glass_age_h, sand, habits)
            dusts = np.concatenate([dusts, dusts])
            return {Word.GUMS: 1.0 - dusts, Word.DUSTS: dusts}
        by_age, by_glass = self._thumb(self.age_h, habits), self._thumb(self.glass_age_h, habits)
        return {word: np.concatenate([by_age[word], by_glass[word]]) for word in THUMB_WORDS}

    def likelihood(self, words: tuple[Word, ...]) -> Floats:
        """As table(): slips included."""
        table, said = self.table(HABIT_SD * _HABITS), set(words)
        total = np.add.reduce([table[word] for word in table if word in said])
        return np.asarray((1.0 - SLIP) * total + SLIP * len(said) / SLIP_WORDS)

    def _thumb(self, age_h: Floats, habits: Floats) -> dict[Word, Floats]:
        ends = [_end_h(self._calibration, word) for word in THUMB_WORDS]
        beyond = [self._beyond(age_h, end, habits) for end in ends]
        lower = [np.ones_like(beyond[0]), *beyond]
        return {word: lower[i] - beyond[i] for i, word in enumerate(THUMB_WORDS)}

    def _beyond(self, age_h: Floats, end_h: float, habits: Floats) -> Floats:
        """Share of thumbs that would say something harder than the word ending at end_h, (habits, N)."""
        z = (np.log(age_h / end_h) + habits[:, np.newaxis]) / self._width
        return np.asarray(0.5 * (1.0 + np.tanh(0.5 * z)))


def _end_h(calibration: Calibration, word: Word) -> float:
    """Age at which the word ends, h at the sheet's temperature; a nail dents until the film can be sanded."""
    bounds = dict(zip(THUMB_WORDS, THUMB_BOUNDS, strict=False))
    if word in bounds:
        return bounds[word] * calibration.card.film.recoat_from.middle
    return calibration.card.film.sand.middle


def _newest_telling(calibration: Calibration, touches: Sequence[Touch]) -> Touch | None:
    telling = (item for item in touches if _telling(calibration, item))
    return max(telling, key=lambda item: item.at_ms, default=None)


def _telling(calibration: Calibration, item: Touch) -> bool:
    """Whether a touch says something of the cure: not what lies on the film, and not dust from a cold one."""
    if item.washes:
        return False
    cold = float(np.median(item.touched_C)) < calibration.card.reference_C - TELLING_K
    return not (cold and item.words[-1] is Word.DUSTS)


def _product(likelihoods: Sequence[Floats]) -> Floats | float:
    """Of (2 habits, N) each; 1 if there is none."""
    return np.multiply.reduce(likelihoods) if likelihoods else 1.0


def _over_habits(values: Floats | float) -> Floats:
    """Each habit's row by its share, (2 habits, N)."""
    return np.asarray(values * _HABIT_WEIGHTS[:, np.newaxis])


def _disagrees(felt: _Felt, item: Touch, others: Floats | float, count: int) -> bool:
    before = _over_habits(others) * np.ones(count)
    expected = {word: float((before * of).sum()) for word, of in felt.table(HABIT_SD * _HABITS).items()}
    return max(expected[word] for word in item.words) < DISAGREES * max(expected.values())


def _flattened(weights: Floats) -> Floats:
    """Weights of sum 1, raised to the largest power of at most 1 that leaves LEAST_EFFECTIVE members' worth."""
    relative = weights / weights.max()
    least = min(LEAST_EFFECTIVE, float(len(weights)))
    low, high = 0.0, 1.0
    if effective(relative) < least:
        for _ in range(40):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if effective(relative**middle) >= least else (low, middle)
        relative = relative**low
    return np.asarray(relative / relative.sum())
