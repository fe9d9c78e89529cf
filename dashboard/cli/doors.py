"""serve's door as the settings want it, and how a command comes through it: with the key that serve leaves for it."""

from __future__ import annotations

import ipaddress
import json
import socket
import urllib.error
import urllib.request
from typing import Any

from collector.clock import Clock, SystemClock
from collector.settings import Settings
from collector.store.schema import NotYet
from dashboard.cli.errors import CommandError
from dashboard.door.door import Door, read_key
from dashboard.door.store import DoorFile
from dashboard.label import leads_nowhere
from dashboard.one_time_code import OneTimeCode


def why_reached(settings: Settings) -> str:
    """Why people on other machines can ask; "" if only this computer can."""
    told = settings.serve
    if not is_loopback(told.host):
        return f'[serve] host = "{told.host}" can be reached from the network'
    if told.public_url is not None and not leads_nowhere(told.public_url):
        return f'[serve] public_url = "{told.public_url}" is where phones reach it'
    return ""


def has_accounts(settings: Settings) -> bool:
    """Whether anybody has one; False while nobody ever made the file. Raises StoreError if it cannot be read."""
    file = DoorFile(settings.data_folder / "accounts.db", SystemClock())
    try:
        file.open_to_read()
    except NotYet:
        return False
    try:
        return bool(file.rows("SELECT 1 FROM account LIMIT 1"))
    finally:
        file.close()


def is_loopback(host: str) -> bool:
    return host == "localhost" or ipaddress.ip_address(host).is_loopback


def open_door(settings: Settings, clock: Clock) -> Door:
    """For serve. Raises CommandError where others can reach it and nobody has an account: nothing is served then."""
    why = why_reached(settings)
    door = Door(settings.data_folder, clock, lan=bool(why), public_url=settings.serve.public_url).open()
    if why and not door.accounts.any():
        door.close()
        raise CommandError(
            f"{why}, and nobody has an account: make one with 'coldshed account add NAME --role manage', "
            "then start serve again; or take that line out"
        )
    return door


def tell_code(door: Door, settings: Settings) -> None:
    """On the console, not in the log: whoever sits there may make the first account in a browser."""
    where = f"{base_of(settings)}/door"

    def show(code: str) -> None:
        if not door.accounts.any():
            print(f"set-up code {code}, good once: makes the first account on {where}", flush=True)

    door.code = OneTimeCode(show)


def names(settings: Settings) -> tuple[str, ...]:
    """What requests may call this computer by, beside its public_url."""
    from dashboard.app import LOOPBACK

    if is_loopback(settings.serve.host):
        return (*LOOPBACK, settings.serve.host)
    own = socket.gethostname().lower()
    return (*LOOPBACK, own, f"{own.partition('.')[0]}.local")


def base_of(settings: Settings) -> str:
    """Where this computer itself reaches the pages: "http://127.0.0.1:8137"."""
    return f"http://{authority(settings)}"


def authority(settings: Settings) -> str:
    host = reached_at(settings.serve.host)
    return f"[{host}]:{settings.serve.port}" if ":" in host else f"{host}:{settings.serve.port}"


def reached_at(host: str) -> str:
    """Where this computer itself reaches what is bound to `host`."""
    return {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)


def headers_for(settings: Settings) -> dict[str, str]:
    """What lets a command of the user who runs serve in; nothing where there is no key to read."""
    key = read_key(settings.data_folder)
    return {"Authorization": f"Bearer {key}"} if key else {}


def ask_serve(settings: Settings, path: str, body: dict[str, Any]) -> dict[str, Any]:
    """Posts to serve on this computer. Raises CommandError with its words if it refuses or does not answer."""
    told = {"Content-Type": "application/json", "Origin": base_of(settings), **headers_for(settings)}
    request = urllib.request.Request(base_of(settings) + path, json.dumps(body).encode(), told, method="POST")
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(request, timeout=10) as answer:
            found: dict[str, Any] = json.load(answer)
            return found
    except urllib.error.HTTPError as error:
        raise CommandError(f"serve refuses it: {in_words(error.read())}") from error
    except OSError as error:
        raise CommandError(f"serve runs, but does not answer on {base_of(settings)}: {error}") from error


def in_words(answer: bytes) -> str:
    """What serve said against it; its words about what to do speak of buttons, which a command has none of."""
    try:
        return str(json.loads(answer)["error"]["what"])
    except (ValueError, KeyError, TypeError):
        return answer.decode(errors="replace")
