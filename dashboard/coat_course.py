"""Follows one coat through the temperatures it had and those it is likely to have: its range and its middle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from dashboard.facts import last_start_of, start_of
from dashboard.lot_known import LotKnown
from dashboard.mix_fault import fault_of
from dashboard.panel import Coat
from model.blocks import Blocks, Floats
from model.calibration import Calibration, calibrate, card_central, card_members
from model.coat import Course, Path, courses
from model.coat_kinds import CoatKind, rules_of
from model.members import Weights, quantile
from model.milestones import Passing, passings
from model.observation import Learned, Touch, learn, suspected_since, touch
from model.pot import PotModel, pot_model
from model.resin_card import CLOSING, Milestone, ResinCard


@dataclass(frozen=True)
class CoatCourse:
    """One coat: its range on each path, the card's own single member, and where it stands now.

    conversion, age_h   of the middle of the range now
    learned      what thumb tests, and the lot, did to the range; weights: the same, None if nothing did
    suspect_since   when the slow end had passed the softness that a thumb still finds, UTC ms; None: not suspected
    rate_range   the coat's rate over the card's, 10, 50 and 90 %
    conversion_range, age_range_h, glass_transition_C   10, 50 and 90 % now
    """

    coat: Coat
    card: ResinCard
    paths: Mapping[Path, Course]
    central: Calibration
    middle: Course
    passings: Mapping[Milestone, Passing]
    learned: Learned
    weights: Weights | None
    suspect_since: int | None
    conversion: float
    age_h: float
    conversion_range: tuple[float, float, float]
    rate_range: tuple[float, float, float]
    age_range_h: tuple[float, float, float]
    glass_transition_C: tuple[float, float, float]

    @property
    def quick_rate(self) -> float:
        """The rate of the quick end over the card's; no thumb makes a pot's life longer."""
        calibration = self.paths["central"].calibration
        return max(self.rate_range[2], float(quantile(calibration.rate, 0.9)))


@dataclass(frozen=True)
class _Calibrated:
    """A card's range, the one coat that does what the card says, and both as one, to be followed in one go."""

    range: Calibration
    central: Calibration
    both: Calibration


@lru_cache(maxsize=64)
def _calibrated(card: ResinCard, probe_sd_K: float) -> _Calibrated:
    members, one = card_members(card, probe_sd_K=probe_sd_K), card_central(card)
    return _Calibrated(calibrate(card, members), calibrate(card, one), calibrate(card, members.joined(one)))


def range_of(card: ResinCard, accuracy_K: float) -> Calibration:
    """The card's range, for a probe of this accuracy (95 % half-width)."""
    return _calibrated(card, accuracy_K / 2.0).range


@lru_cache(maxsize=64)
def pot_of(card: ResinCard) -> PotModel:
    """The card's resin in bulk."""
    return pot_model(calibrate(card, card_central(card)))


def _part(whole: Course, calibration: Calibration, members: slice) -> Course:
    """The course of some of the members that were followed together."""
    return replace(
        whole,
        calibration=calibration,
        remaining=whole.remaining[:, members],
        conversion=whole.conversion[:, members],
        age_h=whole.age_h[:, members],
    )


def follow_coat(
    coat: Coat, card: ResinCard, whole: Blocks, at: int, accuracy_K: float, lot: LotKnown | None = None
) -> CoatCourse:
    """The coat's course over `whole`, history and outlook, and where it stands at `at` (UTC ms).

    A coat of several pots closes by the first and becomes ready by the last. lot: what others have taught of its lot.
    """
    of = _calibrated(card, accuracy_K / 2.0)
    first, last = start_of(coat, card), last_start_of(coat, card)
    paths, middle = _paths(of, whole, last)
    eldest = paths if last == first else _paths(of, whole, first)[0]
    # Nobody knows whose film a thumb met: taken for the first pot's, it never makes the last one ready too soon.
    learned, touches = told_by(coat, of.range, eldest["central"], at, lot)
    weights = learned.weights if touches or learned.on_lot else None
    rules = rules_of(CoatKind(coat.kind), coat.peel_ply, coat.taped)
    passed = passings(paths, at, weights, rules)
    if last != first:
        closes = passings(eldest, at, weights, rules)
        passed |= {milestone: passing for milestone, passing in closes.items() if milestone in CLOSING}
    low, likely, high = _ends(paths, at, learned.weights.likely)
    return CoatCourse(
        coat=coat,
        card=card,
        paths=paths,
        central=of.central,
        learned=learned,
        weights=weights,
        suspect_since=suspected_since(eldest["central"], touches),
        rate_range=_three(quantile(of.range.rate, (0.1, 0.5, 0.9), learned.weights.likely)),
        middle=middle,
        passings=passed,
        conversion=likely[0],
        age_h=likely[1],
        conversion_range=(low[0], likely[0], high[0]),
        age_range_h=(low[1], likely[1], high[1]),
        glass_transition_C=(low[2], likely[2], high[2]),
    )


def told_by(
    coat: Coat, of: Calibration, central: Course, at: int, lot: LotKnown | None = None
) -> tuple[Learned, list[Touch]]:
    """What was learned by `at` (UTC ms) of a coat that followed `central`, and from which touches: from those that
    are sure. One that is not may still contradict.

    A pot that was mixed wrongly teaches its card nothing, and a lot says nothing of it.
    """
    if fault_of(coat, of.card):
        return learn(of, []), []
    before = None if lot is None else lot.weights(of.members, of.card)
    told = _touches(coat, central, at)
    sure = [item for item, is_sure in told if is_sure]
    learned = learn(of, sure, lot=before)
    if len(sure) == len(told):
        return learned, sure
    every = learn(of, [item for item, _ in told])
    return replace(learned, disagrees=every.disagrees, torn=every.torn), sure


def _touches(coat: Coat, central: Course, at: int) -> list[tuple[Touch, bool]]:
    """The coat's thumb tests up to `at` and whether each is sure; none of its first minute: nothing stands then."""
    return [
        (touch(central, test.at, *test.words, coupon_C=test.tile_C), test.sure)
        for test in coat.thumb_tests
        if test.at <= at and central.row(test.at) >= 0
    ]


def _paths(of: _Calibrated, whole: Blocks, start: int) -> tuple[dict[Path, Course], Course]:
    """The range's course on each path, and the card's own."""
    count = len(of.range.members)
    together = courses(of.both, whole, start)
    paths = {path: _part(item, of.range, slice(count)) for path, item in together.items()}
    return paths, _part(together["central"], of.central, slice(count, None))


def _ends(paths: Mapping[Path, Course], at: int, weights: Floats) -> list[tuple[float, float, float]]:
    """(conversion, equivalent age in h, Tg in degC) at `at` for the slow end, the middle and the quick end."""
    ends: tuple[tuple[Path, float], ...] = (("cold", 0.1), ("central", 0.5), ("hot", 0.9))
    found = []
    for path, q in ends:
        of = paths.get(path, paths["central"])
        state = of.state(at)
        conversion = 1.0 - state.u
        found.append(
            (
                float(quantile(conversion, q, weights)),
                float(quantile(state.age_h, q, weights)),
                float(quantile(of.calibration.glass_transition(conversion), q, weights)),
            )
        )
    return found


def _three(values: Floats) -> tuple[float, float, float]:
    low, middle, high = (float(value) for value in values)
    return low, middle, high
