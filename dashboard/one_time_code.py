"""A code that a terminal shows and a browser says once: whoever can see this terminal may go in, nobody else."""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Callable

from dashboard.door.once import OnceCode

MOST_WRONG = 10


class OneTimeCode:
    """`tell` is given each new code: at the start, and whenever one was used or tried too often.

    A code that is told is shown to the person at this computer alone: on the console, never in a log that is kept.
    """

    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell = tell
        self._lock = threading.Lock()
        self._keys: set[str] = set()
        self._new()

    def use(self, said: str) -> str | None:
        """A key for whoever said the code, which is void from then on; None if it is not the code."""
        with self._lock:
            if self._code.is_it(said):
                key = secrets.token_urlsafe(24)
                self._keys.add(key)
                self._new()
                return key
            self._wrong += 1
            if self._wrong >= MOST_WRONG:
                self._new()
            return None

    def admits(self, key: str | None) -> bool:
        """True for a key that use() gave."""
        with self._lock:
            return key is not None and any(
                hmac.compare_digest(key.encode(), one.encode()) for one in self._keys
            )

    def _new(self) -> None:
        self._wrong = 0
        self._code = OnceCode()
        self._tell(self._code.text)
