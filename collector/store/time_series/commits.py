"""Commits as a server shows them; what they mean stands in lines.py."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from collector.store.time_series.held import Revision
from collector.store.time_series.rows import Rows

COMMIT = ("seq", "since", "n", "t_min", "t_max", "revised")


@dataclass(frozen=True, slots=True)
class Commit:
    """All times UTC ms; tick: by the site's clock, when it was sent."""

    tick: int
    seq: int
    since: int
    n: int
    t_min: int
    t_max: int
    revised: int

    @property
    def rev(self) -> int:
        """The tag of its readings; 0: they have none."""
        return self.seq if self.revised else 0

    @property
    def revision(self) -> Revision:
        return Revision(self.seq, self.t_min, self.t_max)


def commits_of(rows: Iterable[Rows]) -> Iterator[Commit]:
    """Those of which all fields are seen, by tick."""
    found = []
    for series in rows:
        told = series.whole(COMMIT)
        columns = [told.columns[name].astype("int64").tolist() for name in COMMIT]
        found += [Commit(*row) for row in zip(told.t.tolist(), *columns, strict=True)]
    yield from sorted(found, key=lambda commit: commit.tick)
