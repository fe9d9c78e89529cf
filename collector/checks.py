"""Looks at readings and flags what cannot be true. A value is never altered and never dropped.

All rules go by the readings' times, not by when they came, so the order within a batch does not matter. The
limits are common practice, no source; each says below what it is meant to let through and what not.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain

from collector.reading import ProbeFacts, Quality, Quantity, Reading


@dataclass(frozen=True)
class Limits:
    """Of one quantity, in its SI unit: its range, and how far it may move: step + per_minute * minutes."""

    low: float
    high: float
    step: float
    per_minute: float


LIMITS: dict[Quantity, Limits] = {
    # A heated panel may reach 100 degC and a winter shed -30; a hot-air gun, or a probe carried from a shed
    # into a warm room, moves a few K in 10 s. A bad contact jumps by tens of K between two readings.
    Quantity.TEMPERATURE: Limits(low=-40.0, high=120.0, step=2.0, per_minute=30.0),
    # Sensors read up to 103 % when wet; 0 % is a fault or water on the sensor. Breath moves 30 % in seconds.
    Quantity.RELATIVE_HUMIDITY: Limits(low=1.0, high=105.0, step=15.0, per_minute=300.0),
    # Open air has about 420 ppm. Breath on the sensor adds thousands in seconds.
    Quantity.CO2: Limits(low=250.0, high=40_000.0, step=1000.0, per_minute=60_000.0),
}

LEVEL_MS = 60_000
"""Values that agree with each other for this long, though not with what was before, are the new level."""
STUCK_MS = 30 * 60_000
STUCK_TIMES = 5
"""Stuck: constant for 30 min and for five times longer than any of the last constant stretches."""
UNKNOWN_STEADY_MS = 72 * 60_000
"""Taken for the longest constant stretch while fewer than STRETCHES_KNOWN were seen: stuck only after 6 h."""
STRETCHES_KNOWN = 5
GAP_MS = 15 * 60_000
"""A stretch with a longer gap (or one of three intervals) is not known to have been constant."""
SATURATED_PERCENT = 99.0
POWER_ON = 85.0
POWER_ON_NEAR = 15.0
NEIGHBOUR_MS = 30 * 60_000
GONE = (-127.0, 127.9375)
"""What a driver returns for a one-wire sensor that does not answer, and a reading with too little power."""
SAME = 0.005
RAW_ENDS = ((130.0, 100.0), (130.0, 119.0), (-45.0, 0.0), (-45.0, -6.0))
"""degC and % of a raw count of 65535 or 0 in the formulas of two families of digital T/RH sensors: nothing answered."""
EMPTY = (0.0, 0.0)
"""degC and % of a frame of zeros: a checksum of zeros fits it."""
_DEAD_FRAMES = (*RAW_ENDS, EMPTY)
ZERO_NEAR = 1.5
"""Exactly 0 degC from a probe alone is believed if it, or its zone, was so near to it; else it is a frame of zeros."""
FIRST_K, FIRST_K_PER_H = 3.0, 10.0
"""The first value after a pause may be what a register held at power-up: further off than this it is not believed."""
PAUSE_MS = 60_000
MIRRORED_NEAR, MIRRORED_LEAST = 0.3, 1.5
MIRRORED_MS = 600_000
"""A value that is the last one with its sign turned is taken for a lost sign until it has lasted so long."""
HEATED_K, COOLED_K = 3.0, 1.5
HEATED_IN_MS, HEATED_MS = 90_000, 300_000
SAME_WATER = 0.07
"""A sensor's own heater: so much warmer in so short a time with the same water in the air, and for so long at most."""
AHEAD_MS = 60_000
"""A probe's clock may be this much ahead of ours before its time is not believed."""


def believed_time(own: int, received: int) -> tuple[int, Quality]:
    """The time to file a reading under: its own, or, if that lies ahead of ours, when it came (flagged)."""
    return (own, Quality.GOOD) if own <= received + AHEAD_MS else (received, Quality.CLOCK_AHEAD)


@dataclass(slots=True)
class _Series:
    """What is remembered of one series. Points are (UTC ms, value)."""

    newest: int | None = None
    good: tuple[int, float] | None = None
    other_level: tuple[int, int, float] | None = None  # since, last, value
    steady: tuple[int, int, float] | None = None  # since, last, value
    stretches: deque[int] = field(default_factory=lambda: deque(maxlen=20))


_Key = tuple[str, Quantity]
_WHOLE_FRAME = Quality.DISCONNECTED | Quality.POWER_ON_VALUE | Quality.SELF_HEATED
"""What, found in a temperature, spoils the humidity of the same moment too."""


class Checks:
    """Flags readings batch by batch; remembers a little of each series. For one thread."""

    def __init__(self, probes: Iterable[ProbeFacts]) -> None:
        self._probes = {probe.id: probe for probe in probes}
        self._series: dict[_Key, _Series] = {}
        self._frames: dict[tuple[str, int], dict[Quantity, float]] = {}
        self._spoilt: dict[str, tuple[int, Quality]] = {}
        self._heated: dict[str, tuple[int, float]] = {}

    @property
    def series(self) -> int:
        """Of how many series something is remembered."""
        return len(self._series)

    def remember(self, reading: Reading) -> None:
        """What was stored before the start: the first new reading is compared with it."""
        series = self._series.setdefault((reading.probe, reading.quantity), _Series())
        series.newest = reading.at
        if reading.quality.usable:
            series.good = (reading.at, reading.value)

    def flag(self, readings: Sequence[Reading]) -> list[Reading]:
        """The same readings in the same order, with their flags.

        Readings older than their series' newest are LATE; they are compared with each other, and do not
        disturb what is remembered of the present.
        """
        flagged = list(readings)
        late: dict[_Key, _Series] = {}
        self._frames = {}
        for reading in readings:
            self._frames.setdefault((reading.probe, reading.at), {})[reading.quantity] = reading.value
        order = sorted(range(len(readings)), key=lambda i: _in_order(readings[i]))
        for index in order:
            reading = readings[index]
            key = (reading.probe, reading.quantity)
            series = self._series.get(key) or self._series.setdefault(key, _Series())
            old = series.newest is not None and reading.at < series.newest
            if old:
                series = late.setdefault(key, _Series())
            found = self._look(reading, series)
            if old:
                found |= Quality.LATE
            if found is not Quality.GOOD:
                flagged[index] = replace(reading, quality=reading.quality | found)
        self._frames = {}  # of these readings alone: copies of what is remembered are kept for a day
        return flagged

    def _look(self, reading: Reading, series: _Series) -> Quality:
        found, framed = self._alone(reading), self._frame(reading)
        if framed is not Quality.GOOD:
            found |= framed
        if series.newest == reading.at:  # a repeat, or a rival for the same place: nothing to learn from it
            return found
        pause = reading.at - series.newest if series.newest is not None else 0
        series.newest = reading.at
        if self._is_power_on(reading, series) or self._is_first(reading, series, pause):
            found |= Quality.POWER_ON_VALUE
        if self._is_empty(reading, series):
            found |= Quality.DISCONNECTED
        if found.usable and self._is_heated(reading, series):
            found |= Quality.SELF_HEATED
        if found is not Quality.GOOD and reading.quantity is Quantity.TEMPERATURE and found & _WHOLE_FRAME:
            self._spoilt[reading.probe] = reading.at, found & _WHOLE_FRAME
        if found.usable and _jumps(reading, series):
            found |= Quality.IMPOSSIBLE_RATE
        wet = found is not Quality.GOOD and bool(found & Quality.SATURATED)
        if found.usable and self._sticks(reading, series, wet):
            found |= Quality.STUCK
        if found.usable:
            series.good = (reading.at, reading.value)
        return found

    @staticmethod
    def _alone(reading: Reading) -> Quality:
        """What one value tells by itself."""
        limits = LIMITS[reading.quantity]
        if not limits.low <= reading.value <= limits.high:
            gone = any(abs(reading.value - value) < SAME for value in GONE)  # both lie out of range
            temperature = reading.quantity is Quantity.TEMPERATURE
            return Quality.DISCONNECTED if gone and temperature else Quality.OUT_OF_RANGE
        if reading.quantity is Quantity.RELATIVE_HUMIDITY and reading.value >= SATURATED_PERCENT:
            return Quality.SATURATED
        return Quality.GOOD

    def _frame(self, reading: Reading) -> Quality:
        """What the temperature and the humidity of one moment tell together."""
        frame = self._frames.get((reading.probe, reading.at), {})
        warmth, damp = frame.get(Quantity.TEMPERATURE), frame.get(Quantity.RELATIVE_HUMIDITY)
        if warmth is None or damp is None or reading.quantity is Quantity.CO2:
            return Quality.GOOD
        for t, rh in _DEAD_FRAMES:
            if abs(warmth - t) < SAME and abs(damp - rh) < SAME:
                return Quality.DISCONNECTED
        at, quality = self._spoilt.get(reading.probe, (0, Quality.GOOD))
        return quality if at == reading.at else Quality.GOOD

    def _is_empty(self, reading: Reading, series: _Series) -> bool:
        """Exactly 0 degC out of nowhere: the frame was all zeros."""
        if reading.quantity is not Quantity.TEMPERATURE or reading.value != 0.0 or series.good is None:
            return False
        return not self._was_near(reading, series, 0.0, ZERO_NEAR)

    def _is_first(self, reading: Reading, series: _Series, pause: int) -> bool:
        """The first after a pause, far from the last: what a register held before anything was measured."""
        if reading.quantity is not Quantity.TEMPERATURE or series.good is None or pause <= PAUSE_MS:
            return False
        probe = self._probes.get(reading.probe)
        if probe and pause <= 3000 * probe.interval_s:
            return False
        hours = (reading.at - series.good[0]) / 3_600_000
        return abs(reading.value - series.good[1]) > FIRST_K + FIRST_K_PER_H * hours

    def _is_heated(self, reading: Reading, series: _Series) -> bool:
        """Its own heater is on: suddenly warmer, and as much drier as the same water makes it."""
        if reading.quantity is not Quantity.TEMPERATURE or series.good is None:
            return False
        damp = self._frames[reading.probe, reading.at].get(Quantity.RELATIVE_HUMIDITY)
        humidity = self._series.get((reading.probe, Quantity.RELATIVE_HUMIDITY))
        if damp is None or humidity is None or humidity.good is None:
            return False
        was_damp = humidity.good
        at, warmth = series.good
        since, from_C = self._heated.get(reading.probe, (0, 0.0))
        if at == since and reading.at - since <= HEATED_MS and reading.value >= from_C + COOLED_K:
            return True
        if reading.at - at > HEATED_IN_MS or reading.value - warmth < HEATED_K:
            return False
        water = damp * _saturation(reading.value) / (was_damp[1] * _saturation(warmth))
        if was_damp[0] != at or abs(water - 1) > SAME_WATER:
            return False
        self._heated[reading.probe] = series.good
        return True

    def _is_power_on(self, reading: Reading, series: _Series) -> bool:
        """85 degC exactly is what a one-wire sensor holds before it has measured; in an oven it is a reading.

        It is believed if this series, or another temperature of the zone, was near it within half an hour.
        """
        if reading.quantity is not Quantity.TEMPERATURE or abs(reading.value - POWER_ON) >= SAME:
            return False
        return not self._was_near(reading, series, POWER_ON, POWER_ON_NEAR)

    def _was_near(self, reading: Reading, series: _Series, value: float, near: float) -> bool:
        """Whether this series, or another temperature of the zone, was so near to a value within half an hour."""
        neighbours = chain(
            [series.good],
            (self._series[key].good for key in self._series if self._same_zone(key, reading.probe)),
        )
        return any(
            good is not None and abs(good[0] - reading.at) <= NEIGHBOUR_MS and abs(good[1] - value) <= near
            for good in neighbours
        )

    def _same_zone(self, key: _Key, probe: str) -> bool:
        here, there = self._probes.get(probe), self._probes.get(key[0])
        return (
            key[1] is Quantity.TEMPERATURE
            and key[0] != probe
            and here is not None
            and there is not None
            and here.zone == there.zone
        )

    def _sticks(self, reading: Reading, series: _Series, wet: bool) -> bool:
        """True if the value has not moved by one digit for far longer than it usually rests."""
        probe = self._probes.get(reading.probe)
        gap = max(GAP_MS, 3000 * probe.interval_s if probe else 0)
        if series.steady is None or reading.at - series.steady[1] > gap:
            series.steady = (reading.at, reading.at, reading.value)
            return False
        since, _, value = series.steady
        if value != reading.value:
            series.stretches.append(reading.at - since)
            series.steady = (reading.at, reading.at, reading.value)
            return False
        series.steady = (since, reading.at, value)
        known = len(series.stretches) >= STRETCHES_KNOWN
        longest = max(series.stretches) if known else UNKNOWN_STEADY_MS
        # Saturated air reads 100 % for hours: that is a state of the air, not of the probe.
        return not wet and reading.at - since >= max(STUCK_MS, STUCK_TIMES * longest)


def _jumps(reading: Reading, series: _Series) -> bool:
    """True if no panel and no air can have moved that fast since the last good value.

    One wild value is compared and forgotten. If the new values keep agreeing with each other for a minute,
    the probe was moved or the world did change, and they are believed.
    """
    mirrored = series.good is not None and _mirrored(reading, *series.good)
    if series.good is None or (_reaches(reading, *series.good) and not mirrored):
        series.other_level = None
        return False
    level = series.other_level
    since = level[0] if level is not None and _reaches(reading, *level[1:]) else reading.at
    series.other_level = (since, reading.at, reading.value)
    if reading.at - since < (MIRRORED_MS if mirrored else LEVEL_MS):
        return True
    series.other_level = None
    return False


def _reaches(reading: Reading, at: int, value: float) -> bool:
    limits = LIMITS[reading.quantity]
    return abs(reading.value - value) <= limits.step + limits.per_minute * (reading.at - at) / 60_000


def _mirrored(reading: Reading, at: int, value: float) -> bool:
    """The last value with its sign turned: the sign bit was lost, or found where none was."""
    return (
        reading.quantity is Quantity.TEMPERATURE
        and reading.at - at <= MIRRORED_MS
        and abs(reading.value + value) <= MIRRORED_NEAR
        and abs(reading.value - value) >= MIRRORED_LEAST
    )


def _in_order(reading: Reading) -> tuple[int, str, bool, str, float]:
    """By time; of one probe's moment the temperature first: what spoils it spoils the humidity of that moment."""
    humid = reading.quantity is not Quantity.TEMPERATURE
    return reading.at, reading.probe, humid, reading.quantity, reading.value


def _saturation(temperature_C: float) -> float:
    """Vapour pressure over water, Pa: Bolton (1980), Monthly Weather Review 108, eq. 10."""
    return 611.2 * math.exp(17.67 * temperature_C / (temperature_C + 243.5))
