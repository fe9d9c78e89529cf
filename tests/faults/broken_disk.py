"""A disk that is full, takes no writes or gives errors, on demand: an apsw VFS over the real one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import apsw

FAULTS: dict[str, type[apsw.Error]] = {
    "full": apsw.FullError,
    "read-only": apsw.IOError,
    "error": apsw.IOError,
}
"""What SQLite makes of ENOSPC, EROFS and EIO in a write (os_unix.c, unixWrite: anything but ENOSPC is an I/O error)."""


class BrokenDisk(apsw.VFS):
    """`fault` names what is wrong with every write to a file now; None: all is well."""

    name = "broken-disk"

    def __init__(self) -> None:
        super().__init__(self.name, "")
        self.fault: str | None = None
        self.temporary_files = 0

    def xOpen(self, name: str | apsw.URIFilename | None, flags: list[int]) -> apsw.VFSFile:
        if name is None:
            self.temporary_files += 1
        return _File(self, name, flags)


class _File(apsw.VFSFile):
    def __init__(self, disk: BrokenDisk, name: str | apsw.URIFilename | None, flags: list[int]) -> None:
        super().__init__("", name, flags)
        self._disk = disk

    def xWrite(self, data: bytes, offset: int) -> None:
        if self._disk.fault:
            raise FAULTS[self._disk.fault](f"the test's disk is {self._disk.fault}")
        super().xWrite(data, offset)


@contextmanager
def broken_disk() -> Iterator[BrokenDisk]:
    disk = BrokenDisk()
    try:
        yield disk
    finally:
        disk.unregister()
