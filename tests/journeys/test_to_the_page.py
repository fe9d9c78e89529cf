"""From bytes to "what do I do now": serial line, SenML, plain JSON and a logger's file, to the page in Chromium.

The shop runs once for all of them, on the real clock; coats are dated back where a state takes hours.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from collector.reading import Quantity
from tests.journeys.senders import (
    Wire,
    brokers,
    logger,
    night_csv,
    plain,
    seconds,
    send,
    senml,
    shop_broker,
    usb,
)
from tests.journeys.shop import HOUR_MS, Shop, now_ms, opened, wait_until
from tests.journeys.window import Chromium, Window
from tests.services import Server, running

OSLO = ZoneInfo("Europe/Oslo")
STEP_MS = 600_000


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with running(shop_broker(tmp_path_factory.mktemp("broker"))) as server:
        yield server


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, broker: Server) -> Iterator[Shop]:
    """Running; before its first start a panel was registered and half a night imported by command."""
    folder = tmp_path_factory.mktemp("shop")
    with Wire() as wire, opened(folder, usb(wire.port) + brokers(broker.port) + logger()) as shop:
        shop.do("panel", "add", "Lid 4", "--surface", "L1", "--air", "L2", "--zone", "shed")
        take_in_half_a_night(shop)
        shop.start("run")
        shop.ready()
        yield shop


def take_in_half_a_night(shop: Shop) -> None:
    last = now_ms() - 12 * HOUR_MS
    text, rows = night_csv(last - 32 * HOUR_MS, last, STEP_MS)
    (shop.folder / "first.csv").write_text(text)
    assert f"{3 * rows} readings taken in, 0 refused" in shop.do(
        "import", str(shop.folder / "first.csv"), "--source", "logger"
    )


@pytest.fixture
def page(chromium: Chromium, shop: Shop) -> Iterator[Window]:
    window = chromium.open(shop.url)
    yield window
    window.close()
    assert window.complaints == []


def clock_ms(headline: str, after_ms: int) -> int:
    """The first moment after `after_ms` at which the shop's clock shows the headline's time, UTC ms."""
    found = re.search(r"\b(\d\d):(\d\d)\b", headline)
    assert found, headline
    after = datetime.fromtimestamp(after_ms / 1000, OSLO)
    at = after.replace(hour=int(found[1]), minute=int(found[2]), second=0, microsecond=0)
    return round((at if at > after else at + timedelta(days=1)).timestamp() * 1000)


def test_lines_on_a_serial_port_become_a_headline(shop: Shop, page: Window) -> None:
    """The card's sheet says 1.6 h at 20 degC: what must be done by then is said for no later, nor for half of it."""
    deck = shop.register("Skiff deck 2", "S1", "A1")
    page.says(deck, "Check the hour, then mix")
    mixed = now_ms()
    shop.coat(deck, mixed)
    said = page.says(deck, "Wet out before")
    assert said.endswith("then leave it alone")
    assert mixed + 0.8 * HOUR_MS < clock_ms(said, mixed) <= mixed + 1.6 * HOUR_MS
    assert {round(value) for _, value in shop.stored("S1")} == {20}


def test_a_coat_logged_by_command_while_serve_runs_becomes_a_headline(shop: Shop, page: Window) -> None:
    """The card's sheet says 25 min for 100 g at 20 degC; a large cup from warm bottles must be out long before."""
    assert "logged by serve" in shop.do("panel", "add", "Rib 1", "--surface", "S1", "--air", "A1")
    before = now_ms()
    shop.do("panel", "coat", "Rib 1", "--card", "invented-25min")
    after = now_ms()
    said = page.says("rib-1", "Pour it out before")
    assert before < clock_ms(said, before) <= after + 20 * 60_000


def test_senml_and_plain_json_through_a_broker_become_a_headline(
    shop: Shop, page: Window, broker: Server
) -> None:
    """Readings that bring their own time build up a cold night; the card's sheet says not below 10 degC."""
    now = now_ms()
    mixed = now - 6 * HOUR_MS
    times = seconds(mixed - HOUR_MS, now, 300)
    send(
        broker,
        senml(times, first=4.0),
        *(plain(t, 39.2 + i % 3 / 100, 50 + i % 3 / 10) for i, t in enumerate(times)),
    )
    hull = shop.register("Hull 3", "S2", "A2")
    shop.coat(hull, mixed)
    said = page.says(hull, "Warm it above")
    found = re.fullmatch(r"Warm it above (\d+) °C: curing has stopped", said)
    assert found
    assert int(found[1]) >= 10
    assert re.search(r"\b4\.\d °C.*\b10(\.0)? °C", page.why(hull)), "how cold it is, and the card's minimum"
    assert len(shop.stored("S2")) == len(shop.stored("A2", Quantity.RELATIVE_HUMIDITY)) == len(times)
    assert shop.stored("A2")[0][1] == pytest.approx(4.0, abs=1e-9), "39.2 degF is 4 degC exactly"


def test_a_loggers_files_become_a_headline_by_command_and_by_folder(shop: Shop, page: Window) -> None:
    """Each row once, whether imported before collect ran, handed to it, or dropped into its folder twice."""
    first = shop.stored("L1")
    last = first[-1][0]
    shop.coat("lid-4", last - 30 * HOUR_MS)
    page.says("lid-4", "Not known: L1 silent since")
    text, middle_rows = night_csv(last + STEP_MS, last + 6 * HOUR_MS, STEP_MS)
    (shop.folder / "second.csv").write_text(text)
    handed = shop.do("import", str(shop.folder / "second.csv"), "--source", "logger")
    assert "collect is running: handed to it as" in handed
    wait_until((shop.folder / "inbox" / "done" / "second.csv").exists, "the handed file is done")
    page.says("lid-4", "Not known: L1 silent since")
    text, last_rows = night_csv(last + 6 * HOUR_MS, now_ms(), STEP_MS)
    inbox = shop.folder / "inbox"
    for name in ("third.csv", "third-again.csv"):
        (inbox / f"{name}.part").write_text(text)
        (inbox / f"{name}.part").rename(inbox / name)
    page.says("lid-4", "Sand when you like")
    wait_until(
        lambda: all((inbox / "done" / name).exists() for name in ("third.csv", "third-again.csv")),
        "both files are done",
    )
    # The third file begins with the second one's last row, whose value differs: the first to come stays.
    assert len(shop.stored("L1")) == len(first) + middle_rows + last_rows - 1
