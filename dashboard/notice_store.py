"""notices.db: what is to be told to whom, and what became of it. The outbox of `coldshed notify`, its one writer.

A notice is in the file before anything is sent, and counts as told only after it was taken: a process that is killed
in between sends it again. Nothing is deleted but what is older than KEPT_MS. Times are UTC ms.

    notice     what is told as one, see dashboard.notice
    alarm_in   which occurrences are in it; one may be in a second notice, once its quiet time is over
    delivery   one notice to one person: "waiting", "sent", "told as over", "dropped: <why>"
    message    what was taken, as it read
    attempt    how the last tries for a person went, and when the next is due
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import apsw

from collector.store.schema import Schema, WriterFile, open_reader, open_writer, transaction
from dashboard.notice import Notice
from dashboard.notice_words import Message

NOTICES = Schema(
    name="notices.db",
    writer="notify",
    application_id=0x6373_4E6F,
    migrations=(
        """
        CREATE TABLE notice(
          key TEXT PRIMARY KEY,
          cause TEXT NOT NULL,
          opened_at INTEGER NOT NULL,
          ready_at INTEGER NOT NULL,
          waits INTEGER NOT NULL,
          person TEXT NOT NULL
        ) WITHOUT ROWID;
        CREATE INDEX notice_opened ON notice(opened_at);
        CREATE TABLE alarm_in(
          notice TEXT NOT NULL,
          place INTEGER NOT NULL,
          alarm TEXT NOT NULL,
          PRIMARY KEY (notice, place)
        ) WITHOUT ROWID;
        CREATE TABLE delivery(
          notice TEXT NOT NULL,
          person TEXT NOT NULL,
          state TEXT NOT NULL,
          at INTEGER NOT NULL,
          message INTEGER,
          PRIMARY KEY (notice, person)
        ) WITHOUT ROWID;
        CREATE INDEX delivery_state ON delivery(state);
        CREATE TABLE message(
          number INTEGER PRIMARY KEY,
          person TEXT NOT NULL,
          at INTEGER NOT NULL,
          title TEXT NOT NULL,
          body TEXT NOT NULL,
          woke INTEGER NOT NULL
        );
        CREATE INDEX message_person ON message(person, at);
        CREATE TABLE attempt(
          person TEXT PRIMARY KEY,
          tries INTEGER NOT NULL,
          next_at INTEGER NOT NULL,
          why TEXT NOT NULL
        ) WITHOUT ROWID;
        """,
    ),
)

WAITING, SENT, OVER = "waiting", "sent", "told as over"
KEPT_MS = 90 * 86_400_000


@dataclass(frozen=True)
class Attempt:
    """How sending to a person goes: tries in vain since the last that was taken, when the next is due, why not."""

    person: str
    tries: int = 0
    next_at: int = 0
    why: str = ""


@dataclass(frozen=True)
class Told:
    """One line of the history: a message that was taken."""

    person: str
    at: int
    title: str
    body: str
    woke: bool


class NoticeStore:
    """The one writer of notices.db."""

    def __init__(self, path: Path | None) -> None:
        self._file: WriterFile = open_writer(path, NOTICES)

    def close(self) -> None:
        self._file.close()

    @property
    def _connection(self) -> apsw.Connection:
        return self._file.connection

    def notices(self) -> list[Notice]:
        """All that are kept, the oldest first."""
        return _notices(lambda sql: list(self._connection.execute(sql)))

    def waiting(self) -> set[tuple[str, str]]:
        """(notice, person) that nobody was told yet."""
        rows = self._connection.execute("SELECT notice, person FROM delivery WHERE state = ?", (WAITING,))
        return {(str(notice), str(person)) for notice, person in rows}

    def attempts(self) -> dict[str, Attempt]:
        rows = self._connection.execute("SELECT person, tries, next_at, why FROM attempt")
        return {str(row[0]): Attempt(*row) for row in rows}

    def decided(self, notices: Iterable[Notice], people: Sequence[str], at: int) -> None:
        """Takes notices down and whom each is for, in one commit. One that is there already is brought up to date."""
        listed = list(notices)
        if not listed:
            return
        with transaction(self._connection):
            for notice in listed:
                self._connection.execute(
                    "INSERT OR REPLACE INTO notice(key, cause, opened_at, ready_at, waits, person)"
                    " VALUES (?, ?, ?, ?, ?, ?)",
                    (
                        notice.key,
                        notice.cause,
                        notice.opened_at,
                        notice.ready_at,
                        notice.waits,
                        notice.person,
                    ),
                )
                for place, alarm in enumerate(notice.alarms):
                    self._connection.execute(
                        "INSERT OR REPLACE INTO alarm_in(notice, place, alarm) VALUES (?, ?, ?)",
                        (notice.key, place, alarm),
                    )
                for person in people if not notice.person else [notice.person]:
                    self._connection.execute(
                        "INSERT OR IGNORE INTO delivery(notice, person, state, at) VALUES (?, ?, ?, ?)",
                        (notice.key, person, WAITING, at),
                    )

    def trying(self, attempt: Attempt) -> None:
        """Taken down before each try: one that kills us must not be tried again at once, for ever."""
        with transaction(self._connection):
            self._save_attempt(attempt)

    def told(
        self, person: str, message: Message, so: Iterable[str], over: Iterable[str], at: int, woke: bool
    ) -> None:
        """A message was taken: by notice keys what it told, and what it told as over."""
        with transaction(self._connection):
            self._connection.execute(
                "INSERT INTO message(person, at, title, body, woke) VALUES (?, ?, ?, ?, ?)",
                (person, at, message.title, message.body, woke),
            )
            number = self._connection.last_insert_rowid()
            for state, keys in ((SENT, so), (OVER, over)):
                for key in keys:
                    self._end(key, person, state, at, number)
            self._save_attempt(Attempt(person))

    def dropped(self, key: str, person: str, why: str, at: int) -> None:
        """It is told no more, and why."""
        with transaction(self._connection):
            self._end(key, person, f"dropped: {why}", at, None)

    def woken(self, person: str, since: int) -> int:
        """How many messages came in the person's quiet hours since then."""
        sql = "SELECT count(*) FROM message WHERE person = ? AND woke AND at >= ?"
        return int(self._connection.execute(sql, (person, since)).get)

    def last_told(self, person: str) -> int:
        """When the last message to a person was taken; 0 if none was."""
        found = self._connection.execute("SELECT max(at) FROM message WHERE person = ?", (person,)).get
        return int(found or 0)

    def forget(self, before: int) -> None:
        """Deletes what was opened, or told, before that time and waits for nothing."""
        with transaction(self._connection):
            old = (
                "(SELECT key FROM notice WHERE opened_at < ? AND key NOT IN"
                " (SELECT notice FROM delivery WHERE state = 'waiting'))"
            )
            for table, key in (("alarm_in", "notice"), ("delivery", "notice"), ("notice", "key")):
                self._connection.execute(f"DELETE FROM {table} WHERE {key} IN {old}", (before,))
            self._connection.execute("DELETE FROM message WHERE at < ?", (before,))

    def _end(self, key: str, person: str, state: str, at: int, number: int | None) -> None:
        self._connection.execute(
            "UPDATE delivery SET state = ?, at = ?, message = ? WHERE notice = ? AND person = ?",
            (state, at, number, key, person),
        )

    def _save_attempt(self, attempt: Attempt) -> None:
        self._connection.execute(
            "INSERT OR REPLACE INTO attempt(person, tries, next_at, why) VALUES (?, ?, ?, ?)",
            (attempt.person, attempt.tries, attempt.next_at, attempt.why),
        )


class NoticeReader:
    """Reads notices.db beside its writer. Every method raises NotYet while notify has never run."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def _rows(self, sql: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        connection = open_reader(self._path, NOTICES)
        try:
            return list(connection.execute(sql, values))
        finally:
            connection.close()

    def told(self, limit: int = 50) -> list[Told]:
        """Messages that were taken, the newest first."""
        sql = "SELECT person, at, title, body, woke FROM message ORDER BY number DESC LIMIT ?"
        return [
            Told(person, at, title, body, bool(woke))
            for person, at, title, body, woke in self._rows(sql, (limit,))
        ]

    def troubles(self) -> list[Attempt]:
        """Persons whom the last try did not reach."""
        sql = "SELECT person, tries, next_at, why FROM attempt WHERE tries > 0 AND why <> '' ORDER BY person"
        return [Attempt(*row) for row in self._rows(sql)]

    def waiting(self) -> int:
        """How many deliveries wait."""
        return int(self._rows("SELECT count(*) FROM delivery WHERE state = ?", (WAITING,))[0][0])

    def states(self) -> dict[str, dict[str, str]]:
        """By notice and person what became of it."""
        found: dict[str, dict[str, str]] = {}
        for notice, person, state in self._rows("SELECT notice, person, state FROM delivery"):
            found.setdefault(str(notice), {})[str(person)] = str(state)
        return found

    def of_alarm(self, alarm: str) -> list[tuple[str, str, int]]:
        """(person, state, at) of every delivery of an alarm."""
        sql = (
            "SELECT person, state, at FROM delivery JOIN alarm_in USING (notice) WHERE alarm = ?"
            " ORDER BY at, person"
        )
        return [(str(person), str(state), int(at)) for person, state, at in self._rows(sql, (alarm,))]


def _notices(rows: Callable[[str], list[tuple[Any, ...]]]) -> list[Notice]:
    alarms: dict[str, list[str]] = {}
    for notice, alarm in rows("SELECT notice, alarm FROM alarm_in ORDER BY notice, place"):
        alarms.setdefault(str(notice), []).append(str(alarm))
    found = rows("SELECT key, cause, opened_at, ready_at, waits, person FROM notice ORDER BY opened_at, key")
    return [
        Notice(key, cause, opened, ready, tuple(alarms.get(key, ())), bool(waits), person)
        for key, cause, opened, ready, waits, person in found
    ]
