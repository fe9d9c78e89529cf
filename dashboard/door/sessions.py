"""Who is in: a session for each browser, known by a cookie of 256 random bits of which only the SHA-256 is kept.

A person's session ends half a day after it was used last and a week after it began; a shop phone's, which may log but
not manage and asks for a PIN where something is signed, after two months and a year.
"""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.door import secret
from dashboard.door.store import DoorFile
from dashboard.door.trail import Trail, plain
from dashboard.door.visitor import STRANGER, DoorError, Means, Role, Visitor

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
PERSON_MS = (12 * HOUR_MS, 7 * DAY_MS)
PHONE_MS = (60 * DAY_MS, 365 * DAY_MS)
"""(after its last use, after its beginning)"""
SEEN_MS = 300_000
"""Its last use is written down this often: not a commit for each page."""
AHEAD_MS = DAY_MS
"""A session that began so far in the future was made under a wrong clock and is over."""
MOST_SESSIONS = 500


@dataclass(frozen=True)
class Session:
    """name: of the account, "" for a shop phone; label: what it came with, or the phone's name. UTC ms."""

    id: str
    name: str
    label: str
    made: int
    used: int


class Sessions:
    """Begins, finds and ends them."""

    def __init__(self, file: DoorFile, trail: Trail) -> None:
        self._file = file
        self._trail = trail

    def begin(self, account: int | None, label: str) -> str:
        """The new session's secret, for the cookie. The oldest goes where there are too many."""
        made, now = secret.new_secret(), self._file.now()
        with self._file.writing() as connection:
            connection.execute(
                "INSERT INTO session(hash, id, account, label, made, used) VALUES (?, ?, ?, ?, ?, ?)",
                (secret.digest(made), secret.new_id(), account, plain(label)[:80], now, now),
            )
            connection.execute(
                "DELETE FROM session WHERE hash IN (SELECT hash FROM session ORDER BY used DESC LIMIT -1 OFFSET ?)",
                (MOST_SESSIONS,),
            )
        return made

    def visitor(self, cookie: str) -> Visitor:
        """Who comes with it; a stranger if it is none of ours, or over. Takes down that it was used."""
        rows = self._file.rows(
            "SELECT session.hash, session.id, session.account, label, session.made, used, name, role FROM session"
            " LEFT JOIN account ON account.id = session.account WHERE hash = ?",
            secret.digest(cookie),
        )
        if not rows:
            return STRANGER
        kept, ident, account, label, made, used, name, role = rows[0]
        now = self._file.now()
        if _over(account, made, used, now):
            self._file.note("DELETE FROM session WHERE hash = ?", kept)
            return STRANGER
        if not 0 <= now - used <= SEEN_MS:
            self._file.note("UPDATE session SET used = ? WHERE hash = ?", now, kept)
        if account is None:
            names = tuple(str(row[0]) for row in self._file.rows("SELECT name FROM account ORDER BY key"))
            return Visitor(Means.PHONE, Role.WORK, str(label), names=names, session=ident)
        return Visitor(Means.PERSON, Role.of(role), str(name), session=ident, account=account)

    def is_on(self, ident: str) -> bool:
        """Whether there is one of that id that is not over; to ask is no use of it."""
        rows = self._file.rows("SELECT account, made, used FROM session WHERE id = ?", ident)
        now = self._file.now()
        return any(not _over(account, made, used, now) for account, made, used in rows)

    def all(self) -> list[Session]:
        """Those that are not over, used last first."""
        rows = self._file.rows(
            "SELECT session.id, coalesce(name, ''), label, session.made, used, session.account FROM session"
            " LEFT JOIN account ON account.id = session.account ORDER BY used DESC"
        )
        now = self._file.now()
        return [Session(*row[:5]) for row in rows if not _over(row[5], row[3], row[4], now)]

    def end(self, ident: str, by: Visitor, address: str) -> None:
        """Raises DoorError if there is none of that id."""
        found = next((one for one in self.all() if one.id == ident), None)
        if found is None:
            raise DoorError("this session is over already")
        with self._file.writing() as connection:
            connection.execute("DELETE FROM session WHERE id = ?", (ident,))
            what = "signed out" if ident == by.session else "session ended"
            self._trail.add(by, address, what, f"{found.name or found.label}", beside=connection)


def _over(account: int | None, made: int, used: int, now: int) -> bool:
    idle, whole = PHONE_MS if account is None else PERSON_MS
    return now - used > idle or now - made > whole or made - now > AHEAD_MS
