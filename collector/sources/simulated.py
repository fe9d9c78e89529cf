"""The invented shop as a live source: it sends what its probes would send now, by the clock it is given."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

from collector.arrival import Arrival
from collector.clock import Clock
from collector.patience import rest
from collector.sources.cold_night import SLOT_MS, ColdNight, scene_lines

LONGEST_WAIT_S = 0.25
LONGEST_CATCH_UP_MS = 24 * 3_600_000
"""If the clock leaps further than this, what lies between was never sent."""


class SimulatedNightSource:
    """Follows the clock, also one that runs fast."""

    def __init__(
        self, id: str, seed: int, zone: ZoneInfo, clock: Clock, scene: ColdNight | None = None
    ) -> None:
        self.id = id
        self._seed = seed
        self._zone = zone
        self._clock = clock
        self._scene = scene or ColdNight()
        self._state = "waiting"

    @property
    def state(self) -> str:
        return self._state

    def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        """Sends each line when its moment has come."""
        self._state = "connected"
        sent = self._clock.now()
        while not stop():
            now = self._clock.now()
            start = max(sent, now - LONGEST_CATCH_UP_MS)
            for at, line in scene_lines(self._seed, start, now, self._zone, self._scene):
                put(Arrival(self.id, line, at))
                if stop():
                    break
            sent = max(sent, now)
            rest(min(LONGEST_WAIT_S, SLOT_MS / 1000 / self._clock.rate), stop)
        self._state = "waiting"
