"""A file that only takes up room, given up when the disk is full.

On a full disk SQLite can neither insert nor delete (its WAL needs room for both), and the other writers are stuck as
well. The room of this file lets everyone go on while a person is told.
"""

from __future__ import annotations

import errno
import os
from pathlib import Path

BALLAST_BYTES = 16_000_000
"""Eight probes every 10 s take 4.5 MB a day (32 B a reading, measured) and a WAL of 4 MB: two days and more."""
SPARE = 4
"""It is taken again when this many times its size is free: not while somebody is still fighting for room."""


class Ballast:
    """The file `path`; nothing is done before have()."""

    def __init__(self, path: Path, size: int = BALLAST_BYTES) -> None:
        self._path = path
        self._size = size

    def have(self) -> bool:
        """Takes the room if there is plenty; True if it is there. Raises OSError if the disk does not let us."""
        if self._path.exists() and self._path.stat().st_size >= self._size:
            return True
        disk = os.statvfs(self._path.parent)
        if disk.f_bavail * disk.f_frsize < SPARE * self._size:
            return False
        try:
            self._take()
        except OSError:
            self.give_up()
            raise
        return True

    def _take(self) -> None:
        with self._path.open("wb") as file:
            try:
                os.posix_fallocate(file.fileno(), 0, self._size)
            except OSError as error:
                if error.errno != errno.EOPNOTSUPP:
                    raise
                file.write(os.urandom(self._size))  # zeros would take no room on a disk that packs them

    def give_up(self) -> bool:
        """Frees the room; False if there was none to free."""
        try:
            self._path.unlink()
        except FileNotFoundError:
            return False
        return True
