"""One way to open, lock, migrate and copy our SQLite files; readings.db, watch.db and shop.db all use it.

WAL with synchronous=FULL: a commit that has returned survives a power cut. Writers take a file lock, so that
each file has exactly one; readers open read-only and are cut off after a second. The one writing connection also
does all checkpoints: two that do may ruin a file (SQLite's WAL-reset race, mended in 3.51.3).
"""

from __future__ import annotations

import fcntl
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import apsw

from collector.store.wal import Folding

BUSY_MS = 1000
SYNCHRONOUS = "full"
"""With "normal" a power cut takes commits that had returned; tests/faults shows it."""
QUICK_LOOK_S = 3.0
"""A big file on a slow card takes minutes to look through; the night does not wait for that. `check store` does."""
LOOK_AGAIN_STEPS = 20_000
"""Of SQLite's machine, between two looks at the clock: about a millisecond."""
UNFINISHED = "restore.unfinished"
"""A file of this name beside ours: a restore was cut off, and what lies here is of two minds."""
MAY_PASS = (
    apsw.BusyError,
    apsw.LockedError,
    apsw.FullError,
    apsw.IOError,
    apsw.ReadOnlyError,
    apsw.CantOpenError,
    apsw.NoMemError,
    apsw.ProtocolError,
)
"""What a disk or another program may do to a commit, and undo again. Any other error is not mended by waiting."""


class StoreError(Exception):
    """The file cannot be used; the text says why and what to do."""


class NotYet(StoreError):
    """The file is missing or older than this program: its writer has not started yet. Wait and try again."""


class Locked(StoreError):
    """Another process holds the file's write lock."""


class Damaged(StoreError):
    """What is in the file is not what was written: the disk, the card or another program has altered it."""


@dataclass(frozen=True)
class Schema:
    """One file's shape: what it is, who writes it, and the SQL that leads from version i to i + 1."""

    name: str
    writer: str
    application_id: int
    migrations: tuple[str, ...]
    page_size: int = 4096

    @property
    def version(self) -> int:
        return len(self.migrations)


class WriterFile:
    """An open, locked, migrated file. The connection belongs to the one thread that uses it."""

    def __init__(self, connection: apsw.Connection, lock: int | None) -> None:
        self.connection = connection
        self._lock = lock

    def close(self) -> None:
        """Folds the WAL into the file, closes it, then gives up the lock."""
        self.connection.close()
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None


def open_writer(path: Path | None, schema: Schema, vfs: str | None = None) -> WriterFile:
    """Opens for writing, creating and migrating as needed; None opens a store in memory.

    vfs  the name of another way to the disk, for tests that cut its power

    Raises Locked if another process writes it, Damaged if a quick look finds damage, StoreError if it is a newer
    or a foreign file or if a restore was cut off, and apsw.Error if the disk does not let us.
    """
    lock = None
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
        lock = take_lock(path, schema)
    try:
        connection = _open_here(path, schema, vfs)
    except BaseException:
        if lock is not None:
            os.close(lock)
        raise
    return WriterFile(connection, lock)


def _open_here(path: Path | None, schema: Schema, vfs: str | None) -> apsw.Connection:
    if path is not None and path.with_name(UNFINISHED).exists():
        raise StoreError(
            f"a restore into {path.parent} was cut off: run 'coldshed restore' again; nothing starts before that"
        )
    connection = apsw.Connection(":memory:" if path is None else str(path), vfs=vfs)
    try:
        connection.set_busy_timeout(BUSY_MS)
        connection.pragma("temp_store", "memory")  # a full temporary folder must not stop a commit
        if path is not None:
            with damage_told(path):
                _version(connection, schema, path)  # a foreign file is not touched
                connection.pragma("page_size", schema.page_size)
                connection.pragma("journal_mode", "wal")
                connection.pragma("synchronous", SYNCHRONOUS)
                Folding(connection, path.name)
                quick_look(connection, path)
        _migrate(connection, schema, path)
    except BaseException:
        connection.close()
        raise
    return connection


def open_reader(path: Path, schema: Schema) -> apsw.Connection:
    """Opens read-only. Raises NotYet if the writer has not made or migrated it yet, StoreError if it is newer.

    Raises Damaged if it is no database any more, and apsw.Error if the disk does not let us.
    """
    if not path.exists():
        raise NotYet(f"{path.name} is not there yet: {schema.writer} has not started")
    connection = apsw.Connection(str(path), flags=apsw.SQLITE_OPEN_READONLY)
    connection.set_busy_timeout(BUSY_MS)
    try:
        with damage_told(path):
            version = _version(connection, schema, path)
    except BaseException:
        connection.close()
        raise
    if version < schema.version:
        connection.close()
        raise NotYet(
            f"{path.name} is of an older version ({version}): {schema.writer} will bring it to {schema.version}"
        )
    return connection


@contextmanager
def transaction(connection: apsw.Connection) -> Iterator[None]:
    """BEGIN IMMEDIATE ... COMMIT; rolls back and re-raises on any error."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


@contextmanager
def cut_off(connection: apsw.Connection, seconds: float, monotonic: Callable[[], float]) -> Iterator[None]:
    """Interrupts a read that takes longer than `seconds`, so that no reader keeps the WAL from being folded in."""
    end = monotonic() + seconds
    connection.set_progress_handler(lambda: monotonic() > end, LOOK_AGAIN_STEPS)
    try:
        yield
    finally:
        connection.set_progress_handler(None)


@contextmanager
def damage_told(path: Path) -> Iterator[None]:
    """Turns SQLite's "malformed" and "not a database" into Damaged, with what to do."""
    try:
        yield
    except (apsw.CorruptError, apsw.NotADBError) as error:
        raise Damaged(f"{path.name} is damaged ({error}): keep it, and restore a backup") from error


def quick_look(connection: apsw.Connection, path: Path) -> None:
    """Raises Damaged if SQLite finds the file's structure broken. Gives up looking after a few seconds."""
    try:
        with cut_off(connection, QUICK_LOOK_S, time.monotonic):
            found = connection.execute("PRAGMA quick_check(1)").get
    except apsw.InterruptError:
        return
    if found != "ok":
        raise Damaged(f"{path.name} is damaged ({found}): keep it, and restore a backup")


def take_lock(path: Path, schema: Schema) -> int:
    """The descriptor that holds the file's write lock until it is closed. Raises Locked if another process has it."""
    lock = os.open(path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(lock)
        raise Locked(
            f"{path.name} is being written by another process: {schema.writer} runs already"
        ) from error
    return lock


def _version(connection: apsw.Connection, schema: Schema, path: Path | None) -> int:
    with connection:  # one look: the writer may be making the file just now
        version = int(connection.pragma("user_version") or 0)
        kind = int(connection.pragma("application_id") or 0)
        taken = version or connection.execute("SELECT count(*) FROM sqlite_schema").get
    name = path.name if path else schema.name
    if taken and kind != schema.application_id:
        raise StoreError(f"{name} is not a {schema.name} file: move it away, nothing was changed")
    if version > schema.version:
        raise StoreError(
            f"{name} was written by a newer coldshed (version {version}, this one knows {schema.version}):"
            " update this one"
        )
    return version


def _migrate(connection: apsw.Connection, schema: Schema, path: Path | None) -> None:
    version = _version(connection, schema, path)
    for number in range(version, schema.version):
        with transaction(connection):
            connection.execute(schema.migrations[number])
            connection.pragma("application_id", schema.application_id)
            connection.pragma("user_version", number + 1)


def file_at(name: str) -> tuple[int, int] | None:
    """What tells a file from another of the same name; None if there is none."""
    try:
        found = os.stat(name)
    except FileNotFoundError:
        return None
    return found.st_dev, found.st_ino
