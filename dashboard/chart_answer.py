"""A chart as it is sent: in blocks of time that are named by what is in them, so that only changed ones go again.

A page names the blocks it has. Whatever has changed one since, be it a reading that came late, a correction, an entry
that was taken back or another step of thinning, has changed its name too.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection
from typing import Any

import numpy as np

from dashboard.chart_layout import Json
from dashboard.trace import Row

BLOCK_STEPS = 48
"""So many steps of thinning make a block."""
LEAST_BLOCK_MS = 4 * 3_600_000


def in_blocks(figure: Json, rows: list[Row], step_ms: int, have: Collection[str] = ()) -> Json:
    """The figure's `layout`, its `data` without the points, and `blocks` in order of time.

    A block that the page has is its name alone. Else: `id`; `of`, for each trace x and y; `rows`, the cursor's times
    and sentences. x ascends in every trace but those that are marked "whole", which stay in `data` as they are.
    """
    block_ms = max(BLOCK_STEPS * step_ms, LEAST_BLOCK_MS)
    cut = {n: trace for n, trace in enumerate(figure["data"]) if trace.get("meta") != "whole"}
    numbers = {n: np.array(trace["x"], np.int64) // block_ms for n, trace in cut.items()}
    row_numbers = np.array([row.at for row in rows], np.int64) // block_ms
    every = np.unique(np.concatenate([*numbers.values(), row_numbers])).tolist()
    blocks: list[Any] = []
    for number in every:
        of = {}
        for n, trace in cut.items():
            first, last = np.searchsorted(numbers[n], [number, number + 1]).tolist()
            if last > first:
                of[str(n)] = [trace["x"][first:last], trace["y"][first:last]]
        first, last = np.searchsorted(row_numbers, [number, number + 1]).tolist()
        body = {"of": of, "rows": [[row.at, row.sentence] for row in rows[first:last]]}
        name = _name(body)
        blocks.append(name if name in have else {"id": name, **body})
    return {
        "layout": figure["layout"],
        "data": [
            {key: value for key, value in trace.items() if n not in cut or key not in ("x", "y")}
            for n, trace in enumerate(figure["data"])
        ],
        "blocks": blocks,
    }


def _name(body: Json) -> str:
    text = json.dumps(body, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()[:10]
