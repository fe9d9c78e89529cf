"""The ages in a header, never merged: readings, the sum made of them, and (by script) the page itself."""

from __future__ import annotations

from dashboard.display import View
from dashboard.words import LABELS


def ages(view: View, readings_to: int | None, worked_out: int | None) -> tuple[str, str, str]:
    """Now, the readings' age, the sum's age or "". Times UTC ms."""
    read = LABELS["no_readings"]
    if readings_to is not None:
        read = LABELS["readings_to"].format(at=view.clock(readings_to))
    made = LABELS["worked_out"].format(at=view.clock(worked_out)) if worked_out is not None else ""
    return view.clock(view.now), read, made
