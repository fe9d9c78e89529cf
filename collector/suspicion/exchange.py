"""A calm series and a lively one that change places within minutes: a panel's probe and its air's.

The panel's probe leaps to where the air was and goes on as lively as air; the air's probe comes to rest where the
panel was. No laminate leaps, whatever the air does, so the lively one may have moved nearly as much as it leaps.
A small leap is believed only once the courses after it are as unlike as before, the other way round.
Without a leap, over an hour: the panel's probe has grown rougher than it used to be, while the air's has grown as
smooth as the panel's used to be.
What cannot be told: an exchange while both stand within 0.3 K of each other, in air that hardly stirs.
"""

from __future__ import annotations

import numpy as np

from collector.suspicion import moving
from collector.suspicion.finding import Bools, held, usual
from collector.suspicion.grid import Floats
from collector.suspicion.rough import LEAST_K, roughness

LEAPS = ((1, 0.3, 6.0), (2, 0.3, 4.0))
"""Bins that are compared before and after; least leap, K; how many times what the calm one moves in as many."""
GREAT_K = 1.5
"""A leap of so much is believed at once."""
TAKES = (1, 2)
"""Bins in which it is done."""
OF_LIVELY = 0.5
"""The leap against what the lively one moves anyway."""
SEEN_FOR, UNLIKE = 14, 1.2
"""Bins for which a small leap is watched; how many times rougher the lively one must be than the calm one."""
STRIDE = 2
ROUGH_BINS, ROUGH_STRIDE, ROUGH_FOR = 30, 3, 8
ROUGHER, CHANGED, AS_SMOOTH = 2.5, 1.2, 1.1
CARRIED_K = 2.0
"""What moves more within the hour may be a thin skin that was carried in: its long bend is not rough."""
WINDOW = ROUGH_BINS + 2 * ROUGH_STRIDE
"""Bins that a judgement looks back on at most."""


def exchanged(calm: Floats, lively: Floats) -> tuple[Bools, Bools]:
    """Whether the calm one became the lively one at that bin, and the reverse; a small leap is told half an hour on.
    Second: whether they changed places by a great leap while neither was livelier than the other."""
    great, small, was, rougher = _leaps(calm, lively)
    clear = (great & (was <= 1 / UNLIKE)) | (small & (rougher >= UNLIKE) & (was <= 1 / UNLIKE))
    return np.asarray(clear), np.asarray(great & ~(was <= 1 / UNLIKE) & ~(was >= UNLIKE))


def _leaps(calm: Floats, lively: Floats) -> tuple[Bools, Bools, Floats, Floats]:
    """Great leaps, small ones so many bins ago, and how rough the one was to the other before that and is since."""
    leap = np.max([leapt(calm, lively, *leap) for leap in LEAPS], axis=0)
    leaps, great = leap > 0.0, leap >= GREAT_K
    rougher = roughness(calm, SEEN_FOR, STRIDE) / roughness(lively, SEEN_FOR, STRIDE)
    was = moving.mean(rougher, 1, SEEN_FOR + STRIDE + 1)
    small = moving.mean(leaps.astype(float), 1, SEEN_FOR) > 0
    return great, small, was, rougher


def took_over(calm: Floats, lively: Floats) -> Bools:
    """Whether, over the last hour, each has been as rough as the other used to be."""
    of_calm, of_lively = (roughness(value, ROUGH_BINS, ROUGH_STRIDE) + LEAST_K for value in (calm, lively))
    calm_used, lively_used = usual(of_calm, 0.8, least=8), usual(of_lively, 0.2, least=8)
    found = (of_calm >= ROUGHER * of_lively) & (of_calm >= CHANGED * calm_used)
    found &= (of_lively <= lively_used / CHANGED) & (of_lively <= AS_SMOOTH * calm_used)
    found &= moving.spread(calm, ROUGH_BINS) < CARRIED_K
    return held(found, ROUGH_FOR)


def leapt(calm: Floats, lively: Floats, part: int, least_K: float, times: float) -> Floats:
    """By how much, K, each went within minutes to where the other was, while the calm one, before and after, hardly
    moved; 0 where they did not."""
    return np.asarray(np.max([_leapt(calm, lively, part, bins, least_K, times) for bins in TAKES], axis=0))


def _leapt(calm: Floats, lively: Floats, part: int, bins: int, least_K: float, times: float) -> Floats:
    back = 2 * part + bins
    calm_before, lively_before = moving.mean(calm, part, back), moving.mean(lively, part, back)
    lively_now, calm_now = moving.mean(calm, part, part), moving.mean(lively, part, part)
    calm_moves = np.maximum(
        np.abs(calm_before - moving.mean(calm, part, back + part)),
        np.abs(moving.mean(lively, part) - calm_now),
    )
    lively_moves = np.maximum(
        np.abs(lively_before - moving.mean(lively, part, back + part)),
        np.abs(moving.mean(calm, part) - lively_now),
    )
    leap = np.abs(lively_before - calm_before)
    meanwhile = (bins + part) / part
    found = (leap >= least_K) & (leap >= times * calm_moves) & (leap >= OF_LIVELY * lively_moves)
    found &= np.abs(calm_now - calm_before) <= 0.04 + 0.07 * leap + calm_moves * meanwhile
    found &= np.abs(lively_now - lively_before) <= 0.04 + 0.1 * leap + lively_moves * meanwhile
    found &= np.abs(lively_now - calm_before) >= 0.5 * leap
    found &= (lively_before - calm_before) * (lively_now - calm_now) >= 0.5 * leap**2
    rests = np.abs(moving.mean(lively, part) - calm_before) <= 0.04 + 0.1 * leap + 2 * calm_moves * meanwhile
    return np.where(found & rests, leap, 0.0)
