"""Looks after the collector's clock while it runs: a step is taken down, a better clock begins a new run."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

import apsw

from collector.steady_clock import Noticed, SteadyClock
from collector.store.writer import Writer

log = logging.getLogger("coldshed.collect")

LOOK_S = 1.0


class Timekeeper:
    """Asked several times a second from the pipeline's thread; looks once in a second (monotonic).

    It waits while `ready` is False: readings that wait for their commit belong to the run they came in.
    `moved` is called after a new run has begun, since readings lie elsewhere from then on.
    """

    def __init__(
        self,
        clock: SteadyClock,
        writer: Writer,
        ready: Callable[[], bool],
        moved: Callable[[], None],
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._clock = clock
        self._writer = writer
        self._ready = ready
        self._moved = moved
        self._monotonic = monotonic
        self._looked = -LOOK_S
        self._noticed: Noticed | None = None

    def __call__(self) -> None:
        now = self._monotonic()
        if now - self._looked < LOOK_S or not self._ready():
            return
        self._looked = now
        self._noticed = self._clock.look() or self._noticed
        if self._noticed is None:
            return
        try:
            self._take_down(self._noticed)
        except apsw.Error as error:
            log.error("a step of the clock is not taken down yet (%s): tried again", error)
            return
        self._noticed = None

    def _take_down(self, noticed: Noticed) -> None:
        self._writer.note_clock(noticed.elapsed, noticed.utc, noticed.state)
        if noticed.step:
            log.warning(
                "the machine's clock stepped by %.1f s; readings keep their distances", noticed.step / 1000
            )
        if self._clock.follows(noticed):
            shift = noticed.utc - noticed.elapsed - self._clock.origin
            self._writer.begin(self._clock.next_run(noticed, self._writer.run + 1))
            self._clock.take(noticed)
            self._moved()
            log.warning(
                "the clock is %s now: this run's readings moved by %.1f s", noticed.state, shift / 1000
            )
        elif noticed.state != self._clock.state:
            self._writer.confirm(noticed.state)
            self._clock.confirm(noticed)
