"""When the write-ahead log is folded into the file, and how large it may grow.

After a commit that leaves FOLD_BYTES or more in the log, what can be folded is folded, without waiting for
anyone. SQLite begins the log anew only once no reader looks at it: from LARGE_BYTES on we therefore wait, up to the
connection's busy time of a second, for those that do. Our own readers are cut off after a second, so that this
always comes about. A foreign program that keeps a look open for longer keeps the log from being begun anew: nothing
can be done but to say so (upkeep.py does) and to lose nothing.
"""

from __future__ import annotations

import logging
from pathlib import Path

import apsw

FOLD_BYTES = 2_000_000
LARGE_BYTES = 8_000_000
MOST_BYTES = 16_000_000
"""What the log never exceeds while only our own programs read."""
AGAIN_BYTES = 1_000_000
"""Growth before the next wait for readers, if the last one was in vain."""
KEPT_BYTES = 4_000_000
"""The log's file is cut to this when the log begins anew."""
FRAME_HEADER = 24
"""SQLite file format, 4.1: bytes before each page in the log."""

log = logging.getLogger("coldshed.store")


class Folding:
    """Belongs to one writing connection; SQLite calls it after each commit."""

    def __init__(self, connection: apsw.Connection, name: str) -> None:
        self._name = name
        self._frame = int(connection.pragma("page_size") or 0) + FRAME_HEADER
        self._tried = 0
        connection.pragma("journal_size_limit", KEPT_BYTES)
        connection.set_wal_hook(self)

    def __call__(self, connection: apsw.Connection, schema: str, frames: int) -> int:
        size = frames * self._frame
        if size < LARGE_BYTES:
            self._tried = 0
        if size < FOLD_BYTES:
            return apsw.SQLITE_OK
        try:
            connection.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_PASSIVE)
            if size >= LARGE_BYTES and size - self._tried >= AGAIN_BYTES:
                self._tried = size
                connection.wal_checkpoint(mode=apsw.SQLITE_CHECKPOINT_TRUNCATE)
        except apsw.BusyError:
            pass  # somebody looks still
        except apsw.Error as error:
            # The commit itself has been made. Whatever is wrong will stop one, and is told then.
            log.warning("the log of %s could not be folded in: %s", self._name, error)
        return apsw.SQLITE_OK


def wal_bytes(path: Path) -> int:
    """The size of the log beside a store's file; 0 if there is none."""
    try:
        return path.with_name(path.name + "-wal").stat().st_size
    except FileNotFoundError:
        return 0
