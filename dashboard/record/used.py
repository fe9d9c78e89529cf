"""Exactly what a panel's record rests on: plain values, to JSON and back without losing a bit."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from collector.reading import ProbeFacts, Quantity, Suspicion
from collector.store.runs import Unsure
from dashboard.lot_known import LotKnown
from dashboard.panel import Event

Json = dict[str, Any]
FORMAT = 1
_ROW = np.dtype([("at", "<i8"), ("value", "<f8"), ("quality", "<i8"), ("batch", "<i8")])


class RecordError(ValueError):
    """A record that cannot be read; the text says why and what to do."""


@dataclass(frozen=True, eq=False)
class Series:
    """Raw readings of one quantity of one probe, as the store serves them; all arrays of one length (n,).

    t        UTC ms, increasing
    value    degC or %, never corrected
    quality  flags (collector.reading.Quality)
    batch    the commit that each reading came in
    """

    probe: str
    quantity: Quantity
    t: NDArray[np.int64]
    value: NDArray[np.float64]
    quality: NDArray[np.int64]
    batch: NDArray[np.int64]

    def digest(
        self, since: int | None = None, until: int | None = None, batch: int | None = None
    ) -> tuple[int, str]:
        """How many readings there are from `since` to `until` (UTC ms, both in) up to commit `batch`, and their
        SHA-256, hexadecimal.

        Over at, value, quality and batch of each, little-endian of 8 bytes, values as IEEE 754 doubles.
        """
        keep = np.ones(len(self.t), np.bool_)
        if since is not None:
            keep &= self.t >= since
        if until is not None:
            keep &= self.t <= until
        if batch is not None:
            keep &= self.batch <= batch
        rows = np.empty(int(np.count_nonzero(keep)), _ROW)
        for name, column in zip(("at", "value", "quality", "batch"), self.columns, strict=True):
            rows[name] = column[keep]
        return len(rows), hashlib.sha256(rows.tobytes()).hexdigest()

    @property
    def columns(self) -> tuple[NDArray[Any], ...]:
        return self.t, self.value, self.quality, self.batch

    def to_json(self) -> Json:
        """Rows as lists of at, value, quality, batch."""
        n, sha256 = self.digest()
        rows = [list(row) for row in zip(*(column.tolist() for column in self.columns), strict=True)]
        return {"probe": self.probe, "quantity": self.quantity.value, "n": n, "sha256": sha256, "rows": rows}

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Series:
        """Inverse of to_json(); whether the digest fits is not looked at here."""
        columns: list[list[Any]] = [list(column) for column in zip(*raw["rows"], strict=True)] or [
            [],
            [],
            [],
            [],
        ]
        t, value, quality, batch = columns
        return cls(
            str(raw["probe"]),
            Quantity(raw["quantity"]),
            np.array(t, np.int64),
            np.array(value, np.float64),
            np.array(quality, np.int64),
            np.array(batch, np.int64),
        )


@dataclass(frozen=True)
class DayDigest:
    """What the store digested a finished UTC day of a probe to (collector.store.digests), as "2026-11-25"."""

    day: str
    probe: str
    n: int
    sha256: str


@dataclass(frozen=True)
class Said:
    """A headline that was shown from `at` (UTC ms) on: a key of the words, with its values."""

    at: int
    state: str
    key: str
    values: Mapping[str, Any]


@dataclass(frozen=True, eq=False)
class Used:
    """One panel's facts. Times UTC ms.

    at          the time up to which the record goes
    since       the time from which readings are on it: a day before the first coat, which a slow panel may remember
    batch       the newest commit of readings among them
    events      the panel's, and those of its probes, in the order they were taken down; withdrawn ones too
    cards       by id the text of each resin card; a card that cannot be read is missing
    unsure      stretches of time whose place is not known exactly
    said        headlines as they were shown
    days        digests that the store made of finished days
    removed     finished days, as "2026-11-25", of the panel's life whose readings the store gave up to make room
    kept_at_site  digests and removed days are not known here: only the site's own computer has them
    lots        what others had taught of the lots of its coats by then, by the coat's number: their own entries and
                readings stand on the records of their panels
    """

    panel: str
    site: str
    time_zone: str
    unit: str
    software: str
    at: int
    since: int
    batch: int
    events: tuple[Event, ...]
    cards: Mapping[str, str]
    probes: tuple[ProbeFacts, ...]
    suspicions: tuple[Suspicion, ...] = ()
    unsure: tuple[Unsure, ...] = ()
    said: tuple[Said, ...] = ()
    days: tuple[DayDigest, ...] = ()
    series: tuple[Series, ...] = ()
    lots: Mapping[int, LotKnown] = field(default_factory=dict)
    removed: tuple[str, ...] = ()
    kept_at_site: bool = False

    def of(self, probe: str | None, quantity: Quantity) -> Series | None:
        """One series; None if there is none."""
        return next((one for one in self.series if (one.probe, one.quantity) == (probe, quantity)), None)

    def to_json(self) -> Json:
        """As plain JSON; inverse of from_json()."""
        plain = {item.name: getattr(self, item.name) for item in dataclasses.fields(self)}
        for name in ("events", "probes", "suspicions", "unsure", "said", "days"):
            plain[name] = [_plain(item) for item in plain[name]]
        lots = {str(number): known.to_json() for number, known in self.lots.items()}
        series = [one.to_json() for one in self.series]
        plain |= {"cards": dict(self.cards), "removed": list(self.removed)}
        if not self.kept_at_site:
            del plain["kept_at_site"]  # a record of a house of one reads as it did before there were others
        return plain | {"series": series, "lots": lots}

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Used:
        """Raises RecordError for a text that to_json() did not make."""
        try:
            values = dict(raw)
            for name, kind in _KINDS.items():
                values[name] = tuple(kind(**item) for item in raw[name])
            values["series"] = tuple(Series.from_json(item) for item in raw["series"])
            values["lots"] = {int(number): LotKnown.from_json(known) for number, known in raw["lots"].items()}
            values["removed"] = tuple(raw["removed"])
            return cls(**values)
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise RecordError(
                f"this is no record of ours, or of another version ({error}): "
                "take the JSON that 'coldshed record PANEL --json' writes"
            ) from error


_KINDS: dict[str, Any] = {
    "events": Event, "probes": ProbeFacts, "suspicions": Suspicion, "unsure": Unsure, "said": Said, "days": DayDigest,
}  # fmt: skip


def _plain(item: Any) -> Json:
    found = {one.name: getattr(item, one.name) for one in dataclasses.fields(item)}
    return {name: dict(value) if isinstance(value, Mapping) else value for name, value in found.items()}
