"""The stream that tells open pages of changes. Its form: WHATWG HTML, 9.2.6 (a blank line ends an event)."""

from __future__ import annotations

import socket
import urllib.request
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import anyio
import pytest

from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from dashboard.changes import READINGS_LOOKS, Changes, Look, look_of
from dashboard.logbook import Logbook
from dashboard.panel import Event
from dashboard.ports import Shop
from dashboard.watch_store import WatchReader
from tests.browser.fake_shop import MINUTE, NOW, FakeShop, answer, open_shop, waiting
from tests.browser.serving import DEADLINE_S, Served, free_port, until
from tests.dashboard.client import Client, new_id

NEVER_S = 1e6


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[FakeShop]:
    opened = open_shop(tmp_path, port=free_port(), heard=True)
    yield opened
    opened.close()


def stream(port: int) -> socket.socket:
    """A connection that has asked for the stream and reads when it is told to."""
    asked = socket.create_connection(("127.0.0.1", port), DEADLINE_S)
    asked.sendall(f"GET /api/changes HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    return asked


async def _next(events: AsyncIterator[bytes]) -> str:
    with anyio.fail_after(DEADLINE_S):
        return (await anext(events)).decode()


def test_a_listener_hears_at_once_and_then_of_every_change() -> None:
    seen = [0]

    async def run() -> list[str]:
        events = Changes(lambda: seen[0], SteppedClock(NOW, 60.0), beat_s=NEVER_S).events()
        told = [await _next(events)]
        seen[0] += 1
        return [*told, await _next(events)]

    told = f'event: changed\ndata: {{"now": {NOW}, "rate": 60.0}}\n\n'
    assert anyio.run(run) == [told, told]


def test_a_stream_without_changes_says_that_it_lives() -> None:
    async def run() -> list[str]:
        events = Changes(lambda: 0, SteppedClock(NOW), beat_s=0.01).events()
        return [(await _next(events)).split("\n")[0] for _ in range(3)]

    assert anyio.run(run) == ["event: changed", "event: beat", "event: beat"]


def test_a_listener_that_does_not_read_holds_up_no_other_and_gets_one_event_for_all_it_missed() -> None:
    seen = [0]

    async def run() -> None:
        changes = Changes(lambda: seen[0], SteppedClock(NOW), beat_s=NEVER_S)
        slow, quick = changes.events(), changes.events()
        await _next(slow)
        await _next(quick)
        for _ in range(3):
            seen[0] += 1
            await _next(quick)
        await _next(slow)
        with pytest.raises(TimeoutError), anyio.fail_after(0):
            await anext(slow)

    anyio.run(run)


def test_many_who_come_at_once_share_one_look() -> None:
    looks = [0]

    def look() -> int:
        looks[0] += 1
        return 0

    async def run() -> None:
        changes = Changes(look, SteppedClock(NOW), beat_s=NEVER_S)
        every = [changes.events() for _ in range(20)]
        async with anyio.create_task_group() as group:
            for events in every:
                group.start_soon(_next, events)

    anyio.run(run)
    assert looks == [1]


def test_nobody_looks_while_nobody_listens() -> None:
    looks = [0]

    def look() -> int:
        looks[0] += 1
        return looks[0]

    async def run() -> int:
        changes = Changes(look, SteppedClock(NOW), beat_s=NEVER_S)
        events = changes.events()
        await _next(events)
        await _next(events)
        await events.aclose()  # type: ignore[attr-defined]
        with anyio.fail_after(DEADLINE_S):
            while changes._looking is not None and not changes._looking.done():
                await anyio.sleep(0.01)
        return changes.listening

    assert anyio.run(run) == 0
    assert looks[0] <= 4


def test_over_the_cap_it_is_said_plainly_and_a_place_that_is_left_is_given_again() -> None:
    async def run() -> None:
        changes = Changes(lambda: 0, SteppedClock(NOW), most=2)
        first, second = changes.events(), changes.events()
        await _next(first)
        assert not changes.full
        await _next(second)
        assert changes.full
        await first.aclose()  # type: ignore[attr-defined]
        assert not changes.full

    anyio.run(run)


def test_the_answer_over_the_cap_says_what_to_do(shop: FakeShop) -> None:
    shop.app.state.changes.close()
    got = Client(shop.app).get("/api/changes", host=f"127.0.0.1:{shop.port}")
    assert got.status_code == 503
    assert "ask again every few seconds" in got.json()["error"]["do"].lower()


def test_streams_of_a_real_server_hear_of_an_entry_and_end_cleanly_with_it(shop: FakeShop) -> None:
    """One of them never reads. The end is a last chunk of length 0: RFC 9112, 7.1."""
    served = Served(shop.app, shop.port)
    asked = [stream(shop.port) for _ in range(5)]
    until(lambda: shop.app.state.changes.listening == 5, "all of them listen")
    got = b""
    for told in (1, 2):
        while got.count(b"event: changed") < told:
            got += asked[0].recv(4096)
            assert b"event: beat" not in got, "the change is told before the beat"
        if told == 1:
            shop.logbook.append(Event(new_id(), NOW, NOW, "Kim", "washed", "lid-4", {}))
    served.stop()
    while piece := asked[0].recv(4096):
        got += piece
    assert b"content-type: text/event-stream" in got
    assert b"x-accel-buffering: no" in got
    assert got.endswith(b"\r\n0\r\n\r\n")
    for one in asked:
        one.close()


def test_fifty_that_listen_and_do_not_read_keep_no_page_from_anybody(shop: FakeShop) -> None:
    served = Served(shop.app, shop.port)
    asked = [stream(shop.port) for _ in range(50)]
    until(lambda: shop.app.state.changes.listening == 50, "all of them listen")
    for number in range(5):
        shop.logbook.append(Event(new_id(), NOW + number, NOW, "Kim", "washed", "lid-4", {}))
        with urllib.request.urlopen(f"{served.url}/", timeout=15) as page:
            assert b"Lid 4" in page.read()
    assert shop.app.state.changes.listening == 50
    served.stop()
    for one in asked:
        one.close()


def test_a_stream_that_is_dropped_gives_its_place_back(shop: FakeShop) -> None:
    served = Served(shop.app, shop.port)
    asked = stream(shop.port)
    until(lambda: shop.app.state.changes.listening == 1, "it listens")
    asked.close()
    until(lambda: shop.app.state.changes.listening == 0, "its place is free")
    served.stop()


def look_at(shop: FakeShop) -> Look:
    logbook = Logbook(shop.folder / "shop.db")
    ports = Shop(
        WatchReader(shop.folder / "watch.db", logbook), logbook, list, None, None, list, dict, shop.clock, "", "UTC"
    )  # type: ignore[arg-type]  # fmt: skip
    return look_of(ports, shop.folder / "readings.db")


def test_what_watch_works_out_what_people_say_and_what_probes_read_is_a_change(shop: FakeShop) -> None:
    look = look_at(shop)
    first = look()
    assert look() == first
    shop.save(answer("lid-4", "Lid 4", waiting(NOW)))
    second = look()
    assert second != first
    shop.logbook.append(Event(new_id(), NOW, NOW, "Kim", "washed", "lid-4", {}))
    third = look()
    assert third != second
    shop.read(Reading("S1", Quantity.TEMPERATURE, 5.0, NOW + MINUTE, NOW + MINUTE))
    assert any(look() != third for _ in range(READINGS_LOOKS)), "readings are looked at now and then"


def test_a_store_that_is_not_there_yet_is_no_end_of_looking(tmp_path: Path) -> None:
    shop = open_shop(tmp_path, filled=False)
    look = look_at(shop)
    first = look()
    assert look() == first
    shop.logbook.append(
        Event(new_id(), NOW, NOW, "Kim", "preference", None, {"key": "unit", "value": "degF"})
    )
    assert look() != first
    shop.close()
