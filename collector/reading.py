"""The one value that crosses boundaries: a reading, in SI, at a UTC millisecond.

Units: temperature in degC, relative humidity in % over water (what a capacitive sensor reports), CO2 in ppm.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntFlag, StrEnum


class Quantity(StrEnum):
    """What is measured. The value of each member is its name in files, on the wire and in the store."""

    TEMPERATURE = "temperature"
    RELATIVE_HUMIDITY = "relative_humidity"
    CO2 = "co2"


class Quality(IntFlag):
    """What the checks found. A value is never altered, only flagged; 0 means that nothing was found."""

    GOOD = 0
    OUT_OF_RANGE = 1
    IMPOSSIBLE_RATE = 2
    STUCK = 4
    SATURATED = 8
    POWER_ON_VALUE = 16
    DISCONNECTED = 32
    CLOCK_AHEAD = 64
    LATE = 128
    SELF_HEATED = 256
    RIVAL = 512
    CONTRADICTED = 1024

    @property
    def usable(self) -> bool:
        """True if the value may enter the model: late, saturated or ahead-of-clock readings may, lies may not."""
        return not int.__and__(self, UNUSABLE)  # the flags' own & takes eight times as long


UNUSABLE = (
    Quality.OUT_OF_RANGE
    | Quality.IMPOSSIBLE_RATE
    | Quality.STUCK
    | Quality.POWER_ON_VALUE
    | Quality.DISCONNECTED
    | Quality.SELF_HEATED
    | Quality.CONTRADICTED
)
"""Flags that keep a value out of the model. It stays in the store, and the page says why it is not used."""

NOT_OF_THE_VALUE = Quality.CLOCK_AHEAD | Quality.LATE | Quality.RIVAL | Quality.CONTRADICTED
"""Flags that tell how a reading came or whether another contradicts it; the checks on its value leave them alone."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one probe.

    probe     the channel's id in the settings, e.g. "S1"
    at        UTC ms the value was measured; equals `received` when the payload brought no time of its own
    received  UTC ms the bytes arrived here
    """

    probe: str
    quantity: Quantity
    value: float
    at: int
    received: int
    quality: Quality = Quality.GOOD


@dataclass(frozen=True, slots=True)
class ProbeFacts:
    """What everyone else may know of a probe; collect writes it beside the readings.

    place is "surface", "air" or "bottles"; accuracy_K is a 95 % half-width; when it is silent: silent_after_ms().
    """

    id: str
    zone: str
    place: str
    interval_s: float
    accuracy_K: float


LEAST_SILENT_MS = 20_000
"""Our own way from a probe to an answer: a commit every five seconds, sent on every two, looked for each second, all by
a computer that may be busy."""


def silent_after_ms(interval_s: float) -> int:
    """So long after its last word a probe is silent: three of its intervals, and never less than LEAST_SILENT_MS."""
    return max(round(3000 * interval_s), LEAST_SILENT_MS)


@dataclass(frozen=True, slots=True)
class Suspicion:
    """What comparing probes over hours says against one of them; collect writes it beside the readings.

    kind                 "tape_off", "swapped", "sunlit", "wet_end", "drift", "sends_degF", "sends_degC" or "slow";
                         "unsure" or "unsure_humidity": the readings only lean against it
    since, until         UTC ms between which its readings are in doubt; until None: it still stands
    shown_from, shown_to UTC ms between which the newest readings lie that speak for it
    numbers              what it rests on, by names that end as those of model.verdict.Say; `other`: another probe
    """

    probe: str
    kind: str
    since: int
    until: int | None
    shown_from: int
    shown_to: int
    numbers: Mapping[str, float | str] = field(default_factory=dict)
