"""Accounts: a name, a role, a password, perhaps a PIN. There is always somebody left who may manage."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

import apsw

from dashboard.door import secret
from dashboard.door.store import DoorFile
from dashboard.door.trail import Trail, plain
from dashboard.door.visitor import DoorError, Role, Visitor

LONGEST_NAME = 40
MOST_ACCOUNTS = 200


@dataclass(frozen=True)
class Account:
    """made: UTC ms."""

    id: int
    name: str
    role: Role
    has_pin: bool
    made: int


class Accounts:
    """Makes, changes and removes them; every change is a line of the trail, in the same commit."""

    def __init__(self, file: DoorFile, trail: Trail) -> None:
        self._file = file
        self._trail = trail

    def all(self) -> list[Account]:
        """By name."""
        rows = self._file.rows("SELECT id, name, role, pin IS NOT NULL, made FROM account ORDER BY key")
        return [Account(id_, name, Role.of(role), bool(pin), made) for id_, name, role, pin, made in rows]

    def any(self) -> bool:
        return bool(self._file.rows("SELECT 1 FROM account LIMIT 1"))

    def named(self, name: str) -> Account:
        """Raises DoorError if there is none."""
        found = next((one for one in self.all() if name_key(one.name) == name_key(name)), None)
        if found is None:
            names = ", ".join(one.name for one in self.all()) or "nobody yet"
            raise DoorError(f"nobody called {plain(name)[:40]!r} has an account; there are: {names}")
        return found

    def add(self, name: str, role: Role, password: str, by: Visitor, address: str) -> Account:
        """A new one. Raises DoorError for a name that is taken or no name, and for a weak password."""
        name = good_name(name)
        if len(self.all()) >= MOST_ACCOUNTS:
            raise DoorError(f"there are {MOST_ACCOUNTS} accounts: remove one first")
        if not self.any() and role is not Role.MANAGE:
            raise DoorError("the first account has the role manage: somebody has to make the others")
        others = self._file.rows(
            "SELECT name FROM token UNION SELECT label FROM session WHERE account IS NULL"
        )
        if any(name_key(str(other)) == name_key(name) for (other,) in others):
            raise DoorError(
                f"a token or shop phone was called {name!r}: what it logged would look like theirs; take another name"
            )
        kept = secret.hashed(secret.good_password(password, [name]))
        try:
            with self._file.writing() as connection:
                connection.execute(
                    "INSERT INTO account(name, key, role, password, made) VALUES (?, ?, ?, ?, ?)",
                    (name, name_key(name), role.word, kept, self._file.now()),
                )
                self._trail.add(by, address, "account made", f"{name}, {role.word}", beside=connection)
        except apsw.ConstraintError as error:
            raise DoorError(f"somebody called {name!r} has an account already: take another name") from error
        return self.named(name)

    def set_role(self, account: Account, role: Role, by: Visitor, address: str) -> None:
        """Raises DoorError if nobody could manage afterwards."""
        with self._file.writing() as connection:
            if role is not Role.MANAGE:
                self._keep_a_manager(account, connection)
            connection.execute("UPDATE account SET role = ? WHERE id = ?", (role.word, account.id))
            self._trail.add(by, address, "role changed", f"{account.name}, {role.word}", beside=connection)

    def set_password(self, account: Account, password: str, keep: str, by: Visitor, address: str) -> None:
        """Everybody who is in under this account has to sign in anew, but the session `keep`."""
        kept = secret.hashed(secret.good_password(password, [account.name]))
        with self._file.writing() as connection:
            connection.execute("UPDATE account SET password = ? WHERE id = ?", (kept, account.id))
            connection.execute("DELETE FROM session WHERE account = ? AND id <> ?", (account.id, keep))
            self._trail.add(by, address, "password changed", account.name, beside=connection)

    def set_pin(self, account: Account, pin: str | None, by: Visitor, address: str) -> None:
        """None takes it away."""
        kept = secret.hashed(secret.good_pin(pin)) if pin is not None else None
        with self._file.writing() as connection:
            connection.execute("UPDATE account SET pin = ? WHERE id = ?", (kept, account.id))
            what = "PIN changed" if kept else "PIN taken away"
            self._trail.add(by, address, what, account.name, beside=connection)

    def remove(self, account: Account, by: Visitor, address: str) -> None:
        """Its sessions end. What was logged under its name stays. Raises DoorError for the last who may manage."""
        with self._file.writing() as connection:
            self._keep_a_manager(account, connection)
            connection.execute("DELETE FROM session WHERE account = ?", (account.id,))
            connection.execute("DELETE FROM account WHERE id = ?", (account.id,))
            self._trail.add(by, address, "account removed", account.name, beside=connection)

    def by_password(self, name: str, password: str) -> Account | None:
        """Whose name and password these are; takes as long for a name that nobody has."""
        return self._matching(name, password, ("password",))

    def by_signature(self, name: str, text: str) -> Account | None:
        """Whose name and PIN, or password, these are."""
        pin = text.isascii() and text.isdigit() and len(text) <= secret.PIN_DIGITS[1]
        return self._matching(name, text, ("pin",) if pin else ("password",))

    def _matching(self, name: str, text: str, columns: tuple[str, ...]) -> Account | None:
        sql = f"SELECT id, {', '.join(columns)} FROM account WHERE key = ?"
        rows = self._file.rows(sql, name_key(name))
        kept = rows[0][1] if rows else None
        if not secret.matches(kept, text[: secret.LONGEST]) or len(text) > secret.LONGEST:
            return None
        return next((one for one in self.all() if one.id == rows[0][0]), None)

    def _keep_a_manager(self, account: Account, connection: apsw.Connection) -> None:
        others = "SELECT 1 FROM account WHERE role = 'manage' AND id <> ?"
        if not list(connection.execute(others, (account.id,))):
            raise DoorError("somebody has to manage: give another account that role first")


def good_name(name: str) -> str:
    """One line of visible characters. Raises DoorError otherwise."""
    name = " ".join(unicodedata.normalize("NFC", name).split())
    if not 1 <= len(name) <= LONGEST_NAME or plain(name) != name:
        raise DoorError(f"a name has 1 to {LONGEST_NAME} visible characters, on one line")
    return name


def no_persons(name: str, file: DoorFile) -> str:
    """A name for what logs beside people. Raises DoorError if it is no name, or somebody's."""
    name = good_name(name)
    if file.rows("SELECT 1 FROM account WHERE key = ?", name_key(name)):
        raise DoorError(f"{name!r} is a person here: what it logs would look like theirs; call it otherwise")
    return name


def name_key(name: str) -> str:
    """Names that look or sound the same are one."""
    return unicodedata.normalize("NFKC", name).casefold().strip()
