"""One attempt at sending, on a thread of its own: whatever it does, the loop that started it goes on turning."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Protocol

MOST_S = 30.0
"""An attempt that takes longer counts as failed. Its thread is left to itself: Python cannot end it."""


class Flight(Protocol):
    """An attempt under way."""

    def ended(self) -> bool: ...

    def outcome(self) -> str | None:
        """Once ended: None if it was taken, else why not."""


Launch = Callable[[Callable[[], str | None]], Flight]


class _Thread:
    def __init__(self, send: Callable[[], str | None], most_s: float) -> None:
        self._send = send
        self._outcome: str | None = "nothing came back"
        self._end = time.monotonic() + most_s
        self._thread = threading.Thread(target=self._run, name="notice", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        # The text of a foreign error may hold an address with its password: only its name is told.
        try:
            self._outcome = self._send()
        except Exception as error:  # noqa: BLE001 - whatever the library meets, it is one attempt that failed
            self._outcome = f"it failed with {type(error).__name__}"

    def ended(self) -> bool:
        return not self._thread.is_alive() or time.monotonic() >= self._end

    def outcome(self) -> str | None:
        return "it did not end in time" if self._thread.is_alive() else self._outcome


def in_a_thread(send: Callable[[], str | None], most_s: float = MOST_S) -> Flight:
    """Starts an attempt; at most `most_s` seconds are waited for it."""
    return _Thread(send, most_s)


class _Done:
    def __init__(self, outcome: str | None) -> None:
        self._outcome = outcome

    def ended(self) -> bool:
        return True

    def outcome(self) -> str | None:
        return self._outcome


def at_once(send: Callable[[], str | None]) -> Flight:
    """The attempt itself, here and now: for a command, and for replays whose clock is moved by hand."""
    return _Done(send())
