"""Exchanges of two probes in turn: what cannot say its own way undoes the one before."""

from __future__ import annotations

import numpy as np

from collector.suspicion import exchange
from collector.suspicion.swapped import _in_turn

BINS = 300


def at(*indices: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    events = np.zeros(BINS, dtype=np.bool_)
    events[list(indices)] = True
    return events


def seen(*events: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[list[int]]:
    return [np.flatnonzero(of).tolist() for of in _in_turn(*events)]


def test_an_exchange_whose_way_is_not_clear_begins_and_the_next_undoes_it() -> None:
    assert seen(at(), at(), at(40, 120, 200)) == [[40, 200], [120]]


def test_a_clear_way_counts_whatever_was_before() -> None:
    assert seen(at(40, 120), at(200), at()) == [[40, 120], [200]]
    assert seen(at(), at(40), at(120)) == [[120], [40]]


def test_what_follows_within_a_judgements_window_is_the_same_event() -> None:
    soon = 40 + exchange.WINDOW - 1
    assert seen(at(40), at(soon), at(soon + 1)) == [[40, soon], [soon + 1]]
