"""What people say of alarms and of their own quiet hours, as entries of the logbook, and whether it makes sense.

Bodies are told in dashboard.alarm_state and dashboard.quiet; "notice test" has person ("": everybody).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboard.alarm_kinds import KINDS, Wakes
from dashboard.quiet import QuietError, check_quiet_hours

ALARM_ENTRIES = frozenset(
    {
        "alarm seen", "alarm shelved", "alarm unshelved", "out of service", "in service", "quiet hours", "notice test",
    }
)  # fmt: skip
LONGEST = 200


def check_alarm_entry(kind: str, at: int, body: Mapping[str, Any]) -> None:
    """Raises QuietError for an entry of ALARM_ENTRIES that makes no sense."""
    if kind.startswith("alarm "):
        _text(body, "alarm", least=1)
    if kind in ("alarm shelved", "out of service"):
        _text(body, "reason")
    if kind == "alarm shelved":
        until = body.get("until")
        if isinstance(until, bool) or not isinstance(until, int) or until <= at:
            raise QuietError("until when is it quiet? choose a later time")
    elif kind in ("out of service", "in service"):
        if body.get("kind") not in KINDS:
            raise QuietError(f"{body.get('kind')!r} is no kind of alarm; allowed: {', '.join(KINDS)}")
        _text(body, "of")
        if kind == "out of service" and KINDS[str(body["kind"])].wakes is Wakes.ALWAYS:
            raise QuietError("a pot is never switched off: pour it out, then say that the coat is on")
    elif kind == "quiet hours":
        _text(body, "person", least=1)
        check_quiet_hours(
            str(body["person"]), str(body.get("start")), str(body.get("end")), body.get("wake", ())
        )
    elif kind == "notice test":
        _text(body, "person")


def _text(body: Mapping[str, Any], name: str, least: int = 0) -> None:
    text = body.get(name, "")
    if (
        not isinstance(text, str)
        or not least <= len(text.strip()) <= LONGEST
        or not (text.isprintable() or not text)
    ):
        raise QuietError(f"{name}: {least} to {LONGEST} printable characters")
