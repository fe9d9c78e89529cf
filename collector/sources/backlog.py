"""Tells what a broker kept for us while we were away from what happens now.

A broker that resumes a session first hands over what it kept, in order, and MQTT puts no time on a message.
So we then publish a marker of our own, which the broker queues behind the backlog: whatever comes before the
marker comes back may be old. The same holds after we have been slow to acknowledge.
"""

from __future__ import annotations

import secrets

WAIT_S = 30.0
"""No marker by then: the broker does not return it, and to wait longer would refuse live samples for ever."""


class Backlog:
    """Whether a message that arrives now may be old. `now` is in monotonic seconds."""

    def __init__(self) -> None:
        self._marker = b""
        self._since: float | None = None
        self._missed = False

    def begin(self, resumed: bool, now: float) -> bytes:
        """A connection began, with a session that may hold a backlog or a new one. Returns our marker."""
        self._marker = secrets.token_hex(16).encode()
        self._since = now if resumed else None
        self._missed = False
        return self._marker

    def echo(self, payload: bytes) -> None:
        """A message on the echo topic; markers of earlier connections say nothing."""
        if payload == self._marker:
            self._since = None
            self._missed = False

    def over(self, now: float) -> bool:
        """True once the backlog has passed, or cannot be told apart any more."""
        if self._since is not None and now - self._since >= WAIT_S:
            self._since = None
            self._missed = True
        return self._since is None

    @property
    def missed(self) -> bool:
        """True if the marker did not come back in time, so that old messages may pass for new ones."""
        return self._missed
