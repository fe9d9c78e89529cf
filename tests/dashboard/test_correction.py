"""Corrections of readings: the arithmetic, its ends, and that every corrected value can be worked out again."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.reading import Quantity
from dashboard.correction import Correction, CorrectionError, Stretch, correct

TEMPERATURE, HUMIDITY = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY


def correction(
    *points: tuple[float, float],
    quantity: Quantity = TEMPERATURE,
    half_width: float = 0.15,
    margin: float = 5.0,
    version: str = "v1",
    since: int = 0,
) -> Correction:
    body = {"quantity": quantity, "points": points, "half_width": half_width, "margin": margin}
    return Correction.of(version, since, body)


@st.composite
def tables(draw: st.DrawFn) -> Correction:
    """One to six points whose errors differ little from one to the next."""
    steps = draw(st.lists(st.integers(10, 120), min_size=1, max_size=6))
    errors = draw(st.lists(st.integers(-4, 4), min_size=len(steps), max_size=len(steps)))
    reads = np.cumsum(steps) / 8.0 - 20.0
    points = [(float(read), float(read) + error / 16) for read, error in zip(reads, errors, strict=True)]
    return correction(*points, margin=draw(st.integers(0, 40)) / 4)


def by_hand(points: tuple[tuple[float, float], ...], margin: float, raw: float) -> Fraction:
    """The same rule in exact fractions, written from the definition and not from the code."""
    x = Fraction(raw)
    errors = [(Fraction(read), Fraction(true) - Fraction(read)) for read, true in points]
    low, high = errors[0][0] - Fraction(margin), errors[-1][0] + Fraction(margin)
    x_used = min(max(x, low), high)
    if len(errors) == 1:
        return x + errors[0][1]
    pairs = list(pairwise(errors))
    (a, at_a), (b, at_b) = next((pair for pair in pairs if x_used <= pair[1][0]), pairs[-1])
    return x + at_a + (at_b - at_a) * (x_used - a) / (b - a)


@given(tables(), st.lists(st.floats(-40.0, 60.0), min_size=1, max_size=20))
@settings(deadline=None, max_examples=150)
def test_a_correction_is_linear_between_its_points_and_stays_what_it_is_past_its_margin(
    table: Correction, raw: list[float]
) -> None:
    """Against the rule in exact fractions; the tolerance is a few roundings at 100."""
    values = table.apply(np.array(raw))
    for read, value in zip(raw, values, strict=True):
        assert abs(Fraction(float(value)) - by_hand(table.points, table.margin, read)) < Fraction(1, 10**11)


@given(
    tables(),
    tables(),
    st.lists(st.tuples(st.integers(0, 999), st.floats(-40.0, 60.0)), min_size=1, max_size=60),
)
@settings(deadline=None, max_examples=150)
def test_every_corrected_value_comes_again_from_its_raw_value_and_the_version_it_names(
    one: Correction, two: Correction, readings: list[tuple[int, float]]
) -> None:
    """FAULTS A20 (ISO/IEC 17025 practice): recomputed value by value, to the last bit, in any order."""
    first = Correction("one", 200, TEMPERATURE, one.points, 0.1, one.margin)
    second = Correction("two", 600, TEMPERATURE, two.points, 0.3, two.margin)
    stretches: tuple[Stretch, ...] = ((-(2**62), None), (200, first), (600, second))
    t = np.array([at for at, _ in readings], np.int64)
    raw = np.array([value for _, value in readings])
    made = correct(t, raw, stretches, 0.8)
    for at, read, value, index in zip(t, raw, made.value, made.version, strict=True):
        named = {"one": first, "two": second}.get(made.versions[index] if index >= 0 else "")
        assert named is (None if at < 200 else first if at < 600 else second)
        assert float(value) == (float(read) if named is None else named.one(float(read)))
    order = np.argsort(raw, kind="stable")
    again = correct(t[order], raw[order], stretches, 0.8)
    assert again.value.tobytes() == made.value[order].tobytes()
    assert raw.tolist() == [value for _, value in readings], "raw values are never changed"


def test_past_its_margin_a_value_is_marked_and_only_as_good_as_the_maker_says() -> None:
    """An offset found in ice water says nothing about 30 degC."""
    ice = correction((0.4, 0.0), half_width=0.1, margin=15.0)
    made = correct(np.arange(4), np.array([0.4, 15.4, 15.5, 30.0]), ((0, ice),), 0.8)
    assert made.value.tolist() == pytest.approx([0.0, 15.0, 15.1, 29.6], abs=1e-12)
    assert made.beyond.tolist() == [False, False, True, True]
    assert made.half_width.tolist() == [0.1, 0.1, 0.8, 0.8]
    worse = correction((0.4, 0.0), half_width=2.0, margin=0.0)
    assert correct(np.arange(1), np.array([9.0]), ((0, worse),), 0.8).half_width.tolist() == [2.0]


def test_a_corrected_humidity_stays_humidity() -> None:
    """A probe that reads 4 % low does not make 103 % of 99; one that reads over 100 already is left there."""
    low = correction((33.0, 37.0), (75.0, 79.0), quantity=HUMIDITY, half_width=2.0, margin=25.0)
    high = correction((75.0, 69.0), quantity=HUMIDITY, half_width=2.0, margin=25.0)
    assert low.apply(np.array([50.0, 99.0, 102.0])).tolist() == [54.0, 100.0, 102.0]
    assert high.apply(np.array([3.0, 80.0])).tolist() == [0.0, 74.0]


@pytest.mark.parametrize(("points", "kind"), [(1, "offset"), (2, "two-point"), (3, "table"), (12, "table")])
def test_the_number_of_points_is_the_kind(points: int, kind: str) -> None:
    assert correction(*[(float(n), float(n)) for n in range(points)]).kind == kind


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"points": []}, "1 to 12 points"),
        ({"points": [[0.0, 11.0]]}, "broken probe"),
        ({"points": [[0.0, 0.0], [0.0, 1.0]]}, "no probe stretches"),
        ({"points": [[0.0, 5.0], [10.0, 6.0]]}, "no probe stretches"),
        ({"points": [[float("nan"), 0.0]]}, "both lie between"),
        ({"points": [[0.0]]}, "a correction needs"),
        ({"half_width": 0.0}, "above 0"),
        ({"half_width": float("inf")}, "above 0"),
        ({"margin": -1.0}, "margin"),
        ({"quantity": "co2"}, "is not corrected"),
        ({"quantity": "colour"}, "a correction needs"),
    ],
)
def test_a_correction_that_makes_no_sense_is_refused_in_words(change: dict[str, object], says: str) -> None:
    body = {"quantity": "temperature", "points": [[0.4, 0.0]], "half_width": 0.1, "margin": 5.0}
    with pytest.raises(CorrectionError, match=says):
        Correction.of("v1", 0, body | change)
