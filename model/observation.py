"""What a thumb found on a film, and what that says about which members of the range are right.

A film is felt either as old as its equivalent age, or as old as a film at the sheet's temperature would be that
is as far above or below its glass transition as this one is under the thumb. At the sheet's temperature both are
the same. In the cold the second is older: such a film is glassy, not cured. Which of the two a thumb meets is not
known, so a thumb's word counts half by each. Sanding paper meets glass: "dusts" counts by the second alone, and
dust from a film colder than the sheet's temperature counts for nothing, because it may be glass. (Taking the lesser
of the two ages for "dusts" would read cold glass as age and push the rate up.) Nobody puts paper on a film that has
only just lost its tack, so "gums" says that it is older than that, too.

The range that is shown takes words as they are. What may be claimed from it does not: a hand has habits, and the
same hand errs the same way on every touch. So "may begin" is claimed as if every hand said two thirds of a word too
hard. That a window is still open is never claimed from a thumb at all (milestones.py): it may only close it.

Word boundaries are common practice put into numbers of our own; no measurement stands behind them.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

import numpy as np

from model.blocks import Floats
from model.calibration import Calibration
from model.coat import CoatState, Course
from model.conversion_time import ConversionTime
from model.members import Weights, quantile


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
HABIT = 0.2
"""How much too hard the words of a hand may be by habit, in ln(age) (our own figure)."""
ALIKE_K = 5.0
HABIT_PER_K = 0.05
"""How much more for each kelvin further than ALIKE_K from the sheet's temperature: how hardness carries over is a
guess, and a thumb in the cold may claim little (our own figures)."""
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
_APART = 2
"""Words so many steps softer than an earlier one of a film no warmer contradict it: cure does not go back."""


def of_one_kind(words: Sequence[Word]) -> bool:
    """Whether words belong to one test: the thumb's, the sanding paper's, or of what lies on the film."""
    return bool(words) and any(set(words) <= set(kind) for kind in (THUMB_WORDS, SAND_WORDS, FILM_WORDS))


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
        if not of_one_kind(self.words):
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

    weights     of the members, for the range and for what may be claimed
    effective   effective number of members in the range, 1 / sum of squared weights
    disagrees   indices of touches with a word less than a tenth as likely, given temperatures and all other
                touches, as the likeliest word of its kind; or of two touches that say the film went back.
                Unless more touches agree than disagree, nothing is learned: an unlikely word asks for another
                touch before it teaches
    torn        the newest touch that tells something is one of them: it asks for another
    suspect     the mix is suspected: nothing was learned
    telling     at least one touch says something of the cure
    on_lot      what other coats of its lot have taught counts
    Where nothing was learned, not from a lot either, all weights are equal.
    """

    weights: Weights
    effective: float
    disagrees: tuple[int, ...]
    torn: bool
    suspect: bool
    telling: bool = False
    on_lot: bool = False


def learn(
    calibration: Calibration, touches: Sequence[Touch], suspect: bool = False, lot: Weights | None = None
) -> Learned:
    """Weights of the members after `touches`, in any order; taking one back is asking again without it.

    suspect    somebody already suspects the pot (off ratio, badly stirred): it must not teach
    lot        weights of the members before any touch, by what other coats of its lot have taught; they count for
               nothing where the touches contradict the temperatures, or one another
    """
    count = len(calibration.members)
    felt = {i: _Felt(calibration, item) for i, item in enumerate(touches) if _telling(calibration, item)}
    disagrees = _disagreements(felt, touches, count)
    torn = _torn(disagrees, felt.keys() | set(disagrees), touches)
    suspect = suspect or suspect_mix(calibration, touches)
    outvoted = len(disagrees) < len(felt.keys() - set(disagrees))
    if suspect or (disagrees and not outvoted):
        return Learned(Weights.equal(count), float(count), disagrees, torn, suspect, bool(felt))

    def said(habit: float) -> Floats:
        return _joint([item.likelihood(touches[i].words, habit) for i, item in felt.items()], count)

    weights = on_top(Weights(likely=said(0.0), cautious=said(1.0)), lot or Weights.equal(count))
    count_of = effective(weights.likely)
    return Learned(weights, count_of, disagrees, torn, suspect, bool(felt), lot is not None)


def on_top(said: Weights, before: Weights) -> Weights:
    """Weights by what was said, of members that had others before; neither need have a sum of 1."""
    return Weights(_flattened(before.likely * said.likely), _flattened(before.cautious * said.cautious))


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


def soft_age_h(calibration: Calibration, touches: Sequence[Touch]) -> float | None:
    """If the mix is suspected: the age, h, at which what the thumb still finds should have ended; None if it is not."""
    newest = _newest_telling(calibration, touches)
    if newest is None or not suspect_mix(calibration, touches):
        return None
    return _end_h(calibration, newest.words[-1])


def suspected_since(course: Course, ends_h: float) -> int | None:
    """When the slow end of the range had passed that age, from soft_age_h(), UTC ms; None: not within the course."""
    row = bisect_left(range(len(course)), ends_h, key=lambda i: float(quantile(course.age_h[i], _SLOW_END)))
    return int(course.t_ms[row]) if row < len(course) else None


def hardness_supports(calibration: Calibration, touches: Sequence[Touch]) -> bool:
    """Whether the newest telling touch is dust, felt no colder than 3 K below the sheet's temperature: the
    physical evidence that demoulding asks for beside the model's 95 %.
    """
    newest = _newest_telling(calibration, touches)
    return newest is not None and newest.words == (Word.DUSTS,)


def probabilities(calibration: Calibration, item: Touch) -> dict[Word, Floats]:
    """P(word | member) for each word of the kind that was said, float64 (N,), without habit and slips."""
    return {word: of.mean(axis=0) for word, of in _Felt(calibration, item).table().items()}


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
        self._habit = HABIT + HABIT_PER_K * away

    def table(self, habit: float = 0.0) -> dict[Word, Floats]:
        """P(word | member) for all words of the kind, (2, N): met by age, then met by glass.

        habit    0 for none, 1 for a hand that says everything too hard
        """
        if not self._sanding:
            by_age, by_glass = self._thumb(self.age_h, habit), self._thumb(self.glass_age_h, habit)
            return {word: np.stack([by_age[word], by_glass[word]]) for word in THUMB_WORDS}
        dusts = self._beyond(self.glass_age_h, self._calibration.card.film.sand.middle, habit)
        tacky = _end_h(self._calibration, Word.TACK_FREE)
        tried = np.stack([self._beyond(age, tacky, habit) for age in (self.age_h, self.glass_age_h)])
        return {Word.GUMS: np.maximum(tried - dusts, 0.0), Word.DUSTS: np.stack([dusts, dusts])}

    def likelihood(self, words: tuple[Word, ...], habit: float = 0.0) -> Floats:
        """As table(): slips included."""
        table, said = self.table(habit), set(words)
        total = np.add.reduce([table[word] for word in table if word in said])
        return np.asarray((1.0 - SLIP) * total + SLIP * len(said) / SLIP_WORDS)

    def _thumb(self, age_h: Floats, habit: float) -> dict[Word, Floats]:
        ends = [_end_h(self._calibration, word) for word in THUMB_WORDS]
        beyond = [self._beyond(age_h, end, habit) for end in ends]
        lower = [np.ones_like(beyond[0]), *beyond]
        return {word: lower[i] - beyond[i] for i, word in enumerate(THUMB_WORDS)}

    def _beyond(self, age_h: Floats, end_h: float, habit: float) -> Floats:
        """Share of thumbs that would say something harder than the word ending at end_h, (N,)."""
        z = (np.log(age_h / end_h) + habit * self._habit) / BOUND_WIDTH
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


def _joint(likelihoods: Sequence[Floats], count: int) -> Floats:
    """Of (2, N) each, float64 (N,): what is met, age or glass, is the same for all touches on a panel."""
    product = np.multiply.reduce(likelihoods) if likelihoods else np.ones((2, count))
    return np.asarray(product.mean(axis=0))


def _disagreements(felt: Mapping[int, _Felt], touches: Sequence[Touch], count: int) -> tuple[int, ...]:
    likelihood = {index: item.likelihood(touches[index].words) for index, item in felt.items()}
    found = set()
    for index, item in felt.items():
        others = [of for other, of in likelihood.items() if other != index]
        before = np.multiply.reduce(others) if others else np.ones((2, count))
        expected = {word: float((before * of).sum()) for word, of in item.table().items()}
        untried = float((before * (1.0 - np.add.reduce(list(item.table().values())))).sum())
        likeliest = max(untried, *expected.values())
        if max(expected[word] for word in touches[index].words) < DISAGREES * likeliest:
            found.add(index)
    said = [index for index, item in enumerate(touches) if not item.washes]
    for pair in combinations(said, 2):  # also dust from a cold film: glass does not turn soft again unwarmed
        if not found & set(pair) and _goes_back(*(touches[index] for index in pair)):
            found |= set(pair)
    return tuple(sorted(found))


def _torn(disagrees: Sequence[int], telling: Iterable[int], touches: Sequence[Touch]) -> bool:
    newest = max((touches[index].at_ms for index in telling), default=None)
    return any(touches[index].at_ms == newest for index in disagrees)


def _goes_back(one: Touch, other: Touch) -> bool:
    """Whether the later of two touches found a softer film, and no warmer."""
    first, second = sorted((one, other), key=lambda item: item.at_ms)
    warmer = float(np.median(second.touched_C - first.touched_C)) > TELLING_K
    order = (*THUMB_WORDS, *SAND_WORDS)
    softest, hardest = (min(map(order.index, first.words)), max(map(order.index, second.words)))
    return not warmer and first.at_ms < second.at_ms and hardest + _APART <= softest


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
