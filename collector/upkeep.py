"""What collect does beside storing: it stands by when a commit fails, and puts the house in order at quiet times.

A quiet time is a moment in which nothing has come and nothing waits. Each turn does one small piece of work, so that
what comes next waits some ten milliseconds at most.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Generator, Iterator
from pathlib import Path

import apsw

from collector.clock import Clock
from collector.store.ballast import Ballast
from collector.store.digests import day_of, digesting, due
from collector.store.schema import MAY_PASS
from collector.store.trouble import Kind, TroubleFile, kind_of
from collector.store.wal import MOST_BYTES, wal_bytes
from collector.store.writer import Writer

log = logging.getLogger("coldshed.collect")

LOOK_S = 30.0
"""Between two looks at the disk, the WAL and the days that are due."""
RESTS = 200
"""A slice of a day that took so long to digest is followed by a rest so many times as long, or until the next look:
nothing waits for a digest, and days that came all at once must not keep a processor warm."""
REMOVAL_S = 3600.0
"""Between two looks for days that are no longer kept."""

_PASSING = (Kind.DISK_FULL, Kind.READ_ONLY, Kind.DISK_ERROR, Kind.LOCKED)


class Upkeep:
    """For the pipeline's thread alone."""

    def __init__(
        self,
        writer: Writer,
        readings: Path,
        clock: Clock,
        troubles: TroubleFile,
        ballast: Ballast,
        monotonic: Callable[[], float] = time.monotonic,
        keep_days: int | None = None,
    ) -> None:
        """`keep_days`: how many days of readings are kept; None for all."""
        self._writer = writer
        self._readings = readings
        self._clock = clock
        self._troubles = troubles
        self._ballast = ballast
        self._monotonic = monotonic
        self._next_look = monotonic()
        self._day: int | None = None
        self._digesting: Generator[None, None, list[str]] | None = None
        self._rests_until = monotonic()
        self._disowned: set[int] = set()
        self._reserved = True
        self._keep_days = keep_days
        self._removing: Iterator[None] | None = None
        self._next_removal = monotonic()

    def failed(self, error: apsw.Error) -> bool:
        """A commit did not succeed. True if room was made and it should be tried again at once."""
        if isinstance(error, apsw.FullError) and self._ballast.give_up():
            log.error("the disk is full: the reserve is given up, recording goes on; make room")
            self._tell(Kind.ON_RESERVE)
            return True
        self._tell(kind_of(error), str(error))
        return False

    def committed(self) -> None:
        """A commit has succeeded."""
        self._over(*_PASSING)

    def quiet(self) -> None:
        """One small piece of work, begun again later if the disk does not let us."""
        try:
            if self._digesting is not None and self._monotonic() >= self._rests_until:
                self._digest_on(self._digesting)
            elif self._removing is not None:
                self._remove_on(self._removing)
            elif self._monotonic() >= self._next_look:
                self._next_look = self._monotonic() + LOOK_S
                self._look()
        except MAY_PASS as error:
            log.warning("put off: %s", error)

    def _look(self) -> None:
        self._keep_ballast()
        self._watch_wal()
        if self._digesting is None:
            self._choose()

    def _choose(self) -> None:
        days = [
            day
            for day in due(self._writer.connection, day_of(self._clock.now()))
            if day not in self._disowned
        ]
        if days:
            self._day = days[0]
            self._writer.touched.discard(self._day)
            self._digesting = digesting(self._writer.connection, self._day)
        elif self._keep_days is not None and self._monotonic() >= self._next_removal:
            self._next_removal = self._monotonic() + REMOVAL_S
            self._removing = self._writer.removing(self._keep_days)

    def _keep_ballast(self) -> None:
        try:
            there = self._ballast.have()
        except OSError as error:
            log.warning("no room can be kept in reserve: %s", error)
            return
        if there:
            self._over(Kind.ON_RESERVE)
        elif self._reserved:
            log.warning("the disk has no room for a reserve, or has used it: make room")
        self._reserved = there

    def _watch_wal(self) -> None:
        size = wal_bytes(self._readings)
        if size > MOST_BYTES:
            self._tell(Kind.LONG_READ, f"{size // 1_000_000} MB")
        else:
            self._over(Kind.LONG_READ)

    def _digest_on(self, steps: Generator[None, None, list[str]]) -> None:
        assert self._day is not None
        day, begun = self._day, self._monotonic()
        try:
            next(steps)
            now = self._monotonic()
            self._rests_until = now + min(RESTS * (now - begun), LOOK_S)
        except StopIteration as end:
            self._digesting = self._day = None
            self._digested(day, end.value)
        except BaseException:
            self._digesting = self._day = None
            raise

    def _remove_on(self, steps: Iterator[None]) -> None:
        self._removing = None  # an error ends it; it is begun again with a later look
        for _ in steps:
            self._removing = steps
            return

    def _digested(self, day: int, wrong: list[str]) -> None:
        if wrong:
            self._disowned.add(day)
            for text in wrong:
                log.error("readings.db is damaged: %s; keep it, and restore a backup", text)
            self._tell(Kind.DAMAGED, wrong[0])
        elif day not in self._writer.touched:
            self._writer.connection.execute("DELETE FROM undigested WHERE day = ?", (day,))
            self._next_look = self._monotonic()  # there may be more: a file of old readings, an older store

    def _tell(self, kind: Kind, said: str = "") -> None:
        try:
            self._troubles.tell(kind, self._clock.now(), said)
        except OSError as error:
            log.error("%s, and that cannot be told on the disk: %s", kind, error)

    def _over(self, *kinds: Kind) -> None:
        try:
            self._troubles.over(*kinds)
        except OSError as error:
            log.error("the end of a trouble cannot be told on the disk: %s", error)
