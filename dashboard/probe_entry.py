"""What people say of probes, as entries of the logbook, and whether such an entry makes sense.

device replaced      body: probe, serial. From `at` on another device stands behind the channel.
correction entered   body: probe, serial, quantity, points, half_width, margin, reference, due_at. From `at` on.
probe checked        body: probe, serial, quantity, against, stage, since, readings, reads, true, error,
                     half_width, due_at. A comparison with a reference; it changes nothing by itself.

probe put right      body: probe, serial, fixed. Somebody saw to a suspicion: mended (fixed) or found right as it was.

Numbers are in degC, K and %; times UTC ms.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from dashboard.correction import Correction, CorrectionError

PROBE_KINDS = frozenset({"device replaced", "correction entered", "probe checked", "probe put right"})
STAGES = ("as found", "as left")


def check_probe_entry(kind: str, at: int, body: Mapping[str, Any]) -> None:
    """Raises CorrectionError for an entry of PROBE_KINDS that makes no sense."""
    _text(body, "probe", least=1)
    _text(body, "serial", least=1 if kind == "device replaced" else 0)
    if kind == "correction entered":
        Correction.of("new", at, body)
        _text(body, "reference", least=1)
    elif kind == "probe checked":
        if body.get("stage") not in STAGES:
            raise CorrectionError(
                f"{body.get('stage')!r} is no stage of a check; allowed: {', '.join(STAGES)}"
            )
        numbers = [
            *body.get("readings", ()),
            *(body.get(name) for name in ("reads", "true", "error", "half_width")),
        ]
        if not body.get("readings") or not all(_is_number(number) for number in numbers):
            raise CorrectionError(
                "a check needs its readings, what they should have been, and how well that is known"
            )
    elif kind == "probe put right" and not isinstance(body.get("fixed"), bool):
        raise CorrectionError("fixed: true if it was mended, false if it was right as it was")
    due = body.get("due_at")
    if due is not None and not (_is_number(due) and due > at):
        raise CorrectionError("the next check is due after this one: choose a later day")


def _text(body: Mapping[str, Any], name: str, least: int) -> None:
    text = body.get(name, "")
    if (
        not isinstance(text, str)
        or not least <= len(text.strip()) <= 200
        or not (text.isprintable() or not text)
    ):
        raise CorrectionError(
            f"{name}: {least} to 200 printable characters; a device without a serial gets a mark of yours"
        )


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
