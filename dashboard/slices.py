"""Hours of readings as the store gives them, all series of an hour in one read: for many panels that go through the
same days, one after the other.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from typing import Protocol

import numpy as np

from collector.reading import Quantity
from dashboard.kept_series import Read

HOUR_MS = 3_600_000
MOST_ROWS = 2_500_000
"""Kept at most: 60 MB."""

Key = tuple[str, Quantity]


class Store(Protocol):
    def every(self, start_ms: int, end_ms: int) -> Mapping[Key, Read]: ...


class Slices:
    """rows_read   so far, of all series"""

    def __init__(self, most_rows: int = MOST_ROWS) -> None:
        self._most_rows = most_rows
        self._hours: OrderedDict[int, Mapping[Key, Read]] = OrderedDict()
        self._rows = 0
        self.rows_read = 0

    def read(self, store: Store, key: Key, start: int, end: int) -> Read:
        """One series from start to end (UTC ms), both ends in; hours that are not kept are read from the store."""
        none = np.empty(0, np.int64)
        parts: list[Read] = [(none, np.empty(0), none)]
        for hour in range(start // HOUR_MS, end // HOUR_MS + 1):
            found = self._hour(store, hour).get(key)
            if found is not None:
                first, last = np.searchsorted(found[0], start), np.searchsorted(found[0], end, "right")
                parts.append((found[0][first:last], found[1][first:last], found[2][first:last]))
        t, value, quality = (np.concatenate(column) for column in zip(*parts, strict=True))
        return t, value, quality

    def forget(self, since: int = 0) -> None:
        """What lies at or after that time, UTC ms: it is other now."""
        for hour in [hour for hour in self._hours if (hour + 1) * HOUR_MS > since]:
            self._rows -= _rows(self._hours.pop(hour))

    def _hour(self, store: Store, hour: int) -> Mapping[Key, Read]:
        found = self._hours.get(hour)
        if found is None:
            found = self._hours[hour] = store.every(hour * HOUR_MS, (hour + 1) * HOUR_MS - 1)
            self._rows += _rows(found)
            self.rows_read += _rows(found)
        self._hours.move_to_end(hour)
        while self._rows > self._most_rows and len(self._hours) > 1:
            self._rows -= _rows(self._hours.popitem(last=False)[1])
        return found


def _rows(hour: Mapping[Key, Read]) -> int:
    return sum(len(t) for t, _, _ in hour.values())
