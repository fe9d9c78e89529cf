"""What probes that number their messages have told: each number is taken once, and those that are missing are known.

A probe without a clock keeps what it could not send and sends it later, perhaps twice. Its numbers count up from
each start (`boot` names the start), so that a number heard before is a repeat, whatever its time says by now.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import apsw

MOST_SPANS = 1000
"""Of one start of one probe; beyond that the oldest gap is given up as lost."""


class Count(NamedTuple):
    """One message's number: of which device on which source, since which of its starts."""

    source: str
    device: str
    boot: str
    number: int


@dataclass(frozen=True, slots=True)
class Missing:
    """How many numbers between the first and the last of each start were never heard."""

    source: str
    device: str
    n: int


_Start = tuple[str, str, str]
_Spans = list[tuple[int, int]]


class Sequences:
    """Kept in memory beside the file. For the thread that owns the connection."""

    def __init__(self, connection: apsw.Connection) -> None:
        self._spans: dict[_Start, _Spans] = {}
        for source, device, boot, first, last in connection.execute(
            "SELECT source, device, boot, first, last FROM sequence ORDER BY source, device, boot, first"
        ):
            self._spans.setdefault((source, device, boot), []).append((first, last))

    def __contains__(self, count: Count) -> bool:
        return any(first <= count.number <= last for first, last in self._spans.get(count[:3], ()))

    def write(self, connection: apsw.Connection, counts: Iterable[Count]) -> dict[_Start, _Spans]:
        """Inside a transaction; what it returns is to be given to take() once that is committed."""
        changed: dict[_Start, _Spans] = {}
        for count in counts:
            start = count[:3]
            changed[start] = _with(changed.get(start, self._spans.get(start, [])), count.number)
        for start, spans in changed.items():
            connection.execute("DELETE FROM sequence WHERE source = ? AND device = ? AND boot = ?", start)
            connection.executemany(
                "INSERT INTO sequence(source, device, boot, first, last) VALUES(?, ?, ?, ?, ?)",
                [(*start, first, last) for first, last in spans],
            )
        return changed

    def take(self, changed: dict[_Start, _Spans]) -> None:
        """The transaction is committed."""
        self._spans.update(changed)


def missing(connection: apsw.Connection) -> list[Missing]:
    """Devices that have numbers missing, the worst first."""
    rows = connection.execute(
        "SELECT source, device, sum(lost) AS n FROM (SELECT source, device, boot, "
        "max(last) - min(first) + 1 - sum(last - first + 1) AS lost FROM sequence GROUP BY 1, 2, 3) "
        "GROUP BY 1, 2 HAVING n > 0 ORDER BY n DESC, 1, 2"
    )
    return [Missing(*row) for row in rows]


def _with(spans: _Spans, number: int) -> _Spans:
    """The spans with one number more, neighbours joined."""
    joined: _Spans = []
    for first, last in sorted([*spans, (number, number)]):
        if joined and first <= joined[-1][1] + 1:
            joined[-1] = (joined[-1][0], max(last, joined[-1][1]))
        else:
            joined.append((first, last))
    if len(joined) > MOST_SPANS:
        joined[:2] = [(joined[0][0], joined[1][1])]
    return joined
