"""What `coldshed check` found: one line each, with what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Finding:
    """`do` is empty only where nothing has to be done.

    level  "ok"; "note": worth knowing, though the night is safe; "WRONG": something is or will be lost
    """

    level: Literal["ok", "note", "WRONG"]
    what: str
    do: str = ""

    def line(self) -> str:
        """As it is printed; foreign names and texts cannot steer the terminal."""
        text = f"{self.level:<7}{self.what}" + (f": {self.do}" if self.do else "")
        return "".join(letter if letter.isprintable() else "?" for letter in text)


def ok(what: str) -> Finding:
    return Finding("ok", what)


def note(what: str, do: str = "") -> Finding:
    return Finding("note", what, do)


def wrong(what: str, do: str) -> Finding:
    return Finding("WRONG", what, do)


def ago(ms: int) -> str:
    """A span in the unit a person would take: "40 s", "12 min", "5 h", "3 days"."""
    seconds = ms / 1000
    for unit, size, up_to in (("s", 1, 120), ("min", 60, 7200), ("h", 3600, 172_800)):
        if seconds < up_to:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds / 86_400:.0f} days"
