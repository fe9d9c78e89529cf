"""`coldshed account`: who may come in, tokens for devices, and the trail of who did what."""

from __future__ import annotations

import argparse
import getpass
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from collector import settings as settings_file
from collector.settings import Settings
from collector.store.schema import Locked, NotYet
from dashboard.cli.doors import ask_serve
from dashboard.cli.errors import CommandError
from dashboard.cli.house import house_clock
from dashboard.cli.times import iso
from dashboard.door.door import Door
from dashboard.door.visitor import DoorError, Means, Role, Visitor
from dashboard.pages.door import csv_of

BY = Visitor(Means.KEY, Role.MANAGE)
HERE = ""
"""A command's line in the trail has no address."""


def account(arguments: argparse.Namespace) -> int:
    """Returns 0, or raises CommandError with what is wrong."""
    settings = settings_file.load(arguments.settings)
    try:
        return ACTS[arguments.what](settings, arguments)
    except DoorError as error:
        raise CommandError(str(error)) from error


def _list(settings: Settings, arguments: argparse.Namespace) -> int:
    with _reading(settings) as door:
        for one in door.accounts.all():
            print(f"{one.role.word:<7} {one.name}{', has a PIN' if one.has_pin else ''}")
        for session in door.sessions.all():
            print(f"in      {session.name or 'shop phone'}, {session.label}, last seen {iso(session.used)}")
        for token in door.tokens.all():
            state = f"revoked {iso(token.revoked)}" if token.revoked else "taken"
            used = iso(token.used) if token.used else "never"
            print(f"token   {token.name}: {' '.join(token.scopes)}, {state}, last used {used}")
        if not door.accounts.any():
            print("nobody has an account: whoever sits at this computer may do everything")
    return 0


def _add(settings: Settings, arguments: argparse.Namespace) -> int:
    name, role = _name(arguments), arguments.role or "work"
    password = _secret("password")

    def here(door: Door) -> None:
        door.accounts.add(name, Role.of(role), password, BY, HERE)

    _do(settings, here, "/door/accounts", {"name": name, "role": role, "password": password})
    print(f"{name} has an account and may {role}")
    return 0


def _role(settings: Settings, arguments: argparse.Namespace) -> int:
    name, role = _name(arguments), arguments.role
    if role is None:
        raise CommandError("say which role: --role look, work or manage")

    def here(door: Door) -> None:
        door.accounts.set_role(door.accounts.named(name), Role.of(role), BY, HERE)

    _do(settings, here, "/door/accounts/role", {"name": name, "role": role})
    print(f"{name} may {role}")
    return 0


def _password(settings: Settings, arguments: argparse.Namespace) -> int:
    name, password = _name(arguments), _secret("new password")

    def here(door: Door) -> None:
        door.accounts.set_password(door.accounts.named(name), password, "", BY, HERE)

    _do(settings, here, "/door/accounts/password", {"name": name, "password": password})
    print(f"{name} has a new password and has to sign in anew everywhere")
    return 0


def _pin(settings: Settings, arguments: argparse.Namespace) -> int:
    name, pin = _name(arguments), _secret("PIN")

    def here(door: Door) -> None:
        door.accounts.set_pin(door.accounts.named(name), pin or None, BY, HERE)

    _do(settings, here, "/door/accounts/pin", {"name": name, "pin": pin})
    print(f"{name} {'has a new PIN' if pin else 'has no PIN any more'}")
    return 0


def _remove(settings: Settings, arguments: argparse.Namespace) -> int:
    name = _name(arguments)

    def here(door: Door) -> None:
        door.accounts.remove(door.accounts.named(name), BY, HERE)

    _do(settings, here, "/door/accounts/remove", {"name": name})
    print(f"{name} has no account any more; what was logged under that name stays")
    return 0


def _token(settings: Settings, arguments: argparse.Namespace) -> int:
    name, scopes = _name(arguments), arguments.scope or ["read"]
    made: list[str] = []

    def here(door: Door) -> None:
        made.append(door.tokens.make(name, scopes, BY, HERE))

    told = _do(settings, here, "/door/tokens", {"name": name, "scopes": scopes})
    print("copy it now, it is not shown again:", file=sys.stderr)
    print(made[0] if made else told["token"])
    return 0


def _revoke(settings: Settings, arguments: argparse.Namespace) -> int:
    name = _name(arguments)
    with _reading(settings) as door:
        found = [one.id for one in door.tokens.all() if one.name == name and one.revoked is None]
    if not found:
        raise CommandError(f"no token called {name!r} is taken now; 'coldshed account list' shows all")

    def here(door: Door) -> None:
        door.tokens.revoke(found[0], BY, HERE)

    _do(settings, here, "/door/tokens/revoke", {"id": found[0]})
    print(f"the token {name} is not taken any more")
    return 0


def _trail(settings: Settings, arguments: argparse.Namespace) -> int:
    with _reading(settings) as door:
        lines = door.trail.lines()[::-1]
    if arguments.csv is not None:
        _write(arguments.csv, csv_of(lines))
        print(f"{len(lines)} lines", file=sys.stderr)
        return 0
    for line in lines:
        parts = (line.who or line.means, line.address, line.what, line.about)
        print(f"{iso(line.at)}  {' · '.join(part for part in parts if part)}")
    return 0


ACTS: dict[str, Callable[[Settings, argparse.Namespace], int]] = {
    "list": _list, "add": _add, "role": _role, "password": _password, "pin": _pin, "remove": _remove,
    "token": _token, "revoke": _revoke, "trail": _trail,
}  # fmt: skip


def _do(settings: Settings, here: Callable[[Door], None], path: str, body: dict[str, Any]) -> dict[str, Any]:
    """In the file itself, or where serve has it open, by serve."""
    try:
        door = Door(settings.data_folder, house_clock(settings))
        door.file.open()
    except Locked:
        return ask_serve(settings, path, body)
    try:
        here(door)
    finally:
        door.file.close()
    return {}


@contextmanager
def _reading(settings: Settings) -> Iterator[Door]:
    door = Door(settings.data_folder, house_clock(settings))
    try:
        door.file.open_to_read()
    except NotYet as error:
        raise CommandError("nobody has an account yet: 'coldshed account add NAME --role manage'") from error
    try:
        yield door
    finally:
        door.file.close()


def _name(arguments: argparse.Namespace) -> str:
    if not arguments.name:
        raise CommandError(f"say whose: coldshed account {arguments.what} NAME")
    return str(arguments.name)


def _secret(what: str) -> str:
    """Typed unseen, twice; or one line of standard input. Never on the command line, where others can read it."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first = getpass.getpass(f"{what}: ")
    if getpass.getpass(f"{what} once more: ") != first:
        raise CommandError("the two differ: nothing was changed")
    return first


def _write(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except OSError as error:
        raise CommandError(f"{path}: cannot be written ({error.strerror}): name a new file") from error
