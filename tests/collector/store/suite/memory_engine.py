"""A time-series server in memory, which shows lines when a test says so: real ones show a new series seconds late."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from collector.store.time_series.rows import Rows, clamped, merged, sound

Parsed = tuple[str, dict[str, str], dict[str, float], int]
"""Measurement, tags, fields, time."""
_BLANK = re.compile(r"(?<!\\) ")
_COMMA = re.compile(r"(?<!\\),")
_EQUALS = re.compile(r"(?<!\\)=")


class MemoryEngine:
    """See Engine. `hides`: lines that are not shown (yet); asked: how often it was asked; error: what each question
    ends with, or those after `of` alone.
    """

    def __init__(self) -> None:
        self._lines: list[tuple[str, Parsed]] = []
        self.hides: Callable[[str], bool] = lambda line: False
        self.asked = 0
        self.error: Exception | None = None
        self.of = ""

    def write(self, lines: Sequence[str]) -> None:
        self._lines += [(line, _parsed(line)) for line in lines]

    def rows(
        self,
        measurement: str,
        where: Mapping[str, Sequence[str]],
        fields: Sequence[str],
        start: int,
        end: int,
    ) -> list[Rows]:
        self.asked += 1
        if self.error is not None and self.of in ("", measurement):
            raise self.error
        start, end = clamped(start, end)
        found: dict[tuple[tuple[str, str], ...], dict[str, list[tuple[int, float]]]] = {}
        for line, (name, tags, numbers, at) in self._lines:
            fits = name == measurement and start <= at <= end and not self.hides(line)
            if fits and all(tags.get(tag) in values for tag, values in where.items()):
                series = found.setdefault(tuple(sorted(tags.items())), {})
                for field, value in numbers.items():
                    if not fields or field in fields:
                        series.setdefault(field, []).append((at, value))
        whole = [
            merged(
                dict(tags),
                {
                    field: (np.array([at for at, _ in told], np.int64), np.array([v for _, v in told]))
                    for field, told in series.items()
                },
            )
            for tags, series in found.items()
        ]
        return [sound(series.tags, series.t, series.columns) for series in whole]


def _parsed(line: str) -> Parsed:
    key, numbers, at = _BLANK.split(line)
    name, *tags = _COMMA.split(key)
    return (
        name,
        {_plain(tag): _plain(value) for tag, value in (_EQUALS.split(item) for item in tags)},
        {field: float(value) for field, value in (item.split("=") for item in numbers.split(","))},
        int(at),
    )


def _plain(text: str) -> str:
    return re.sub(r"\\([ ,=])", r"\1", text)
