"""Digests of what was folded: any order gives the same, any change another."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboard.folded import THIN_MS, Folded, Read

T0 = 1_795_604_400_000
SPAN_MS = 20 * THIN_MS
ROW = st.tuples(st.integers(0, SPAN_MS - 1), st.floats(-60, 120), st.sampled_from([0, 1, 2, 128, 1024]))
ROWS = st.lists(ROW, min_size=1, max_size=40, unique_by=lambda row: row[0])


def read(rows: list[tuple[int, float, int]]) -> Read:
    ordered = sorted(rows)
    return (
        T0 + np.array([t for t, _, _ in ordered], np.int64),
        np.array([value for _, value, _ in ordered], np.float64),
        np.array([quality for _, _, quality in ordered], np.int64),
    )


def folded(rows: list[tuple[int, float, int]], sizes: list[int]) -> Folded:
    found, rest = Folded(), list(rows)
    for size in [*sizes, len(rest)]:
        part, rest = rest[:size], rest[size:]
        found.add(read(part))
    return found


@settings(max_examples=60, deadline=None)
@given(ROWS, st.lists(st.integers(1, 9), max_size=5), st.randoms(use_true_random=False))
def test_what_came_in_any_order_and_portions_is_what_is_read_at_once(
    rows: list[tuple[int, float, int]], sizes: list[int], chance: object
) -> None:
    mixed = list(rows)
    chance.shuffle(mixed)  # type: ignore[attr-defined]
    assert not folded(mixed, sizes).replace(T0, T0 + SPAN_MS - 1, read(rows))


@settings(max_examples=60, deadline=None)
@given(ROWS, st.data())
def test_one_value_one_flag_or_one_time_that_is_another_is_seen_and_then_known(
    rows: list[tuple[int, float, int]], data: st.DataObject
) -> None:
    kept = folded(rows, [])
    which = data.draw(st.integers(0, len(rows) - 1))
    t, value, quality = rows[which]
    free = st.integers(0, SPAN_MS - 1).filter(lambda at: at not in {row[0] for row in rows})
    other = data.draw(
        st.sampled_from([
            [(t, float(np.nextafter(value, 999.0)), quality)], [(t, value, quality ^ 2)],
            [(data.draw(free), value, quality)], [],
        ])
    )  # fmt: skip
    changed = read([*rows[:which], *rows[which + 1 :], *other])
    assert kept.replace(T0, T0 + SPAN_MS - 1, changed)
    assert not kept.replace(T0, T0 + SPAN_MS - 1, changed)


def test_two_readings_that_have_changed_places_are_seen() -> None:
    kept = folded([(0, 12.0, 0), (1000, 13.0, 2)], [])
    for other in ([(0, 13.0, 0), (1000, 12.0, 2)], [(0, 12.0, 2), (1000, 13.0, 0)]):
        assert kept.replace(T0, T0 + THIN_MS - 1, read(other))


def test_what_lies_outside_of_what_was_read_again_stays_known_and_what_is_forgotten_is_not() -> None:
    rows = [(n * THIN_MS + 5, float(n), 0) for n in range(20)]
    kept = folded(rows[3:], [])
    kept.add(read(rows[:3]))
    begin, end = T0 + 4 * THIN_MS, T0 + 6 * THIN_MS - 1
    assert kept.replace(begin, end, read([]))
    assert not kept.replace(T0, begin - 1, read(rows[:4]))
    assert not kept.replace(end + 1, T0 + SPAN_MS - 1, read(rows[6:]))
    kept.forget(T0 + 10 * THIN_MS)
    assert not kept.replace(T0 + 10 * THIN_MS, T0 + SPAN_MS - 1, read(rows[10:]))
    assert kept.replace(T0, T0 + 10 * THIN_MS - 1, read(rows[:10]))
