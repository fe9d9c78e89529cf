"""What leans against a probe without an alarm, on arrays of two-minute means: invented, common practice, no source."""

from __future__ import annotations

import numpy as np

from collector.suspicion import lean
from collector.suspicion.grid import Floats, Site
from tests.collector.suspicion.trial import FACTS

BINS, BEGIN, APART = 500, 300, 360
NOISE_K = 0.015


def course(random: np.random.Generator, tremble_K: float) -> Floats:
    return 10.0 + random.normal(0.0, tremble_K, BINS)


def leaning(site: Site) -> list[tuple[str, str, int]]:
    """(probe, kind, first bin) of what leans."""
    votes = lean.votes(site, dict.fromkeys(FACTS, NOISE_K**2))
    return [(v.probe, v.kind, int(v.speaks_for.argmax())) for v in votes if v.speaks_for.any()]


def shed(surface: Floats, air: Floats, humidity: Floats | None = None) -> Site:
    damp = {} if humidity is None else {"A1": humidity}
    return Site(0, (FACTS["S1"], FACTS["A1"]), {"S1": surface, "A1": air}, damp, np.zeros(BINS))


def test_an_exchange_in_still_air_leans_and_as_an_exchange_once_the_two_stand_apart_by_what_matters() -> None:
    random = np.random.default_rng(1)
    calm, lively = course(random, NOISE_K), course(random, 0.06)
    swapped = np.arange(BINS) >= BEGIN
    lively[APART:] -= 0.9
    assert leaning(shed(calm, lively)) == []
    surface, air = np.where(swapped, lively, calm), np.where(swapped, calm, lively)
    ((probe, kind, first),) = leaning(shed(surface, air))
    assert (probe, kind) == ("S1", "unsure")
    assert first > BEGIN
    assert APART <= int(lean.changed_places(surface, air).argmax()) < APART + 3


def test_humidity_that_leaps_a_little_to_its_wet_end_and_rests_there_leans_and_a_slow_climb_does_not() -> (
    None
):
    warmth, random = course(np.random.default_rng(1), NOISE_K), np.random.default_rng(2)
    still = random.normal(0.0, 0.1, BINS)
    leap = np.where(np.arange(BINS) >= BEGIN, 98.8, 92.5) + still
    ((probe, kind, first),) = leaning(shed(warmth, warmth, leap))
    assert (probe, kind) == ("A1", "unsure_humidity")
    assert BEGIN < first < BEGIN + 30
    climb = np.clip(92.5 + (np.arange(BINS) - BEGIN) / 30, 92.5, 98.8) + still
    assert leaning(shed(warmth, warmth, climb)) == []
