"""The edge: numbers, times and units become text here and nowhere else.

Times are rounded to the safe side: a "before" down, a "from" up, to 5 min within 3 h, 15 within 12 h, else
1 h (1 min within the last 10, where 5 would already lie in the past). A no-break space ties number and unit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property, lru_cache
from string import Formatter
from typing import cast
from zoneinfo import ZoneInfo

from dashboard import measures, words
from model.verdict import Say, Value

MINUTE = 60_000
HOUR = 60 * MINUTE
LAST_MS = 253_370_764_800_000
"""9999-01-01, UTC: until then a time has a date in any zone."""
LEAST_RANGE = 10 * MINUTE
TIE = "\u00a0"
MEASURED = {"g": measures.mass, "gm2": measures.cloth, "mm": measures.thickness}
UNITS = {"degC": "°C", "degF": "°F"}
DECIMALS = ("point", "comma")
# Names whose rounding has a safe side of its own: heat up to at least this, keep below at most that.
_UP = frozenset({"move_C", "minimum_C", "hold_C"})
_DOWN = frozenset({"soften_C", "maximum_C"})
# Limits people set or choose are whole numbers more often than not: no ".0" after them.
_CHOSEN = frozenset({"move_C", "minimum_C", "maximum_C", "warm_C", "hold_C", "tile_C", "reference_C"})

_TIMES = ("_by", "_from", "_at")
"""How the names of times end."""


def grid(distance_ms: int) -> int:
    """How coarsely a time that far away is told, ms."""
    away = abs(distance_ms)
    if away <= 10 * MINUTE:
        return MINUTE
    if away <= 3 * HOUR:
        return 5 * MINUTE
    return 15 * MINUTE if away <= 12 * HOUR else HOUR


@dataclass(frozen=True)
class View:
    """Who is looking: their zone, their unit ("degC" or "degF"), the time it is for them (UTC ms), the system of
    their weights and areas ("metric" or "US"), and their decimal sign ("point" or "comma").

    Days have names and months have letters, the clock has 24 hours: no order of figures can be misread.
    """

    zone: ZoneInfo
    unit: str
    now: int
    measures: str = "metric"
    decimal: str = "point"

    @classmethod
    def chosen(cls, told: Callable[[str], str | None], zone: ZoneInfo, now: int) -> View:
        """As the shop chose; `told` gives a preference by its key, None if nobody chose."""
        return cls(
            zone,
            told("unit") or "degC",
            now,
            told("measures") or measures.SYSTEMS[0],
            told("decimal") or DECIMALS[0],
        )

    @property
    def hour(self) -> int:
        """The hour of the viewer's day, 0 to 23."""
        return self._here.hour

    @property
    def local_field(self) -> str:
        """Now as a browser's date and time field wants it, "2026-01-11T06:10"."""
        return self.time_field(self.now)

    def sentence(self, say: Say) -> str:
        """The words of one Say. Raises KeyError for an unknown key or a value that is missing."""
        if any(name.endswith(_TIMES) for name in say.values):
            return self._worded(say.key, say.values)
        return _worded_once(
            self._at_any_time, say.key, *(part for item in say.values.items() for part in item)
        )

    @cached_property
    def _at_any_time(self) -> View:
        return replace(self, now=0)

    def _worded(self, key: str, values: Mapping[str, Value]) -> str:
        whole = key in words.HEADLINES or key in words.ALARMS
        parts = []
        for literal, name in _parts(words.KEYS[key]):
            parts.append(literal)
            if name:
                parts.append(self._value(name, values[name], whole, key))
        text = "".join(parts)
        return text[:1].upper() + text[1:]

    def ahead(self, say: Say) -> str | None:
        """The first time limit of a sentence that still lies ahead, None without one.

        "17 min left" for a latest time, and "now" in its last minute; "in 2 h 20" for an earliest one, which
        nobody may take for how soon to act.
        """
        for name, value in say.values.items():
            if name.endswith("_by") and int(value) > self.now:
                left = self.rounded(int(value), name) - self.now
                if left < MINUTE:
                    return words.LABELS["now"]
                return words.LABELS["left"].format(span=self.span(left, up=False)).replace(" ", TIE)
            if name.endswith("_from") and int(value) > self.now:
                wait = self.rounded(int(value), name) - self.now
                return words.LABELS["ahead"].format(span=self.span(wait, up=True)).replace(" ", TIE)
        return None

    def clock(self, at: int) -> str:
        """Wall time to the minute of a UTC ms; day if not today, and which time on a clock-change night."""
        return _clock(self.zone, self.now, at)

    def day(self, at: int) -> str:
        """ "12 Jan 2027"."""
        local = self._local(at)
        return f"{local.day}{TIE}{local:%b}{TIE}{local.year}"

    def day_field(self, at: int) -> str:
        """A day as a browser's date field wants it, "2027-01-12"."""
        return f"{self._local(at):%Y-%m-%d}"

    def time_field(self, at: int) -> str:
        """A time as a browser's date and time field wants it, "2026-01-11T06:10"."""
        return f"{self._local(at):%Y-%m-%dT%H:%M}"

    def rounded(self, at: int, name: str) -> int:
        """The UTC ms that is shown for a value of that name: never later for _by, never earlier for _from."""
        if name.endswith("_at") and at <= self.now:
            return at
        how = math.floor if name.endswith("_by") else math.ceil if name.endswith("_from") else round
        return _rounded(self.zone, at, grid(at - self.now), how)

    def outward(self, early: int, late: int) -> tuple[int, int]:
        """A range as it is told, UTC ms: rounded outwards, and never narrower than 10 min: nobody knows it so well."""
        first, last = self.rounded(early, "early_by"), self.rounded(late, "late_from")
        return first, max(last, first + LEAST_RANGE)

    def temperature(self, celsius: float, name: str = "", *, whole: bool = False) -> str:
        """ "5.2 °C" or "41.4 °F"."""
        value = celsius if self.unit == "degC" else celsius * 1.8 + 32.0
        return self.signed(f"{_number(value, name, 1.0 if whole else 0.1)}{TIE}{UNITS[self.unit]}")

    def signed(self, number: str) -> str:
        """A number as text, made with a decimal point, with the viewer's decimal sign."""
        return number.replace(".", ",") if self.decimal == "comma" else number

    def scale(self, celsius: float) -> float:
        """The same temperature on the viewer's scale, for a chart."""
        return celsius if self.unit == "degC" else celsius * 1.8 + 32.0

    def difference(self, kelvin: float, *, whole: bool = False) -> str:
        """A difference: 3 K is 3.0 °C or 5.4 °F, without offset."""
        value = kelvin if self.unit == "degC" else kelvin * 1.8
        return self.signed(f"{_number(value, '', 1.0 if whole else 0.1)}{TIE}{UNITS[self.unit]}")

    def span(self, ms: float, *, up: bool) -> str:
        """A stretch of time on the grid of its length: "40 min", "2 h 20", "9 h"."""
        step = MINUTE if ms <= 3 * HOUR else grid(round(ms))
        minutes = (math.ceil if up else math.floor)(ms / step) * (step // MINUTE)
        return _minutes(minutes)

    def hours(self, hours: float) -> str:
        """A duration in hours: to the minute below 1 h, to 5 min below 12 h, else whole hours."""
        minutes = hours * 60.0
        step = 1 if minutes < 60 else 5 if minutes < 720 else 60
        return _minutes(round(minutes / step) * step)

    def age(self, at: int) -> str:
        """ "just now", "4 min ago", "2 h 20 ago"."""
        gone = max(0, self.now - at)
        if gone < MINUTE:
            return words.LABELS["just_now"]
        return words.LABELS["ago"].format(span=self.hours(gone / HOUR))

    def _local(self, at: int) -> datetime:
        return _local(self.zone, at)

    @cached_property
    def _here(self) -> datetime:
        return self._local(self.now)

    def _value(self, name: str, value: Value, whole: bool, key: str) -> str:
        if name.endswith(_TIMES):
            return self.clock(self.rounded(int(value), name))
        suffix = name.rpartition("_")[2] if "_" in name else ""
        if suffix == "C":
            chosen = name in _CHOSEN and float(value) == round(float(value)) and self.unit == "degC"
            side = {"outside_card": "soften_C", "outside_card_hot": "move_C"}.get(key, name)
            return self.temperature(float(value), side, whole=whole or chosen)
        if suffix == "K":
            # A margin of 3.6 must not read as the 4 that are asked for.
            return self.difference(float(value), whole=whole and name != "margin_K")
        if suffix == "h":
            return self.hours(float(value))
        if suffix in MEASURED:
            return self.signed(MEASURED[suffix](float(value), self.measures))
        if suffix == "pc":
            return f"{round(float(value))}{TIE}%"
        if name in words.CHOICES and value not in words.CHOICES[name]:
            raise KeyError(f"{key}: {name} is {value!r}; allowed: {', '.join(words.CHOICES[name])}")
        return words.SHOWN.get(name, {}).get(str(value), str(value))


@lru_cache(maxsize=2048)
def _local(zone: ZoneInfo, at: int) -> datetime:
    """Many panels tell the same times: they stand on a grid."""
    return datetime.fromtimestamp(at / 1000, UTC).astimezone(zone)


@lru_cache(maxsize=8192)
def _rounded(zone: ZoneInfo, at: int, step: int, how: Callable[[float], int]) -> int:
    """To whole steps of the zone's clock, UTC ms."""
    shift = round((_local(zone, at).utcoffset() or timedelta()).total_seconds() * 1000)
    return how((at + shift) / step) * step - shift


@lru_cache(maxsize=2048)
def _clock(zone: ZoneInfo, now: int, at: int) -> str:
    local, here = _local(zone, at), _local(zone, now)
    text = f"{local:%H:%M}"
    days = abs((local.date() - here.date()).days)
    if days:
        text = f"{local:%a}{TIE}{text}" if days < 7 else f"{local.day}{TIE}{local:%b}{TIE}{text}"
    if local.utcoffset() != here.utcoffset() and abs(at - now) < 24 * HOUR:
        text += f"{TIE}({words.LABELS['new_time'] if at > now else words.LABELS['old_time']})"
    return text


@lru_cache(maxsize=4096, typed=True)
def _worded_once(view: View, key: str, *told: Value) -> str:
    """A sentence that tells no time: what many panels say, and say again on the next page. told: names and values."""
    return view._worded(key, dict(zip(cast(tuple[str, ...], told[::2]), told[1::2], strict=True)))


@lru_cache(maxsize=1024)
def _parts(template: str) -> tuple[tuple[str, str | None], ...]:
    """Literal words, each with the name of the value that follows them."""
    return tuple((literal, name) for literal, name, _, _ in Formatter().parse(template))


def _number(value: float, name: str, step: float) -> str:
    """A number on the grid 1 or 0.1, to the safe side its name asks for; true minus, no minus zero."""
    scaled = value / step
    if name in _UP:
        scaled = math.ceil(scaled - 1e-9)
    elif name in _DOWN:
        scaled = math.floor(scaled + 1e-9)
    rounded = round(scaled) * step + 0.0
    return f"{rounded:.{0 if step == 1.0 else 1}f}".replace("-0.0", "0.0").replace("-", "−")


def _minutes(minutes: int) -> str:
    if minutes < 60:
        return f"{minutes}{TIE}min"
    hours, rest = divmod(minutes, 60)
    return f"{hours}{TIE}h{TIE}{rest:02d}" if rest else f"{hours}{TIE}h"


def say(sentence: Say, view: View) -> str:
    """One Say as this viewer's sentence."""
    return view.sentence(sentence)
