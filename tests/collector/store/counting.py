"""Counts what SQLite hands to the disk, and on how many 4 KiB blocks of it: a VFS between it and the real one.

No time and no disk comes into it: the same commits always give the same count.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count

import apsw

BLOCK = 4096

_numbers = count()


@dataclass
class Written:
    """By file name: bytes handed over, and 4 KiB blocks that each sync had to bring to the disk."""

    bytes: dict[str, int] = field(default_factory=dict)
    blocks: dict[str, int] = field(default_factory=dict)
    syncs: int = 0

    @property
    def total(self) -> int:
        return sum(self.bytes.values())

    @property
    def on_disk(self) -> int:
        """Bytes in whole blocks: what a disk that knows nothing smaller writes."""
        return BLOCK * sum(self.blocks.values())


class _File(apsw.VFSFile):
    def __init__(self, base: str, name: object, flags: list[int], written: Written) -> None:
        super().__init__(base, name, flags)  # type: ignore[arg-type]
        path = name.filename() if isinstance(name, apsw.URIFilename) else str(name)
        self._name = path.rsplit("/", 1)[-1]
        self._written = written
        self._dirty: set[int] = set()

    def xWrite(self, data: bytes, offset: int) -> None:
        super().xWrite(data, offset)
        bytes_ = self._written.bytes
        bytes_[self._name] = bytes_.get(self._name, 0) + len(data)
        self._dirty.update(range(offset // BLOCK, (offset + len(data) - 1) // BLOCK + 1))

    def xSync(self, flags: int) -> None:
        super().xSync(flags)
        blocks = self._written.blocks
        blocks[self._name] = blocks.get(self._name, 0) + len(self._dirty)
        self._written.syncs += 1
        self._dirty.clear()


class _Counting(apsw.VFS):
    def __init__(self, name: str, written: Written) -> None:
        self._base = apsw.vfs_names()[0]
        self._written = written
        super().__init__(name, self._base, makedefault=True)

    def xOpen(self, name: str | apsw.URIFilename | None, flags: list[int]) -> apsw.VFSFile:
        return _File(self._base, name, flags, self._written)


@contextlib.contextmanager
def counting() -> Iterator[Written]:
    """Files opened within it are counted, as long as they are open."""
    written = Written()
    before = apsw.vfs_names()[0]
    vfs = _Counting(f"counting{next(_numbers)}", written)
    try:
        yield written
    finally:
        vfs.unregister()
        assert apsw.vfs_names()[0] == before
