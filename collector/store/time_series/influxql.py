"""Reads by InfluxQL over GET /query, which InfluxDB answers from 1.x on. Times in ms; long answers come in chunks.

Source: InfluxData, "InfluxDB 1.8 API reference: /query", "InfluxQL reference: literals" (value from memory).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from collector.store.time_series.asking import Asking, Unanswered
from collector.store.time_series.rows import ODD, Rows, clamped, sound

CHUNK = 10_000


class InfluxQL:
    """One database (bucket) of one server."""

    def __init__(self, asking: Asking, database: str) -> None:
        self._asking = asking
        self._database = database

    def rows(
        self,
        measurement: str,
        where: Mapping[str, Sequence[str]],
        fields: Sequence[str],
        start: int,
        end: int,
    ) -> list[Rows]:
        """See Engine. A series that has none of the fields there is left out."""
        start, end = clamped(start, end)
        what = ", ".join(_name(field) for field in fields) or "*"
        having = [
            f"({' OR '.join(f'{_name(tag)} = {_text(v)}' for v in values)})" for tag, values in where.items()
        ]
        conditions = " AND ".join([f"time >= {start}ms", f"time <= {end}ms", *having])
        asked = {
            "db": self._database,
            "q": f"SELECT {what} FROM {_name(measurement)} WHERE {conditions} GROUP BY *",
            "epoch": "ms",
            "chunked": "true",
            "chunk_size": str(CHUNK),
        }
        body, url = self._asking.get("/query", asked), self._asking.url
        parts: dict[tuple[tuple[str, str], ...], list[Any]] = {}
        try:
            for series in _series(body, url):
                parts.setdefault(tuple(sorted(series.get("tags", {}).items())), []).append(series)
            return [_rows(dict(tags), found) for tags, found in parts.items()]
        except ODD as error:
            raise Unanswered(f"{url} answers what is no result of a query: {error}") from error


def _series(body: bytes, url: str) -> Iterator[dict[str, Any]]:
    """Of one answer, which is one JSON text, or one in each line. Raises one of ODD for what is none."""
    cut_short = False
    documents = [json.loads(line) for line in body.splitlines() if line.strip()]
    if not documents:
        raise ValueError("it is empty")
    for document in documents:
        results: list[dict[str, Any]] = [] if "error" in document else document["results"]
        # An error stands in an answer of status 200 too.
        for error in (item["error"] for item in (document, *results) if "error" in item):
            raise Unanswered(f"{url} refuses a query: {error}")
        for result in results:
            cut_short = bool(result.get("partial"))
            yield from result.get("series", ())
    if cut_short:
        raise Unanswered(f"{url} gives only a part of what was asked for: raise its max-row-limit")


def _rows(tags: dict[str, str], parts: list[dict[str, Any]]) -> Rows:
    names = parts[0]["columns"]
    values = [row for part in parts for row in part["values"]]
    table = np.array(values, dtype=np.float64).reshape(len(values), len(names))
    columns = {name: np.ascontiguousarray(table[:, i]) for i, name in enumerate(names) if i}
    return sound({tag: value for tag, value in tags.items() if value}, table[:, 0], columns)


def _name(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _text(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"
