"""A forecast of the air outdoors, read from a file that something of the shop's own keeps fresh.

CSV, a header row, then one row an hour or closer; other columns are not looked at:

    time,air [degC],dew point [degC]
    2026-11-25T18:00+01:00,4.5,1.0

or JSON:

    {"made": "2026-11-25T16:00Z", "hours": [{"time": "2026-11-25T18:00Z", "air_C": 4.5, "dew_point_C": 1.0}]}

Times are ISO 8601 with their offset, in order. The air stands in degC, degF or K; instead of a dew point there
may be "air [%RH]", or "rh_pc" in JSON, or neither. Hours gone by may stand in it, too: without a probe outdoors
they teach how the shop follows the weather, and four days of them are needed for that. A forecast is as old as
its "made" says, or else as its file.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from model.history import Samples
from model.psychrometrics import dew_point_C, usable
from model.verdict import Say

HOUR_MS = 3_600_000
MOST_BYTES = 2_000_000
LONGEST_STEP_MS = 6 * HOUR_MS
LEAST_AHEAD_MS = 6 * HOUR_MS
"""A forecast that ends sooner says nothing of the night."""
COLDEST_C, WARMEST_C = -60.0, 60.0
AHEAD_OF_CLOCK_MS = HOUR_MS
HEADINGS = '"time", "air [degC]" (or degF, K), and if known "dew point [degC]" or "air [%RH]"'
_AIR = re.compile(r"air \[(degC|degF|K)\]", re.IGNORECASE)
_DEW = re.compile(r"dew point \[(degC|degF|K)\]", re.IGNORECASE)
_RH = re.compile(r"air \[%(RH)?\]", re.IGNORECASE)
_CELSIUS = {"degc": lambda T: T, "degf": lambda T: (T - 32.0) / 1.8, "k": lambda T: T - 273.15}


class ForecastError(ValueError):
    """The file cannot be used; the text says where, why and what is allowed."""


@dataclass(frozen=True, eq=False)
class Forecast:
    """The air outdoors, degC, and its dew point if it is told; made_at: UTC ms."""

    made_at: int
    air: Samples
    dew_point: Samples | None


@dataclass(frozen=True, eq=False)
class Outdoors:
    """What may be used of it now, and what to say of it; nothing to be used: forecast is None."""

    forecast: Forecast | None
    say: Say


class ForecastFile:
    """The file of the settings; read again when it changes. `probe`: the one that hangs outdoors."""

    def __init__(self, path: Path, max_age_h: float = 12.0, probe: str | None = None) -> None:
        self.path, self.probe = path, probe
        self._max_age_h = max_age_h
        self._seen: tuple[int, int] | None = None
        self._read: Forecast | ForecastError = ForecastError(f"{path}: not read yet")

    def at(self, now: int) -> Outdoors:
        """What it says at `now` (UTC ms). Never raises for what stands in the file: that is said."""
        try:
            found = self._newest()
        except ForecastError as error:
            return Outdoors(None, Say("forecast_broken", {"problem": str(error)}))
        if now - found.made_at > self._max_age_h * HOUR_MS:
            return Outdoors(None, Say("forecast_stale", {"made_at": found.made_at}))
        if found.made_at - now > AHEAD_OF_CLOCK_MS:
            return Outdoors(None, Say("forecast_early", {"made_at": found.made_at}))
        if int(found.air.t[-1]) - now < LEAST_AHEAD_MS:
            return Outdoors(None, Say("forecast_short", {"end_at": int(found.air.t[-1])}))
        return Outdoors(found, Say("forecast_used", {"made_at": found.made_at}))

    def _newest(self) -> Forecast:
        try:
            stat = self.path.stat()
            if stat.st_size > MOST_BYTES:
                raise ForecastError(
                    f"{self.path.name}: {stat.st_size} bytes; a forecast of up to {MOST_BYTES} bytes is read"
                )
            if self._seen != (stat.st_mtime_ns, stat.st_size):
                payload = self.path.read_bytes()
                self._read = _parsed(payload, self.path.name, stat.st_mtime_ns // 1_000_000)
                self._seen = (stat.st_mtime_ns, stat.st_size)
        except OSError as error:
            self._seen = None
            raise ForecastError(f"{self.path.name}: cannot be read ({error.strerror})") from error
        if isinstance(self._read, ForecastError):
            raise self._read
        return self._read


def _parsed(payload: bytes, name: str, written_at: int) -> Forecast | ForecastError:
    try:
        return parse(payload, name, written_at)
    except ForecastError as error:
        return error


def parse(payload: bytes, name: str, written_at: int) -> Forecast:
    """A forecast from the bytes of its file; written_at: UTC ms of the file. Raises ForecastError with its place."""
    try:
        text = payload.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = payload.count(b"\n", 0, error.start) + 1
        raise ForecastError(
            f"{name}:{line}: a byte that is not UTF-8 text: save the file as UTF-8"
        ) from error
    if text.lstrip().startswith("{"):
        made_at, hours = _json_hours(text, name, written_at)
        return _forecast(made_at, _json_rows(hours, name), name)
    try:
        return _forecast(written_at, _csv_rows(text, name), name)
    except csv.Error as error:
        raise ForecastError(f"{name}: not CSV: {error}") from error


@dataclass(frozen=True)
class _Row:
    """One moment: UTC ms, degC, degC or None; where it stands in the file."""

    where: str
    at: int
    air_C: float
    dew_C: float | None


def _forecast(made_at: int, rows: Iterable[_Row], name: str) -> Forecast:
    listed = list(rows)
    for before, row in pairwise(listed):
        if row.at <= before.at:
            raise ForecastError(
                f"{row.where}: time: not after the row before it: put the rows in order, each once"
            )
        if row.at - before.at > LONGEST_STEP_MS:
            raise ForecastError(
                f"{row.where}: time: more than 6 h after the row before it: give a row an hour"
            )
    if len(listed) < 2:
        raise ForecastError(f"{name}: {len(listed)} rows; a forecast needs at least 2")
    moist = [row for row in listed if row.dew_C is not None]
    return Forecast(
        made_at,
        _samples([row.at for row in listed], [row.air_C for row in listed]),
        _samples([row.at for row in moist], [float(row.dew_C or 0.0) for row in moist])
        if len(moist) == len(listed)
        else None,
    )


def _samples(t: list[int], value: list[float]) -> Samples:
    return Samples(np.array(t, np.int64), np.array(value, np.float64))


def _csv_rows(text: str, name: str) -> Iterable[_Row]:
    lines = text.splitlines()
    if not lines:
        raise ForecastError(f"{name}: empty; it needs a header row with {HEADINGS}")
    mark = max(",;\t", key=lines[0].count)
    heads = [cell.strip() for cell in next(csv.reader([lines[0]], delimiter=mark))]
    columns = _columns(heads, name)
    for number, cells in enumerate(csv.reader(io.StringIO("\n".join(lines[1:])), delimiter=mark), start=2):
        if not any(cell.strip() for cell in cells):
            continue
        where = f"{name}:{number}"
        if len(cells) != len(heads):
            raise ForecastError(f"{where}: {len(cells)} cells where the header has {len(heads)}")
        values = {
            key: cells[index].strip().replace(",", ".")
            if mark == ";" and key != "time"
            else cells[index].strip()
            for key, (index, _) in columns.items()
        }
        units = {key: unit for key, (_, unit) in columns.items()}
        yield _row(where, values, units, {key: heads[index] for key, (index, _) in columns.items()})


def _columns(heads: list[str], name: str) -> dict[str, tuple[int, str]]:
    found: dict[str, tuple[int, str]] = {}
    for index, head in enumerate(heads):
        for key, shape in (("air", _AIR), ("dew", _DEW), ("rh", _RH)):
            if (match := shape.fullmatch(head)) is not None:
                found[key] = index, (match[1] or "").lower()
        if head.lower() == "time":
            found["time"] = index, ""
    for key in ("time", "air"):
        if key not in found:
            raise ForecastError(
                f"{name}:1: no column of {key} in {str(heads)[:200]}: the header may have {HEADINGS}"
            )
    return found


def _json_hours(text: str, name: str, written_at: int) -> tuple[int, list[Any]]:
    try:
        raw = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise ForecastError(f"{name}: not JSON: {error}") from error
    hours = raw.get("hours")
    if not isinstance(hours, list):
        raise ForecastError(f'{name}: hours: must be a list of objects with "time" and "air_C"')
    made = raw.get("made")
    return (written_at if made is None else _time(str(made), f"{name}: made")), hours


def _json_rows(hours: list[Any], name: str) -> Iterable[_Row]:
    keys = {"time": "time", "air": "air_C", "dew": "dew_point_C", "rh": "rh_pc"}
    for index, item in enumerate(hours):
        where = f"{name}: hours.{index}"
        if not isinstance(item, dict):
            raise ForecastError(f'{where}: must be an object with "time" and "air_C"')
        values = {key: str(item[word]) for key, word in keys.items() if item.get(word) is not None}
        for key in ("time", "air"):
            if key not in values:
                raise ForecastError(f"{where}: {keys[key]}: missing; it must be given")
        yield _row(where, values, {"air": "degc", "dew": "degc"}, keys)


def _row(where: str, values: Mapping[str, str], units: Mapping[str, str], names: Mapping[str, str]) -> _Row:
    at = _time(values["time"], f"{where}: {names['time']}")
    air = _celsius(values["air"], units["air"], f"{where}: {names['air']}")
    if values.get("dew"):
        return _Row(where, at, air, _celsius(values["dew"], units["dew"], f"{where}: {names['dew']}"))
    if not values.get("rh"):
        return _Row(where, at, air, None)
    moist = _number(values["rh"], f"{where}: {names['rh']}")
    if not 0.0 < moist <= 110.0:
        raise ForecastError(f"{where}: {names['rh']}: {moist:g} %; allowed: above 0, up to 100")
    moist = min(moist, 100.0)
    return _Row(where, at, air, float(dew_point_C(air, moist)) if usable(air, moist) else None)


def _celsius(text: str, unit: str, where: str) -> float:
    value = _CELSIUS[unit](_number(text, where))
    if not COLDEST_C <= value <= WARMEST_C:
        raise ForecastError(
            f"{where}: {text} is {value:.1f} degC; allowed: {COLDEST_C:g} to {WARMEST_C:g}. Is its unit right?"
        )
    return float(value)


def _number(text: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ForecastError(f"{where}: {text[:40]!r} is no number")
    return value


def _time(text: str, where: str) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise ForecastError(
            f'{where}: {text[:40]!r} is no time; write it like "2026-11-25T18:00+01:00"'
        ) from error
    if moment.tzinfo is None:
        raise ForecastError(f'{where}: {text[:40]!r} has no offset; write it like "2026-11-25T18:00+01:00"')
    return round(moment.timestamp() * 1000)
