"""A source in a thread of its own, as collect runs it."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from typing import TypeVar

from collector.arrival import Arrival, Source


class Running(threading.Thread):
    """What a running source has handed over, and its state."""

    def __init__(self, source: Source) -> None:
        super().__init__(daemon=True)
        self.source = source
        self.arrivals: list[Arrival] = []
        self.ended = threading.Event()

    def run(self) -> None:
        self.source.run(self.arrivals.append, self.ended.is_set)

    @property
    def state(self) -> str:
        return self.source.state

    def heard(self) -> dict[str, bytes]:
        """The newest payload of each topic."""
        return {arrival.topic: arrival.payload for arrival in self.arrivals}


R = TypeVar("R", bound=Running)


@contextlib.contextmanager
def ends(thread: R) -> Iterator[R]:
    """Runs until the block ends; then it must stop."""
    thread.start()
    try:
        yield thread
    finally:
        thread.ended.set()
        thread.join(5)
        assert not thread.is_alive()


def running(source: Source) -> contextlib.AbstractContextManager[Running]:
    """The same of a source as it is."""
    return ends(Running(source))
