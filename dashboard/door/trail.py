"""The trail: who did what at the door and through it, only ever added. No secret and no line break gets into it."""

from __future__ import annotations

import logging
import unicodedata
from dataclasses import dataclass
from typing import Any

import apsw

from dashboard.door.store import DoorFile
from dashboard.door.visitor import Visitor

log = logging.getLogger("coldshed.door")
LONGEST = 200


@dataclass(frozen=True)
class Line:
    """One thing that was done; at UTC ms."""

    seq: int
    at: int
    who: str
    means: str
    address: str
    what: str
    about: str


def plain(text: str) -> str:
    """On one line and as it reads: controls and marks that turn the direction of writing become "?"."""
    kept = (
        c if unicodedata.category(c) not in ("Cc", "Cf", "Zl", "Zp", "Cs", "Co", "Cn") else "?" for c in text
    )
    return "".join(kept)[:LONGEST]


class Trail:
    """Writes and reads it."""

    def __init__(self, file: DoorFile) -> None:
        self._file = file

    def add(
        self,
        visitor: Visitor,
        address: str,
        what: str,
        about: str = "",
        *,
        beside: apsw.Connection | None = None,
    ) -> None:
        """One line; in the commit of `beside` if that is given. Also told to the log, which keeps it on a full disk."""
        who = visitor.signed or visitor.name
        values: tuple[Any, ...] = (
            self._file.now(), plain(who), visitor.means.value, plain(address), plain(what), plain(about),
        )  # fmt: skip
        sql = "INSERT INTO trail(at, who, means, address, what, about) VALUES (?, ?, ?, ?, ?, ?)"
        if beside is not None:
            beside.execute(sql, values)
        else:
            self._file.note(sql, *values)
        log.info("%s", " · ".join(str(value) for value in values[1:] if value))

    def lines(self, newest: int | None = None, before: int | None = None) -> list[Line]:
        """Newest first: so many, or all; only those before the line of that number."""
        rows = self._file.rows(
            "SELECT seq, at, who, means, address, what, about FROM trail WHERE seq < ? ORDER BY seq DESC LIMIT ?",
            before if before is not None else 1 << 62,
            -1 if newest is None else newest,
        )
        return [Line(*row) for row in rows]
