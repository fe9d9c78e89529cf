"""Roll-ups of readings.db for charts, kept in memory: of each hour and step the readings that a chart may need.

Read once, then only the hours that a later batch touched are read again. Values are as the model uses them: unusable
ones and those in doubt are left out, corrections are applied.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from collector.reading import ProbeFacts, Quantity, Suspicion
from collector.store.reader import Batch
from collector.store.readings_schema import MOVED
from collector.store.reads import NotHeld, Reads, Where, open_store
from dashboard.devices import ProbeLog
from dashboard.doubts import matters, spans
from dashboard.probe_trace import Trace
from dashboard.thin_line import Line, end_to_end, rolled
from model.history import HOUR_MS, Samples, longest_join_ms
from model.psychrometrics import dew_point_C, usable

READ_H = 24
"""So many hours are read at once: the store cuts a read off that takes a second."""
MOST_POINTS = 1_500_000
"""Kept at most, all lines together: about 25 MB."""
FINE_MS, COARSE_MS = 60_000, 600_000
"""Steps of the roll-ups: of a night or two, and of more days."""

LogOf = Mapping[str, ProbeLog]


@dataclass(frozen=True)
class Spot:
    """Which probes measure a panel: on it, and in the air beside it."""

    surface: str | None
    air: str | None


@dataclass(frozen=True)
class Measured:
    """What a spot's probes say. Temperatures in degC; margin: of the surface over the air's dew point, K.

    join_ms   two readings further apart than that have a gap between them; of the slowest of the probes
    """

    panel: Line
    air: Line
    dew: Line
    margin: Line
    join_ms: int = 0

    def each(self, how: Callable[[Line], Line]) -> Measured:
        """The same of every line."""
        return Measured(how(self.panel), how(self.air), how(self.dew), how(self.margin), self.join_ms)

    def between(self, start: int, end: int) -> Measured:
        """The points with start <= t < end (UTC ms)."""
        return self.each(lambda line: line.between(start, end))

    def begun_at(self, start: int) -> Measured:
        """With a point at `start` (UTC ms) in each line that has a value there."""
        t = np.array([start], np.int64)
        return self.each(lambda line: line.through(t, line.at(t)))

    @property
    def lines(self) -> tuple[Line, Line, Line, Line]:
        return self.panel, self.air, self.dew, self.margin


def joined(parts: Iterable[Measured]) -> Measured:
    """Parts that follow one another in time."""
    listed = list(parts)
    return Measured(
        end_to_end(part.panel for part in listed),
        end_to_end(part.air for part in listed),
        end_to_end(part.dew for part in listed),
        end_to_end(part.margin for part in listed),
        max((part.join_ms for part in listed), default=0),
    )


@dataclass
class _Kept:
    """One spot's hours; `version` is another one when the same readings would count differently.

    points   in all its lines, when it was last asked for
    """

    version: str = ""
    hours: dict[int, Measured] = field(default_factory=dict)
    points: int = 0


class RollUps:
    """Of one readings.db. Safe to call from several threads."""

    def __init__(self, readings: Where) -> None:
        self._readings = readings
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[Spot, int], _Kept] = OrderedDict()
        self._batch = -1
        self._removed: frozenset[int] = frozenset()
        self.rows_read = 0

    def of(self, spot: Spot, start: int, end: int, step_ms: int, logs: LogOf) -> Measured:
        """From start to end (UTC ms) in whole hours, rolled by step_ms. `logs` by probe says how readings count.

        Raises collector.store.schema.NotYet while collect has never run.
        """
        with self._lock:
            reader = open_store(self._readings)
            try:
                self._catch_up(reader)
                look = _Look(
                    reader, {probe.id: probe for probe in reader.probes()}, logs, reader.suspicions()
                )
                return self._hours(spot, step_ms, look, start // HOUR_MS, end // HOUR_MS)
            finally:
                reader.close()

    def _hours(self, spot: Spot, step_ms: int, look: _Look, first: int, last: int) -> Measured:
        kept = self._kept.setdefault((spot, step_ms), _Kept())
        self._kept.move_to_end((spot, step_ms))
        version = look.version(spot)
        if kept.version != version:
            kept.version, kept.hours = version, {}
        for begin, end in _runs([hour for hour in range(first, last + 1) if hour not in kept.hours]):
            whole = look.measured(spot, begin * HOUR_MS, (end + 1) * HOUR_MS)
            self.rows_read += look.rows
            for hour in range(begin, end + 1):
                part = whole.between(hour * HOUR_MS, (hour + 1) * HOUR_MS)
                kept.hours[hour] = part.each(lambda line: rolled(line, step_ms))
        kept.points = sum(len(line) for part in kept.hours.values() for line in part.lines)
        self._make_room()
        return joined(kept.hours[hour] for hour in range(first, last + 1))

    def _catch_up(self, reader: Reads) -> None:
        """Forgets the hours touched since the last look, and those beside them, whose gaps may have closed."""
        removed = _removed(reader)
        newest = reader.last_batch()
        if self._batch < 0 or newest < self._batch or removed != self._removed:
            self._kept.clear()
        elif newest > self._batch:
            self._forget(reader.batches_after(self._batch))
        self._batch, self._removed = newest, removed

    def _forget(self, batches: list[Batch]) -> None:
        if any(batch.revised == MOVED for batch in batches):
            self._kept.clear()
            return
        touched = {(batch.t_min // HOUR_MS - 1, batch.t_max // HOUR_MS + 1) for batch in batches}
        for kept in self._kept.values():
            for first, last in touched:
                for hour in [hour for hour in kept.hours if first <= hour <= last]:
                    del kept.hours[hour]

    def _make_room(self) -> None:
        """Forgets the spots that were asked for longest ago."""
        while sum(kept.points for kept in self._kept.values()) > MOST_POINTS and len(self._kept) > 1:
            self._kept.popitem(last=False)


def _removed(reader: Reads) -> frozenset[int]:
    """Only whether they change is asked; where nobody knows, what has been read stays as it was read."""
    try:
        return frozenset(reader.removed())
    except NotHeld:
        return frozenset()


def _runs(hours: list[int]) -> Iterator[tuple[int, int]]:
    """Hours that follow one another, READ_H at most: first and last."""
    begin = 0
    for i in range(1, len(hours) + 1):
        if i == len(hours) or hours[i] != hours[i - 1] + 1 or i - begin == READ_H:
            yield hours[begin], hours[i - 1]
            begin = i


@dataclass
class _Look:
    """One look at the file, with what is known of its probes."""

    reader: Reads
    probes: Mapping[str, ProbeFacts]
    logs: LogOf
    suspicions: list[Suspicion]
    rows: int = 0

    def version(self, spot: Spot) -> str:
        named = [probe for probe in (spot.surface, spot.air) if probe is not None]
        about = [item for item in self.suspicions if item.probe in named]
        return repr([(self.probes.get(probe), self.logs.get(probe)) for probe in named]) + repr(about)

    def measured(self, spot: Spot, start: int, end: int) -> Measured:
        """From start to end (UTC ms), with so much around it that its first and last points know their neighbours."""
        joins = [self._join_ms(probe) for probe in (spot.surface, spot.air)]
        margin_ms = max(joins)
        self.rows = 0

        def line(probe: str | None, quantity: Quantity, beside: bool, join_ms: int) -> Line:
            return self._line(probe, quantity, beside, join_ms, start - margin_ms, end + margin_ms)

        beside = spot.surface is not None
        panel = line(spot.surface, Quantity.TEMPERATURE, False, joins[0])
        air = line(spot.air, Quantity.TEMPERATURE, beside, joins[1])
        humidity = line(spot.air, Quantity.RELATIVE_HUMIDITY, False, joins[1])
        dew = _dew(air, humidity, joins[1])
        over = panel.at(dew.t) - dew.value
        known = np.isfinite(over)
        margin = Line.of(Samples(dew.t[known], over[known]), margin_ms)
        return Measured(panel, air, dew, margin, margin_ms)

    def _join_ms(self, probe: str | None) -> int:
        facts = self.probes.get(probe or "")
        return longest_join_ms(facts.interval_s) if facts else 0

    def _line(
        self, probe: str | None, quantity: Quantity, beside: bool, join_ms: int, start: int, end: int
    ) -> Line:
        facts = self.probes.get(probe or "")
        if facts is None:
            return Line.nothing()
        t, value, quality = self.reader.samples(facts.id, quantity, start, end)
        self.rows += len(t)
        log = self.logs.get(facts.id)
        doubtful = spans(matters(self.suspicions, facts.id, quantity, beside), log.put_right if log else ())
        stretches = log.stretches(quantity) if log else ()
        return Line.of(Trace.of(facts, quantity, t, value, quality, stretches, doubtful).samples, join_ms)


def _dew(air: Line, humidity: Line, join_ms: int) -> Line:
    """Dew point whenever the humidity was read and the formula covers it, the air's temperature interpolated."""
    moist = np.minimum(humidity.value, 100.0)
    warm = air.at(humidity.t)
    known = usable(warm, moist)
    t = humidity.t[known]
    value = np.asarray(dew_point_C(warm[known], moist[known])) if len(t) else np.empty(0)
    line = Line.of(Samples(t, value), join_ms)
    # Where the air's line has a gap that the humidity has not, the dew point has one.
    gap = np.diff(np.searchsorted(air.t[air.parted], t, "right"), prepend=-1) > 0
    return Line(line.t, line.value, line.parted | gap)
