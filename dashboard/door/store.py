"""accounts.db: who may come in, who is in, which tokens there are, and what was done at the door. Written by serve.

It is readable by its owner only and in no backup: an old copy put back would let in whoever was turned away since.
Passwords and PINs are kept as Argon2id, secrets of sessions and tokens as SHA-256. Times UTC ms.

    account   key: the name as it is compared. password, pin: Argon2id, or NULL
    session   of an account, or of a shop phone (account NULL). used: seen last, within five minutes
    token     scopes: words with blanks between. revoked: since when it is not taken any more, or NULL
    trail     what was done, only ever added: a trigger refuses to change or remove a line
"""

from __future__ import annotations

import logging
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import apsw

from collector.clock import Clock
from collector.store.schema import MAY_PASS, Schema, WriterFile, open_reader, open_writer, transaction

log = logging.getLogger("coldshed.door")

ACCOUNTS = Schema(
    name="accounts.db",
    writer="serve",
    application_id=0x63734163,
    migrations=(
        """
        CREATE TABLE account(
          id INTEGER PRIMARY KEY,
          name TEXT NOT NULL,
          key TEXT NOT NULL UNIQUE,
          role TEXT NOT NULL CHECK (role IN ('look', 'work', 'manage')),
          password TEXT NOT NULL,
          pin TEXT,
          made INTEGER NOT NULL
        );
        CREATE TABLE session(
          hash BLOB PRIMARY KEY,
          id TEXT NOT NULL UNIQUE,
          account INTEGER REFERENCES account(id),
          label TEXT NOT NULL,
          made INTEGER NOT NULL,
          used INTEGER NOT NULL
        ) WITHOUT ROWID;
        CREATE TABLE token(
          hash BLOB PRIMARY KEY,
          id TEXT NOT NULL UNIQUE,
          name TEXT NOT NULL,
          scopes TEXT NOT NULL,
          made INTEGER NOT NULL,
          made_by TEXT NOT NULL,
          used INTEGER,
          revoked INTEGER
        ) WITHOUT ROWID;
        CREATE TABLE trail(
          seq INTEGER PRIMARY KEY AUTOINCREMENT,
          at INTEGER NOT NULL,
          who TEXT NOT NULL,
          means TEXT NOT NULL,
          address TEXT NOT NULL,
          what TEXT NOT NULL,
          about TEXT NOT NULL
        );
        CREATE TRIGGER trail_kept BEFORE DELETE ON trail BEGIN SELECT RAISE(ABORT, 'the trail is only added to'); END;
        CREATE TRIGGER trail_fixed BEFORE UPDATE ON trail BEGIN SELECT RAISE(ABORT, 'the trail is only added to'); END;
        """,
    ),
)


class DoorFile:
    """The one writer of accounts.db, for several threads; one statement at a time."""

    def __init__(self, path: Path, clock: Clock) -> None:
        self._path = path
        self._lock = threading.RLock()
        self._file: WriterFile | None = None
        self.clock = clock

    def open(self) -> DoorFile:
        """Makes the file if need be, for its owner only. Raises Locked if another process writes it."""
        self._path.parent.mkdir(parents=True, exist_ok=True)
        # SQLite gives its -wal and -shm the rights of the file itself, so that comes first.
        os.close(os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))
        os.chmod(self._path, 0o600)
        self._file = open_writer(self._path, ACCOUNTS)
        return self

    def open_to_read(self) -> DoorFile:
        """Beside its writer. Raises NotYet if there is no such file."""
        self._file = WriterFile(open_reader(self._path, ACCOUNTS), None)
        return self

    def close(self) -> None:
        with self._lock:
            if self._file is not None:
                self._file.close()
                self._file = None

    def rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        with self._lock:
            return list(self._connection().execute(sql, values))

    @contextmanager
    def writing(self) -> Iterator[apsw.Connection]:
        """One commit."""
        with self._lock, transaction(self._connection()) as _:
            yield self._connection()

    def note(self, sql: str, *values: Any) -> None:
        """A small change that pages do not wait for: where the disk takes none now, it is told in the log and left."""
        try:
            with self.writing() as connection:
                connection.execute(sql, values)
        except MAY_PASS as error:
            log.warning("accounts.db: %s", error)

    def now(self) -> int:
        return self.clock.now()

    def _connection(self) -> apsw.Connection:
        if self._file is None:
            raise RuntimeError("accounts.db is not open")
        return self._file.connection
