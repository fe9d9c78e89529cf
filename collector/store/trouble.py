"""How collect tells everyone that it cannot store what comes in, also when the disk is full.

A file of fixed size, made in good times and then written in place: that needs no room. On a disk that takes no
writes at all it cannot be told this way; read() therefore also looks at the disk itself.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from enum import StrEnum
from pathlib import Path

import apsw

from collector.store.damage import lying_aside

NAME = "collect.state"
SIZE = 4096


class Kind(StrEnum):
    """What is wrong, the gravest first."""

    DISK_FULL = "disk full"
    READ_ONLY = "disk read-only"
    DISK_ERROR = "disk error"
    LOCKED = "file locked"
    DAMAGED = "file damaged"
    ON_RESERVE = "on reserve"
    LONG_READ = "read without end"


DO: dict[Kind, str] = {
    Kind.DISK_FULL: "the disk is full, nothing is stored: make room; what waits is stored then",
    Kind.READ_ONLY: "the disk takes no writes or no new files, nothing is stored: see 'mount' and 'df -i'; mount it "
    "writable, delete small files, or change the card",
    Kind.DISK_ERROR: "the disk gives errors, nothing is stored: change the card or cable",
    Kind.LOCKED: "another program holds readings.db, nothing is stored: end that program",
    Kind.DAMAGED: "readings.db was found damaged: look at it with 'coldshed check store', restore a backup or "
    "move the damaged file away",
    Kind.ON_RESERVE: "the disk is full, readings are stored in the last reserve: make room within a day",
    Kind.LONG_READ: "another program reads readings.db without end and makes readings.db-wal grow: end that program",
}


def kind_of(error: apsw.Error) -> Kind:
    """What an error that may pass means for a person."""
    if isinstance(error, apsw.FullError):
        return Kind.DISK_FULL
    if isinstance(error, apsw.ReadOnlyError | apsw.CantOpenError):
        return Kind.READ_ONLY
    if isinstance(error, apsw.BusyError | apsw.LockedError | apsw.ProtocolError):
        return Kind.LOCKED
    return Kind.DISK_ERROR


@dataclass(frozen=True)
class Trouble:
    """One kind of trouble since then (UTC ms); `said` is the system's own words."""

    kind: Kind
    since: int
    said: str = ""

    @property
    def do(self) -> str:
        return DO[self.kind]

    @property
    def text(self) -> str:
        return self.do + (f" ({self.said})" if self.said else "")


class TroubleFile:
    """Written by collect alone. A process that begins has no trouble yet."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._descriptor = os.open(folder / NAME, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        self._standing: dict[Kind, Trouble] = {}
        self._write()

    @property
    def standing(self) -> list[Trouble]:
        return [self._standing[kind] for kind in Kind if kind in self._standing]

    def tell(self, kind: Kind, now: int, said: str = "") -> None:
        """It is so now; told again it keeps its beginning. Raises OSError if it cannot be told this way."""
        if kind not in self._standing:
            self._standing[kind] = Trouble(kind, now, said[:300])
            self._write()

    def over(self, *kinds: Kind) -> None:
        """They are not so any more. Raises OSError if it cannot be told this way."""
        gone = [kind for kind in kinds if self._standing.pop(kind, None)]
        if gone:
            self._write()

    def close(self) -> None:
        os.close(self._descriptor)

    def _write(self) -> None:
        text = json.dumps([asdict(item) for item in self.standing]).encode()
        os.pwrite(self._descriptor, text.ljust(SIZE), 0)


def read(readings: Path) -> list[Trouble]:
    """What is wrong with storing into that readings.db, the gravest first: as collect tells, as the disk shows."""
    found = {item.kind: item for item in [*_of_disk(readings), *_told(readings.parent)]}
    return [found[kind] for kind in Kind if kind in found]


def _told(folder: Path) -> Iterable[Trouble]:
    path = folder / NAME
    if not path.exists() or not path.stat().st_size:
        return []
    try:
        told = json.loads(path.read_bytes())
        return [Trouble(Kind(item["kind"]), int(item["since"]), str(item["said"])) for item in told]
    except (OSError, ValueError, KeyError, TypeError) as error:
        return [Trouble(Kind.DISK_ERROR, 0, f"{NAME} cannot be read: {error}")]


def _of_disk(readings: Path) -> Iterable[Trouble]:
    aside = lying_aside(readings)
    if aside:
        yield Trouble(Kind.DAMAGED, int(aside[-1].stat().st_ctime_ns // 1_000_000), aside[-1].name)
    if readings.parent.exists() and os.statvfs(readings.parent).f_flag & os.ST_RDONLY:
        yield Trouble(Kind.READ_ONLY, 0)
