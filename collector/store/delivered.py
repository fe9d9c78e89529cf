"""Which MQTT messages' rows are committed, so that a message that comes again is not taken twice.

The identities of a commit's messages stand in its batch's row: no page of their own is written for them. Only what
made no batch, such as messages that were refused, has rows in `delivered`. A broker repeats what it was not told to
be received, a few dozen messages at most; so the newest KEPT are remembered.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import apsw

from collector.arrival import Delivery

LENGTH = 16
KEPT = 2000


class Delivered:
    """The newest KEPT identities, in memory; written by the writer's own transaction."""

    def __init__(self, connection: apsw.Connection) -> None:
        rows = connection.execute(
            "SELECT identities FROM (SELECT id, identities FROM delivered ORDER BY id DESC LIMIT ?1) "
            "UNION ALL SELECT delivered FROM (SELECT delivered FROM batch ORDER BY seq DESC LIMIT ?1) "
            "WHERE delivered IS NOT NULL",
            (KEPT,),
        )
        self._known: dict[bytes, None] = {}
        for row in rows.fetchall()[::-1]:
            self.remember(bytes(row[0]))  # type: ignore[arg-type]

    def __contains__(self, delivery: Delivery) -> bool:
        return _identity(delivery) in self._known

    def remember(self, packed: bytes) -> None:
        """What pack() gave, once it is committed."""
        for start in range(0, len(packed), LENGTH):
            identity = packed[start : start + LENGTH]
            self._known.pop(identity, None)  # the newest last
            self._known[identity] = None
        for _ in range(len(self._known) - KEPT):
            del self._known[next(iter(self._known))]


def pack(deliveries: Iterable[Delivery]) -> bytes:
    """Their identities, one after the other."""
    return b"".join(map(_identity, deliveries))


def keep_apart(connection: apsw.Connection, packed: bytes) -> None:
    """Writes the identities of a commit that made no batch; forgets the oldest of such."""
    connection.execute("INSERT INTO delivered(identities) VALUES(?)", (packed,))
    connection.execute("DELETE FROM delivered WHERE id <= ?", (connection.last_insert_rowid() - KEPT,))


def _identity(delivery: Delivery) -> bytes:
    head = f"{delivery.client}\0{delivery.mid}\0".encode()
    return hashlib.sha256(head + delivery.digest).digest()[:LENGTH]
