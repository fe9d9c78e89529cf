"""A disk that loses its power: what SQLite wrote and what it synced, and every state a cut may leave behind.

`Recorder` is a way to the disk (an apsw VFS over the real one) that notes each write, sync, truncation and deletion
in their order. `Disk` plays that list up to a moment and answers what may lie there after the power went at it:
all that was synced, and of the rest everything, nothing, some of the writes, or some of them torn and scrambled.
The way SQLite's own power-loss tests work (sqlite.org/testing.html, "Crash Testing").
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from unittest.mock import patch

import apsw

SECTOR = 512


@dataclass(frozen=True)
class Write:
    path: str
    at: int
    data: bytes


@dataclass(frozen=True)
class Truncate:
    path: str
    size: int


@dataclass(frozen=True)
class Sync:
    path: str


@dataclass(frozen=True)
class Delete:
    path: str
    durable: bool


@dataclass(frozen=True)
class Move:
    """A file or a folder gets another name."""

    path: str
    target: str


@dataclass(frozen=True)
class FolderSync:
    """The names in the folder are safe."""

    path: str


@dataclass(frozen=True)
class Acknowledged:
    """Not of the disk: from here on somebody was told that `what` is safe."""

    what: object


_Loose = Write | Truncate | Delete
Op = _Loose | Sync | Move | FolderSync | Acknowledged


class _File(apsw.VFSFile):
    def __init__(self, ops: list[Op], name: str | apsw.URIFilename | None, flags: list[int]) -> None:
        super().__init__("", name, flags)
        self._ops = ops
        self._path = name.filename() if isinstance(name, apsw.URIFilename) else str(name)

    def xWrite(self, data: bytes, offset: int) -> None:
        super().xWrite(data, offset)
        self._ops.append(Write(self._path, offset, bytes(data)))

    def xTruncate(self, newsize: int) -> None:
        super().xTruncate(newsize)
        self._ops.append(Truncate(self._path, newsize))

    def xSync(self, flags: int) -> None:
        self._ops.append(Sync(self._path))  # the real disk need not be bothered


class Recorder(apsw.VFS):
    """Notes in `ops` what is done to files opened with vfs=`name`. Open only inside `recording()`."""

    def __init__(self, name: str) -> None:
        super().__init__(name, "")
        self.name = name
        self.ops: list[Op] = []

    def xOpen(self, name: str | apsw.URIFilename | None, flags: list[int]) -> _File:
        return _File(self.ops, name, flags)

    def xDelete(self, filename: str, syncdir: bool) -> None:
        super().xDelete(filename, syncdir)
        self.ops.append(Delete(filename, bool(syncdir)))

    def acknowledge(self, what: object) -> None:
        """`what` is safe from now on, says the program."""
        self.ops.append(Acknowledged(what))


@contextmanager
def recording() -> Iterator[Recorder]:
    recorder = Recorder("recorder")
    try:
        with patch.multiple(os, **_noted(recorder.ops)):
            yield recorder
    finally:
        recorder.unregister()


def _noted(ops: list[Op]) -> dict[str, Callable[..., None]]:
    """Python's own ways to the disk, noted. A file's content counts from its fsync on: before that it is nothing."""
    rename, unlink = os.rename, os.unlink

    def noted_fsync(descriptor: int) -> None:
        path = os.readlink(f"/proc/self/fd/{descriptor}")
        if os.path.isdir(path):
            ops.append(FolderSync(path))
        else:
            ops.extend([Write(path, 0, Path(path).read_bytes()), Sync(path)])

    def noted_rename(source: str, target: str, **more: object) -> None:
        rename(source, target)
        ops.append(Move(os.fspath(source), os.fspath(target)))

    def noted_unlink(path: str, **more: object) -> None:
        unlink(path)
        ops.append(Delete(os.fspath(path), durable=False))

    return {"fsync": noted_fsync, "rename": noted_rename, "replace": noted_rename, "unlink": noted_unlink}


@dataclass(eq=False)
class _Kept:
    """One file: what is safe of it (None: it is not there), and what was done since the last sync.

    It was made under the name `born`, after `born_after` moves.
    """

    born: str
    born_after: int
    safe: bytearray | None = None
    loose: list[_Loose] = field(default_factory=list)

    def settle(self) -> None:
        for op in self.loose:
            self.safe = _done(self.safe, op)
        self.loose.clear()

    def settle_deletion(self) -> None:
        """The folder has been synced: a file that was deleted is gone, what was written into a new one may be lost."""
        gone = [index for index, op in enumerate(self.loose) if isinstance(op, Delete)]
        if gone:
            self.safe = None
            del self.loose[: gone[-1] + 1]

    @property
    def new(self) -> bool:
        return self.safe is None or any(isinstance(op, Delete) for op in self.loose)


class Disk:
    """Plays operations; `before` lay there safely, by path; `acknowledged` is what somebody relies on by now."""

    def __init__(self, before: Mapping[str, bytes] | None = None) -> None:
        self._named = {path: _Kept(path, 0, bytearray(content)) for path, content in (before or {}).items()}
        self._all = list(self._named.values())
        self._moves: list[Move] = []
        self._safe_moves = 0
        self.acknowledged: list[object] = []

    def play(self, op: Op) -> None:
        if isinstance(op, Acknowledged):
            self.acknowledged.append(op.what)
        elif isinstance(op, Move):
            self._moves.append(op)
            self._named = _renamed(self._named, op)
        elif isinstance(op, FolderSync):
            self._settle_names(op.path)
        else:
            self._play_on_file(op)

    def _settle_names(self, folder: str) -> None:
        if any(os.path.dirname(move.target) == folder for move in self._moves):
            self._safe_moves = len(self._moves)
        for path, file in self._named.items():
            if os.path.dirname(path) == folder:
                file.settle_deletion()

    def _play_on_file(self, op: _Loose | Sync) -> None:
        if op.path not in self._named:
            self._named[op.path] = _Kept(op.path, len(self._moves))
            self._all.append(self._named[op.path])
        file = self._named[op.path]
        if isinstance(op, Sync):
            # SQLite syncs the folder too when it first syncs a journal or WAL that it has made (os_unix.c, unixSync).
            if file.new and op.path.endswith(("-wal", "-journal")):
                for other in self._named.values():
                    other.settle_deletion()
            file.settle()
            return
        file.loose.append(op)
        if isinstance(op, Delete) and op.durable:
            file.settle()

    def after_a_cut(self, rng: random.Random) -> dict[str, bytes]:
        """What lies there when the power comes back, by path."""
        fate = rng.choice([_keep, _drop, _thin, _tear])
        found: dict[str, bytes] = {}
        for path, file in self._names_after_a_cut(rng).items():
            left: bytearray | None = None if file.safe is None else bytearray(file.safe)
            for op in file.loose:
                rest = fate(op, rng)
                if rest is not None:
                    left = _done(left, rest)
                elif isinstance(op, Delete):
                    break  # the old file is still there, and what was written into a new one of its name is not
            if left is not None:
                found[path] = bytes(left)
        return found

    def _names_after_a_cut(self, rng: random.Random) -> dict[str, _Kept]:
        """The safe moves are there and some that came after them, in order: a file system's journal keeps it."""
        moves = rng.randint(self._safe_moves, len(self._moves))
        names: dict[str, _Kept] = {}
        for index in range(moves + 1):
            names |= {file.born: file for file in self._all if file.born_after == index}
            if index < moves:
                names = _renamed(names, self._moves[index])
        return names


def _renamed(names: Mapping[str, _Kept], move: Move) -> dict[str, _Kept]:
    """The names after a move of a file or folder; a file that had the new name has none any more."""
    inside = move.path + os.sep
    moved = {
        move.target + path[len(move.path) :]: file
        for path, file in names.items()
        if path == move.path or path.startswith(inside)
    }
    return {path: file for path, file in names.items() if file not in moved.values()} | moved


def _done(content: bytearray | None, op: _Loose) -> bytearray | None:
    if isinstance(op, Delete):
        return None
    content = bytearray() if content is None else content
    if isinstance(op, Truncate):
        del content[op.size :]
    else:
        content.extend(bytes(max(0, op.at + len(op.data) - len(content))))
        content[op.at : op.at + len(op.data)] = op.data
    return content


def _keep(op: _Loose, rng: random.Random) -> _Loose | None:
    return op


def _drop(op: _Loose, rng: random.Random) -> _Loose | None:
    return None


def _thin(op: _Loose, rng: random.Random) -> _Loose | None:
    return op if rng.random() < 0.5 else None


def _tear(op: _Loose, rng: random.Random) -> _Loose | None:
    """Half of the writes arrive, and of those half only up to a sector's edge, with or without rubbish after it."""
    if rng.random() < 0.5:
        return None
    if not isinstance(op, Write) or rng.random() < 0.5:
        return op
    whole = rng.choice([0, *range(SECTOR - op.at % SECTOR, len(op.data), SECTOR)])
    rubbish = rng.randbytes(len(op.data) - whole) if rng.random() < 0.5 else b""
    return Write(op.path, op.at, op.data[:whole] + rubbish)
