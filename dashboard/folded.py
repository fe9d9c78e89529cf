"""What was folded into a series' log, known by digests: so that what is read again long after can be told from what it
was, flags included, though the readings themselves are gone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

THIN_MS = 10 * 60_000
"""As fine as a log needs to be for what nights and weather teach."""

Times = NDArray[np.int64]
Floats = NDArray[np.float64]
Read = tuple[Times, Floats, Times]
"""Times (UTC ms, increasing), raw values and quality, as the store gives them."""
AHEAD = 144
"""So much more room is made at once: a day."""
Digests = NDArray[np.uint32]

_ODD = tuple(
    np.uint64(n) for n in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9, 0xFF51AFD7ED558CCD)
)
"""2**64 over the golden ratio, two primes of xxHash64, one number of MurmurHash3's last step: odd, of well mixed bits.

Values from memory; any such numbers do, for digests are compared within one process and never kept.
"""
_HALF = np.uint64(32)


class Folded:
    """A digest for each ten minutes, 4 bytes: the sum over its readings, whatever order they came in. One that comes
    twice makes another, until that time is read again. Of changed ten minutes one in 2**32 goes unnoticed."""

    def __init__(self) -> None:
        self._first = 0
        self._sums: Digests = np.empty(0, np.uint32)

    def add(self, read: Read) -> None:
        """Readings more."""
        if len(read[0]):
            first, sums = _summed(read)
            self._reach(first, first + len(sums))
            self._sums[first - self._first :][: len(sums)] += sums

    def replace(self, start: int, end: int, read: Read) -> bool:
        """These are all that there is from start to end (UTC ms), whole ten minutes. False: as it was."""
        first, stop = start // THIN_MS, end // THIN_MS + 1
        now = np.zeros(stop - first, np.uint32)
        if len(read[0]):
            begin, sums = _summed(read)
            now[begin - first :][: len(sums)] = sums
        self._reach(first, stop)
        was = self._sums[first - self._first :][: len(now)]
        if np.array_equal(was, now):
            return False
        was[:] = now
        return True

    def forget(self, oldest: int) -> None:
        """What lies before that time, UTC ms."""
        gone = oldest // THIN_MS - self._first
        if gone > 0 and len(self._sums):
            self._first, self._sums = self._first + gone, self._sums[gone:].copy()

    def _reach(self, first: int, stop: int) -> None:
        """Makes room for the ten minutes from `first` to before `stop`, counted since 1970."""
        if not len(self._sums):
            self._first = first
        before, after = max(0, self._first - first), max(0, stop - self._first - len(self._sums))
        if before or after:
            parts = np.zeros(before, np.uint32), self._sums, np.zeros(after and after + AHEAD, np.uint32)
            self._sums = np.concatenate(parts)
            self._first -= before


def _summed(read: Read) -> tuple[int, Digests]:
    """From which ten minutes on, and their digests."""
    t, value, quality = (np.ascontiguousarray(column).view(np.uint64) for column in read)
    mixed = t * _ODD[0] + value * _ODD[1] + quality * _ODD[2]
    mixed ^= mixed >> _HALF
    digests = (mixed * _ODD[3]) >> _HALF
    slots = read[0] // THIN_MS
    first = int(slots[0])
    # Ten minutes have fewer than 2**20 milliseconds, so float64 holds the sum of their digests exactly.
    sums = np.bincount(slots - first, weights=digests)
    return first, sums.astype(np.uint64).astype(np.uint32)
