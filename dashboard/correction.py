"""Corrections of a probe's readings: what it reads against what is true, at one point or at several.

Pure: numbers in, numbers out. Words of the trade (ISO/IEC 17025 practice): a *correction* is added to what an
instrument reads; *as found* and *as left* are its errors before and after; a *reference* is what it was
compared with. Raw readings are never changed: the same raw readings and the same entry give the same bits.

One point makes an offset, two a straight line, more a table; between points the correction is linear. Beyond
the end points it goes on as in the last stretch for `margin`, then stays what it is there, and the value is
marked: nobody has looked at the probe there, so it is no better than its maker says.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from collector.reading import Quantity

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MOST_POINTS = 12
LARGEST: dict[Quantity, float] = {Quantity.TEMPERATURE: 10.0, Quantity.RELATIVE_HUMIDITY: 30.0}
"""A probe that is further off than this is broken (K, % RH; common practice, no source)."""
RANGE: dict[Quantity, tuple[float, float]] = {
    Quantity.TEMPERATURE: (-40.0, 120.0), Quantity.RELATIVE_HUMIDITY: (0.0, 105.0)
}  # fmt: skip
UNIT: dict[Quantity, str] = {Quantity.TEMPERATURE: "degC", Quantity.RELATIVE_HUMIDITY: "%"}


class CorrectionError(ValueError):
    """A correction that cannot be used; the text says why and what is allowed."""


@dataclass(frozen=True)
class Correction:
    """One version of a device's correction, for one quantity.

    version     id of the entry that says so
    since       UTC ms from which readings are corrected by it
    points      (reads, true) in degC or %, `reads` increasing
    half_width  what a corrected value may still be off by (95 % half-width), K or % RH
    margin      how far beyond its points it may be used, K or % RH
    """

    version: str
    since: int
    quantity: Quantity
    points: tuple[tuple[float, float], ...]
    half_width: float
    margin: float

    @classmethod
    def of(cls, version: str, since: int, body: Mapping[str, Any]) -> Correction:
        """From an entry's body. Raises CorrectionError for one that makes no sense."""
        try:
            quantity = Quantity(body["quantity"])
            points = tuple(sorted((float(reads), float(true)) for reads, true in body["points"]))
            half_width, margin = float(body["half_width"]), float(body["margin"])
        except (KeyError, TypeError, ValueError) as error:
            raise CorrectionError(
                f"a correction needs quantity, points, half_width and margin: {error}"
            ) from error
        _check(quantity, points, half_width, margin)
        return cls(version, since, quantity, points, half_width, margin)

    @property
    def kind(self) -> str:
        """ "offset", "two-point" or "table"."""
        return {1: "offset", 2: "two-point"}.get(len(self.points), "table")

    @property
    def reach(self) -> tuple[float, float]:
        """From where to where a raw value may lie without a word, degC or %."""
        return self.points[0][0] - self.margin, self.points[-1][0] + self.margin

    def beyond(self, raw: Floats) -> Bools:
        """True where a raw value lies further from the points than the margin allows; shape of `raw`."""
        low, high = self.reach
        return np.asarray((raw < low) | (raw > high))

    def apply(self, raw: Floats) -> Floats:
        """Corrected values, shape of `raw`; a humidity is kept within 0 to 100 %, unless it was read above."""
        reads = np.array([point[0] for point in self.points])
        added = np.array([true - read for read, true in self.points])
        if len(reads) > 1 and self.margin > 0.0:
            reads, added = _lengthened(reads, added, self.margin)
        # np.interp holds the end values: the correction stays what it is at the margin's end.
        corrected = raw + np.interp(raw, reads, added)
        if self.quantity is Quantity.RELATIVE_HUMIDITY:
            corrected = np.clip(corrected, 0.0, np.maximum(raw, 100.0))
        return np.asarray(corrected)

    def one(self, raw: float) -> float:
        """apply() of one value, to the last bit the same."""
        return float(self.apply(np.array([raw]))[0])


@dataclass(frozen=True, eq=False)
class Corrected:
    """A series after correction, all of one length (n,).

    value       degC or %
    half_width  what each value may be off by, K or % RH
    beyond      where a correction was used past its margin
    version     index into `versions` of the entry each value rests on, -1 for none
    """

    value: Floats
    half_width: Floats
    beyond: Bools
    version: NDArray[np.int64]
    versions: tuple[str, ...]


Stretch = tuple[int, Correction | None]
"""(UTC ms, what is in force from then on)."""


def correct(t: NDArray[np.int64], raw: Floats, stretches: Iterable[Stretch], stated: float) -> Corrected:
    """Each reading by what was in force at its time.

    t (n,) UTC ms in any order, raw (n,) degC or %; stretches in order of time, nothing in force before the
    first; stated: half-width of the probe as its maker says, for values that no correction covers.
    """
    value, beyond = raw.copy(), np.zeros(len(raw), np.bool_)
    half_width, version = np.full(len(raw), stated), np.full(len(raw), -1, np.int64)
    versions: list[str] = []
    listed = list(stretches)
    ends = [since for since, _ in listed[1:]] + [2**62]
    for (since, correction), end in zip(listed, ends, strict=False):
        inside = (t >= since) & (t < end)
        if correction is None or not np.any(inside):
            continue
        value[inside] = correction.apply(raw[inside])
        beyond[inside] = correction.beyond(raw[inside])
        # Past its margin a value is as good as the maker says, or as bad as the correction is.
        widest = max(stated, correction.half_width)
        half_width[inside] = np.where(beyond[inside], widest, correction.half_width)
        version[inside] = len(versions)
        versions.append(correction.version)
    return Corrected(value, half_width, beyond, version, tuple(versions))


def _lengthened(reads: Floats, added: Floats, margin: float) -> tuple[Floats, Floats]:
    """The points with one more at each margin's end, on the last stretch's line."""
    first = (added[1] - added[0]) / (reads[1] - reads[0])
    last = (added[-1] - added[-2]) / (reads[-1] - reads[-2])
    return (
        np.concatenate([[reads[0] - margin], reads, [reads[-1] + margin]]),
        np.concatenate([[added[0] - first * margin], added, [added[-1] + last * margin]]),
    )


def _check(
    quantity: Quantity, points: tuple[tuple[float, float], ...], half_width: float, margin: float
) -> None:
    if quantity not in LARGEST:
        raise CorrectionError(f"{quantity.value} is not corrected; allowed: {', '.join(LARGEST)}")
    unit, largest, (low, high) = UNIT[quantity], LARGEST[quantity], RANGE[quantity]
    if not 1 <= len(points) <= MOST_POINTS:
        raise CorrectionError(f"a correction has 1 to {MOST_POINTS} points, not {len(points)}")
    for reads, true in points:
        if not (low <= reads <= high and low <= true <= high):
            raise CorrectionError(
                f"reads {reads:g}, true {true:g}: both lie between {low:g} and {high:g} {unit}"
            )
        if abs(true - reads) > largest:
            raise CorrectionError(
                f"reads {reads:g}, true {true:g}: more than {largest:g} off is a broken probe, replace it"
            )
    for (reads, true), (next_reads, next_true) in itertools.pairwise(points):
        if not 0.5 <= (next_true - true) / max(next_reads - reads, 1e-9) <= 2.0:
            raise CorrectionError(
                f"from {reads:g} to {next_reads:g} it reads, from {true:g} to {next_true:g} is true: no probe"
                " stretches that much; correct the points, or leave one of two close ones out"
            )
    if not (math.isfinite(half_width) and 0.0 < half_width <= largest):
        raise CorrectionError(f"half_width {half_width:g}: above 0, at most {largest:g} {unit}")
    if not (math.isfinite(margin) and 0.0 <= margin <= high - low):
        raise CorrectionError(f"margin {margin:g}: 0 to {high - low:g} {unit}")
