"""The shops whose pages are looked at: a morning, a winter evening, one behind its door, one set up."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

import httpx
from fastapi import FastAPI

from collector.first_run.session import SetUp
from collector.steady_clock import SteadyClock, this_machine
from dashboard.first_run_app import create_set_up_app
from dashboard.one_time_code import OneTimeCode
from dashboard.pages.first_run import COOKIE
from tests.browser.fake_shop import open_shop
from tests.browser.serving import Served, free_port
from tests.dashboard.night_shop import open_night
from tests.door.house import PASSWORD, open_house
from tests.line_sender import line_sender
from tests.services import wait_until


@dataclass(frozen=True)
class Site:
    """Where it is served; `cookie`, name and value, lets a visitor in; `device` has been heard but not named."""

    app: FastAPI
    url: str
    cookie: tuple[str, str] | None = None
    device: str = ""


def morning(open_: ExitStack, folder: Path) -> Site:
    shop = open_shop(folder, port=free_port(), heard=True, told=("Kim", "Robin"))
    open_.callback(shop.close)
    return _served(open_, shop.app, shop.port)


def evening(open_: ExitStack, folder: Path) -> Site:
    shop = open_night(folder, free_port())
    open_.callback(shop.close)
    return _served(open_, shop.app, shop.port)


def door(open_: ExitStack, folder: Path) -> Site:
    """Signed in as who manages."""
    port = free_port()
    house = open_house(folder, port=port, heard=True)
    open_.callback(house.close)
    site = _served(open_, house.shop.app, port)
    said = {"name": "Kim", "password": PASSWORD}
    answer = httpx.post(f"{site.url}/door/in", json=said, headers={"Origin": site.url})
    (cookie,) = answer.raise_for_status().cookies.items()
    return replace(site, cookie=cookie)


def set_up(open_: ExitStack, folder: Path) -> Site:
    """Two probes on a real pseudo-terminal, neither named yet."""
    session, port, codes = (
        SetUp(folder / "coldshed.toml", SteadyClock(this_machine())),
        free_port(),
        list[str](),
    )
    open_.callback(session.close)
    sender = open_.enter_context(line_sender("S1 T=14.2 BAT=3.1", "A1 T=13.0 RH=81.2"))
    session.name("Invented shed", "Europe/Oslo")
    session.listen_serial(sender)
    wait_until(lambda: len(session.devices()) == 2, "two probes are heard")
    code = OneTimeCode(codes.append)
    key = code.use(codes[0])
    assert key is not None
    app = create_set_up_app(session, code, port, lambda: None)
    return _served(open_, app, port, (COOKIE, key), session.devices()[0].key)


def _served(
    open_: ExitStack, app: FastAPI, port: int, cookie: tuple[str, str] | None = None, device: str = ""
) -> Site:
    server = Served(app, port)
    open_.callback(server.stop)
    return Site(app, server.url, cookie, device)


SITES = {"morning": morning, "evening": evening, "door": door, "set-up": set_up}
