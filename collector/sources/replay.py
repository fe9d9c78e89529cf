"""A recording, sent again as one source: in the recorded order, by the clock it is given, as fast as wanted."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from collector import settings
from collector.arrival import Arrival
from collector.clock import Clock
from collector.patience import rest
from collector.recording import RecordingError, arrivals

LOOK_S = 0.05
RETRY_S = 2.0


class ReplayedSource:
    """Starts at the recording's first line, so that all sources of one recording stay in step; ends once.

    Times of arrival are the recorded ones, shifted by the settings' `shift_s`; so the readings are the same at
    any speed, and a second time through they are repeats of rows that are stored already.
    """

    def __init__(self, settings: settings.ReplaySource, file: Path, clock: Clock) -> None:
        self.id = settings.id
        self._recorded_as = settings.recorded_as or settings.id
        self._speed = settings.speed
        self._shift_ms = settings.shift_ms
        self._file = file
        self._clock = clock
        self._state = "waiting"

    @property
    def state(self) -> str:
        return self._state

    def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        """Sends everything once, then rests until stopped. A file that cannot be read is tried again; one that is
        no recording is told of."""
        while not stop():
            try:
                self._replay(put, stop)
                self._state = "waiting"
                break
            except OSError as error:
                self._state = f"failed: {error}"
                rest(RETRY_S, stop)
            except RecordingError as error:
                self._state = f"failed: {error}"
                break
        while not stop():
            rest(RETRY_S, stop)

    def _replay(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        began = self._clock.now()
        first: int | None = None
        for arrival in arrivals(self._file):
            self._state = "connected"
            first = arrival.received if first is None else first
            if arrival.source != self._recorded_as:
                continue
            due = began + (arrival.received - first) / self._speed
            while not stop() and (left := due - self._clock.now()) > 0:
                rest(min(LOOK_S, left / 1000 / self._clock.rate), stop)
            if stop():
                return
            put(arrival._replace(source=self.id, received=arrival.received + self._shift_ms))
