"""A temperature history cut into whole UTC minutes: the shape in which histories meet kinetics."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MINUTE_MS = 60_000

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Blocks:
    """Consecutive whole UTC minutes, [start + i, start + i + 1) min, closed on the left.

    start       UTC ms of the first minute, a multiple of 60 000
    cold, central, hot  float64 (n,), mean panel temperature, degC. Equal in every measured minute; in a gap
                cold and hot bound what can have happened
    measured    bool (n,), False in gaps and in forecast minutes
    spread      float64 (n,), K: one standard deviation of the forecast's error; 0 in the past
    """

    start: int
    cold: Floats
    central: Floats
    hot: Floats
    measured: Bools
    spread: Floats

    def __len__(self) -> int:
        return len(self.central)

    @property
    def end(self) -> int:
        """UTC ms at which the last minute ends."""
        return self.start + len(self) * MINUTE_MS

    @property
    def has_gap(self) -> bool:
        return bool(np.any(self.cold != self.hot))

    def joined(self, later: Blocks) -> Blocks:
        """This history followed by `later`, which must begin where this one ends. Raises ValueError otherwise."""
        if later.start != self.end:
            raise ValueError(
                f"blocks do not meet: one ends at {self.end}, the next begins at {later.start} (UTC ms)"
            )
        return Blocks(
            self.start,
            np.concatenate([self.cold, later.cold]),
            np.concatenate([self.central, later.central]),
            np.concatenate([self.hot, later.hot]),
            np.concatenate([self.measured, later.measured]),
            np.concatenate([self.spread, later.spread]),
        )
