"""Thinning against brute force: no peak and no dip is lost, no gap is bridged, whatever the readings are."""

from __future__ import annotations

import itertools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.thin_line import Line, drawn, end_to_end, rolled
from model.history import Samples

JOIN_MS = 50_000
STEP_MS = 60_000

spacings = st.lists(st.sampled_from([1, 7_000, 10_000, 50_000, 50_001, 400_000, 4_000_000]), max_size=120)


@st.composite
def lines(draw: st.DrawFn) -> Line:
    """Readings at odd spacings, many gaps among them, of few values so that equals are common."""
    t = np.cumsum(np.array([draw(st.integers(0, 10**7)), *draw(spacings)], np.int64))
    values = draw(st.lists(st.integers(-5, 5), min_size=len(t), max_size=len(t)))
    return Line.of(Samples(t, np.array(values, float)), JOIN_MS)


def gap_between(line: Line, first: int, last: int) -> bool:
    """Whether two neighbours of the whole line between these times are too far apart: by looking at each."""
    inside = [int(t) for t in line.t if first <= t <= last]
    return any(b - a > JOIN_MS for a, b in itertools.pairwise(inside))


@given(lines(), st.sampled_from([1, 3, 60]))
@settings(max_examples=60, deadline=None)
def test_the_least_and_the_greatest_of_every_stretch_are_drawn(line: Line, times: int) -> None:
    step = STEP_MS * times
    for thin in (rolled(line, step), drawn(rolled(line, step), step)):
        assert set(zip(thin.t, thin.value, strict=True)) <= set(zip(line.t, line.value, strict=True))
        for stretch in {int(t) // step for t in line.t}:
            whole = [v for t, v in zip(line.t, line.value, strict=True) if int(t) // step == stretch]
            kept = [v for t, v in zip(thin.t, thin.value, strict=True) if int(t) // step == stretch]
            assert (min(kept), max(kept)) == (min(whole), max(whole))


@given(lines(), st.sampled_from([1, 3, 60]))
@settings(max_examples=60, deadline=None)
def test_two_points_are_joined_only_if_no_gap_lies_between_them(line: Line, times: int) -> None:
    step = STEP_MS * times
    for thin in (rolled(line, step), drawn(rolled(line, step), step)):
        for i in range(1, len(thin)):
            assert bool(thin.parted[i]) == gap_between(line, int(thin.t[i - 1]), int(thin.t[i]))


@given(lines(), st.sampled_from([1, 3, 60]))
@settings(max_examples=60, deadline=None)
def test_a_gap_is_drawn_from_the_last_point_before_it_to_the_first_after_it(line: Line, times: int) -> None:
    """Else a chart would hatch less than it leaves out."""
    whole = rolled(line, STEP_MS * times)
    ends = [
        {(int(of.t[i - 1]), int(of.t[i])) for i in range(1, len(of)) if of.parted[i]}
        for of in (whole, drawn(whole, STEP_MS * times))
    ]
    assert ends[0] == ends[1]


@given(lines(), st.sampled_from([2, 5, 60]))
@settings(max_examples=60, deadline=None)
def test_thinning_twice_is_thinning_once(line: Line, times: int) -> None:
    at_once, twice = rolled(line, STEP_MS * times), rolled(rolled(line, STEP_MS), STEP_MS * times)
    assert np.array_equal(at_once.t, twice.t)
    assert np.array_equal(at_once.value, twice.value)
    assert np.array_equal(at_once.parted, twice.parted)


@given(lines())
@settings(max_examples=60, deadline=None)
def test_the_value_between_two_stretches_stays_what_it_was(line: Line) -> None:
    """By the straight line between the two readings around it, or not at all if they are too far apart."""
    edges = np.arange(int(line.t[0]) // STEP_MS, int(line.t[-1]) // STEP_MS + 2, dtype=np.int64) * STEP_MS
    got = rolled(line, STEP_MS).at(edges)
    for edge, value in zip(edges.tolist(), got.tolist(), strict=True):
        before = [i for i, t in enumerate(line.t) if t <= edge]
        after = [i for i, t in enumerate(line.t) if t >= edge]
        if not before or not after:
            assert np.isnan(value)
            continue
        a, b = before[-1], after[0]
        if a != b and line.t[b] - line.t[a] > JOIN_MS:
            assert np.isnan(value)
        else:
            share = 0.0 if a == b else (edge - line.t[a]) / (line.t[b] - line.t[a])
            assert abs(value - (line.value[a] + share * (line.value[b] - line.value[a]))) < 1e-9
    shown = drawn(rolled(line, STEP_MS), STEP_MS).through(edges, got)
    assert np.array_equal(shown.at(edges), got, equal_nan=True)


@given(lines(), st.integers(0, 120))
@settings(max_examples=60, deadline=None)
def test_a_line_cut_in_two_and_joined_again_is_the_line(line: Line, at: int) -> None:
    cut = int(line.t[min(at, len(line) - 1)])
    again = end_to_end([line.between(0, cut), line.between(cut, 2**62)])
    assert np.array_equal(again.t, line.t)
    assert np.array_equal(again.parted, line.parted)


@given(lines(), st.integers(0, 120))
@settings(max_examples=60, deadline=None)
def test_thinning_by_the_hour_is_thinning_the_whole(line: Line, at: int) -> None:
    """Roll-ups are kept an hour at a time: no gap comes up where two of them meet."""
    cut = int(line.t[min(at, len(line) - 1)]) // STEP_MS * STEP_MS
    parts = [rolled(line.between(0, cut), STEP_MS), rolled(line.between(cut, 2**62), STEP_MS)]
    again, whole = end_to_end(parts), rolled(line, STEP_MS)
    assert np.array_equal(again.t, whole.t)
    assert np.array_equal(again.parted, whole.parted)


def test_a_line_goes_on_to_now_only_while_its_last_reading_is_young() -> None:
    line = Line.of(Samples(np.array([0, 10_000]), np.array([1.0, 2.0])), JOIN_MS)
    assert line.held_to(60_000, JOIN_MS).t.tolist() == [0, 10_000, 60_000]
    assert line.held_to(60_001, JOIN_MS).t.tolist() == [0, 10_000]
    assert line.held_to(10_000, JOIN_MS) is line
    assert (
        len(Line.nothing().held_to(5, JOIN_MS))
        == len(rolled(Line.nothing(), 60))
        == len(drawn(end_to_end([]), 60))
        == 0
    )


@given(st.data())
def test_points_that_are_put_in_stand_in_their_order_and_those_that_were_there_stay(
    data: st.DataObject,
) -> None:
    """Against the plainest way: one point after the other."""
    times = st.lists(st.integers(1, 60), unique=True, max_size=15).map(sorted)
    t, more = data.draw(times), data.draw(times)
    values = [data.draw(st.sampled_from([5.0, np.nan])) for _ in more]
    line = Line(
        np.array(t, np.int64), np.arange(len(t), dtype=float), np.array([at % 3 == 0 for at in t], np.bool_)
    )
    put = {at: (value, False) for at, value in zip(more, values, strict=True) if np.isfinite(value)}
    there = {at: (float(n), at % 3 == 0) for n, at in enumerate(t)}
    got = line.through(np.array(more, np.int64), np.array(values))
    points = zip(got.t.tolist(), got.value.tolist(), got.parted.tolist(), strict=True)
    assert [(at, (value, parted)) for at, value, parted in points] == sorted((put | there).items())
