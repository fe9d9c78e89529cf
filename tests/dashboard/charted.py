"""Puts a chart together from its blocks, as chart.js does."""

from __future__ import annotations

from typing import Any

Json = dict[str, Any]


def put_together(answer: Json, known: dict[str, Json]) -> Json:
    """The figure and the cursor again, as a page does it; `known` takes the blocks by name, and gives those it had."""
    known.update({block["id"]: block for block in answer["blocks"] if not isinstance(block, str)})
    blocks = [known[block if isinstance(block, str) else block["id"]] for block in answer["blocks"]]
    data = []
    for n, trace in enumerate(answer["data"]):
        if trace.get("meta") == "whole":
            data.append(trace)
            continue
        parts = [block["of"][str(n)] for block in blocks if str(n) in block["of"]]
        data.append(
            trace | {"x": [at for x, _ in parts for at in x], "y": [value for _, y in parts for value in y]}
        )
    rows = [row for block in blocks for row in block["rows"]]
    return {"data": data, "layout": answer["layout"], "cursor": [{"at": at, "say": say} for at, say in rows]}
