"""Beside the readings: the facts of probes and clock, and the heartbeat."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from collector.clock import Clock
from collector.forward.state import ForwardState
from collector.reading import ProbeFacts, Suspicion
from collector.store.runs import Run
from collector.store.time_series import lines

HEARTBEAT_S = 30.0
FACTS_S = 600.0
LOOK_S = 10.0

Facts = tuple[list[ProbeFacts], list[Suspicion], list[Run]]


class Known(Protocol):
    """What we need of the store's reader."""

    def last_batch(self) -> int: ...

    def probes(self) -> list[ProbeFacts]: ...

    def suspicions(self) -> list[Suspicion]: ...

    def runs(self) -> list[Run]: ...


class Telling:
    """Says what is due. `monotonic` in s."""

    def __init__(
        self, write: Callable[[list[str]], None], site: str, clock: Clock, monotonic: Callable[[], float]
    ) -> None:
        self._write = write
        self._site = site
        self._clock = clock
        self._monotonic = monotonic
        self._beat = self._told = self._looked = float("-inf")
        self._facts: Facts | None = None
        self._by = 1 + secrets.randbelow(999_999)

    def begin_again(self) -> None:
        """All of it is due at once."""
        self._beat = self._told = float("-inf")

    def tell(self, store: Known, state: ForwardState) -> None:
        """The facts if they changed or ten minutes are over, and the heartbeat twice a minute. Raises ServerError."""
        now = self._monotonic()
        stale = now - self._told >= FACTS_S
        if stale or now - self._looked >= LOOK_S:
            self._looked = now
            facts = store.probes(), store.suspicions(), store.runs()
            if stale or _lasting(facts) != self._facts:
                self._write(lines.fact_lines(self._site, *facts, state.next_tick(self._clock.now())))
                self._facts, self._told = _lasting(facts), now
        if now - self._beat >= HEARTBEAT_S:
            at, newest = self._clock.now(), store.last_batch()
            tick = state.next_tick(at)
            seq, kept = state.acknowledged, state.kept
            self._write([lines.heartbeat_line(self._site, seq, newest, at, kept, self._by, tick)])
            self._beat = now


def _lasting(facts: Facts) -> Facts:
    """Without what changes with every commit: how long the newest run has lasted so far."""
    probes, suspicions, runs = facts
    return probes, suspicions, [*runs[:-1], *(replace(run, lasted=0) for run in runs[-1:])]
