"""Tokens for programs and devices: a name and what it may do; shown once, kept as SHA-256, taken back at any time.

A token's text begins with PREFIX, so that a scanner of files finds one that was left lying about.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dashboard.door import secret
from dashboard.door.accounts import no_persons
from dashboard.door.store import DoorFile
from dashboard.door.trail import Trail
from dashboard.door.visitor import STRANGER, DoorError, Means, Role, Visitor

PREFIX = "coldshed-"
SCOPES = ("read", "taps")
"""read: answers as JSON and CSV. taps: log what was done, but for what is signed."""
MOST_TOKENS = 200
SEEN_MS = 60_000


@dataclass(frozen=True)
class Token:
    """used: last, None if never; revoked: None while it is taken. UTC ms."""

    id: str
    name: str
    scopes: tuple[str, ...]
    made: int
    made_by: str
    used: int | None
    revoked: int | None


class Tokens:
    """Makes, finds and revokes them."""

    def __init__(self, file: DoorFile, trail: Trail) -> None:
        self._file = file
        self._trail = trail

    def make(self, name: str, scopes: Iterable[str], by: Visitor, address: str) -> str:
        """The token's text, which nobody can be shown again. Raises DoorError for a name or scope that cannot be."""
        name, wanted = no_persons(name, self._file), [scope for scope in SCOPES if scope in set(scopes)]
        unknown = sorted(set(scopes) - set(SCOPES))
        if unknown or not wanted:
            raise DoorError(f"a token needs one of {', '.join(SCOPES)}, or several; nothing else")
        if any(one.name == name and one.revoked is None for one in self.all()):
            raise DoorError(f"a token called {name!r} is there already: one for each device")
        if len(self.all()) >= MOST_TOKENS:
            raise DoorError(f"there are {MOST_TOKENS} tokens: no more are made")
        made = PREFIX + secret.new_secret()
        with self._file.writing() as connection:
            connection.execute(
                "INSERT INTO token(hash, id, name, scopes, made, made_by) VALUES (?, ?, ?, ?, ?, ?)",
                (secret.digest(made), secret.new_id(), name, " ".join(wanted), self._file.now(), by.name),
            )
            self._trail.add(by, address, "token made", f"{name}, {' '.join(wanted)}", beside=connection)
        return made

    def visitor(self, text: str) -> Visitor:
        """Who comes with it; a stranger if it is none of ours or was revoked. Takes down that it was used."""
        rows = self._file.rows(
            "SELECT hash, id, name, scopes, used FROM token WHERE hash = ? AND revoked IS NULL",
            secret.digest(text),
        )
        if not rows:
            return STRANGER
        kept, ident, name, scopes, used = rows[0]
        now = self._file.now()
        if used is None or not 0 <= now - used <= SEEN_MS:
            self._file.note("UPDATE token SET used = ? WHERE hash = ?", now, kept)
        return Visitor(Means.TOKEN, Role.ANYONE, name, frozenset(scopes.split()), session=ident)

    def counts(self, ident: str) -> bool:
        """Whether there is one of that id that was not revoked."""
        return bool(self._file.rows("SELECT 1 FROM token WHERE id = ? AND revoked IS NULL", ident))

    def all(self) -> list[Token]:
        """Newest first, revoked ones too."""
        rows = self._file.rows(
            "SELECT id, name, scopes, made, made_by, used, revoked FROM token ORDER BY made DESC, id"
        )
        return [Token(row[0], row[1], tuple(row[2].split()), *row[3:]) for row in rows]

    def revoke(self, ident: str, by: Visitor, address: str) -> None:
        """From now on it is not taken. Raises DoorError if there is none of that id."""
        found = next((one for one in self.all() if one.id == ident and one.revoked is None), None)
        if found is None:
            raise DoorError("this token is revoked already, or was never made")
        with self._file.writing() as connection:
            connection.execute("UPDATE token SET revoked = ? WHERE id = ?", (self._file.now(), ident))
            self._trail.add(by, address, "token revoked", found.name, beside=connection)
