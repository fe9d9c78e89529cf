"""Reads VictoriaMetrics by /api/v1/export, which gives what was written; a range query would join over gaps.

A field is a series of its own there, called measurement_field. Source: VictoriaMetrics documentation, "How to export
data in JSON line format" (value from memory).
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from collector.store.time_series.asking import Asking, Unanswered
from collector.store.time_series.rows import ODD, Rows, clamped, merged, sound

Field = tuple[NDArray[np.int64], NDArray[np.float64]]
NOTHING: Field = (np.empty(0, np.int64), np.empty(0))
NOT_OURS = ("__name__", "db")


class ExportApi:
    """One server, or the part of a cluster that selects: then the URL ends before /api/v1."""

    def __init__(self, asking: Asking) -> None:
        self._asking = asking

    def rows(
        self,
        measurement: str,
        where: Mapping[str, Sequence[str]],
        fields: Sequence[str],
        start: int,
        end: int,
    ) -> list[Rows]:
        """See Engine."""
        start, end = clamped(start, end)
        names = f"({_any(fields)})" if fields else ".+"
        labels = [f'__name__=~"{re.escape(measurement)}_{names}"']
        labels += [f'{tag}=~"{_any(values)}"' for tag, values in where.items()]
        asked = {
            "match[]": "{" + ",".join(labels) + "}",
            "start": f"{start / 1000:.3f}",
            "end": f"{end / 1000:.3f}",
        }
        body = self._asking.get("/api/v1/export", asked)
        try:
            return _series(body, measurement)
        except ODD as error:
            raise Unanswered(f"{self._asking.url} answers what is no export: {error}") from error


def _series(body: bytes, measurement: str) -> list[Rows]:
    """Raises one of ODD for what is no export."""
    found: dict[tuple[tuple[str, str], ...], dict[str, Field]] = {}
    left_out: dict[tuple[tuple[str, str], ...], set[int]] = {}
    for line in body.splitlines():
        if not line.strip():
            continue
        told = json.loads(line)
        metric = dict(told["metric"])
        tags = tuple(sorted((tag, text) for tag, text in metric.items() if tag not in NOT_OURS))
        field = metric["__name__"][len(measurement) + 1 :]
        rows = sound(dict(tags), told["timestamps"], {field: np.array(told["values"], np.float64)})
        series = found.setdefault(tags, {})
        before = series.get(field, NOTHING)  # a long series comes in several lines
        series[field] = (
            np.concatenate((before[0], rows.t)),
            np.concatenate((before[1], rows.columns[field])),
        )
        left_out.setdefault(tags, set()).update(rows.left_out)
    return [merged(dict(tags), series, frozenset(left_out[tags])) for tags, series in found.items()]


def _any(values: Sequence[str]) -> str:
    """A regular expression for those texts, as it stands between the quotes of a label."""
    return "|".join(re.escape(text) for text in values).replace("\\", "\\\\").replace('"', '\\"')
