"""Each process is killed in the middle of a running shop, and the broker taken away: nothing that was said to be kept
is lost, nothing is there twice, and the page that was open all the time is right again by itself."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from dashboard.announce import GONE, HERE, read_verdict, verdict_topic, watch_topic
from tests.journeys.senders import (
    Listener,
    SteadySender,
    Wire,
    announce,
    brokers,
    probe,
    retained,
    seconds,
    send,
    senml,
    shop_broker,
    timeless,
    usb,
)
from tests.journeys.shop import (
    HOUR_MS,
    PROCESSES,
    Process,
    Shop,
    now_ms,
    opened,
    processes,
    wait_until,
)
from tests.journeys.window import Chromium, Window
from tests.services import Server, running

SITE = "invented-shed"


@dataclass
class Running:
    """The shop, what runs it now, the broker it speaks to, and one page that stays open."""

    shop: Shop
    run: Process
    broker: Server
    page: Window

    def kill(self, name: str) -> None:
        """Ends one of the three as a crash would; returns once another has taken its place."""
        old = self.run.children()[name]
        os.kill(old, signal.SIGKILL)
        wait_until(lambda: self.run.children().get(name, old) != old, f"{name} is started again")

    def readings_go_on(self) -> None:
        newest = self.shop.stored("S1")[-1]
        wait_until(lambda: self.shop.stored("S1")[-1] > newest, "new readings are committed")

    def page_is_right(self) -> None:
        """What was there stands there, and what is logged now is answered on the page within moments."""
        wait_until(lambda: not self.page.lost(), "the page has the server again")
        self.page.says("deck", "Wet out before")
        self.page.says("hull", "Warm it above")
        fresh = self.shop.register(f"Fresh {now_ms()}", "S1", "A1")
        self.shop.coat(fresh, now_ms(), applied=False)
        self.page.says(fresh, "Pour it out before")


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory, chromium: Chromium) -> Iterator[Running]:
    """One panel in its pot life, one stopped by cold; and a probe that nobody ever heard, which rings."""
    with Wire() as wire, running(shop_broker(tmp_path_factory.mktemp("broker"))) as broker:
        tables = usb(wire.port) + brokers(broker.port) + probe("S9", "usb", 1) + announce(broker.port)
        with opened(tmp_path_factory.mktemp("shop"), tables) as shop:
            run = shop.start("run")
            shop.ready()
            house = Running(shop, run, broker, chromium.open(shop.url))
            fill(house)
            yield house
            house.page.close()


def fill(house: Running) -> None:
    """The deck from the wire, the hull from the broker; the probe that was never heard rings."""
    shop = house.shop
    now = now_ms()
    mixed = now - 6 * HOUR_MS
    send(house.broker, senml(seconds(mixed - HOUR_MS, now, 300), first=4.0))
    shop.coat(shop.register("Deck", "S1", "A1"), now)
    shop.coat(shop.register("Hull", "S2"), mixed)
    house.page.says("deck", "Wet out before")
    house.page.says("hull", "Warm it above")
    wait_until(lambda: bool(never_heard(shop)), "the alarm of the probe that was never heard")


def never_heard(shop: Shop) -> list[str]:
    """Ids of the alarms about S9."""
    return [alarm["id"] for alarm in shop.get("/api/alarms")["alarms"] if alarm["probe"] == "S9"]


def verdict_read(house: Running, watch: bytes) -> str:
    """What a lamp would show of the hull, if the watch topic says so."""
    topic = verdict_topic(SITE, "hull")
    return read_verdict(retained(house.broker, topic)[topic], watch, now_ms())


def batch_of(number: int) -> list[int]:
    """Twenty UTC seconds of the day before yesterday, others for each number."""
    start = (now_ms() - 48 * HOUR_MS) // 1000 // 3600 * 3600
    return [start + number * 100 + i for i in range(20)]


def test_collect_killed(house: Running) -> None:
    """Committed rows stay, none is doubled, and what the broker took while nobody listened comes in."""
    shop = house.shop
    seen = shop.stored("S1")
    packs = [senml([t], first=21 + i / 1000) for i, t in enumerate(range(T0, T0 + 300))]
    sender = SteadySender(house.broker, packs)
    try:
        wait_until(lambda: len(stored_since_t0(shop)) > 20, "the first of them are committed")
        before, committed = shop.stored("S1"), stored_since_t0(shop)
        house.kill("collect")
        wait_until(lambda: sender.acknowledged == len(packs), "the broker has taken them all")
    finally:
        sender.close()
    house.readings_go_on()
    wait_until(lambda: len(stored_since_t0(shop)) >= len(packs), "all that was acknowledged is stored")
    assert stored_since_t0(shop) == [(t * 1000, round(21 + (t - T0) / 1000, 3)) for t in range(T0, T0 + 300)]
    assert committed == stored_since_t0(shop)[: len(committed)]
    after = shop.stored("S1")
    assert seen == before[: len(seen)]
    assert before == after[: len(before)]
    assert len({value for _, value in after}) == len(after)
    assert shop.conflicts() == 0
    house.page_is_right()


def test_watch_killed(house: Running) -> None:
    """Readers of its topics are told that it is gone; the alarm that stood stands, seen as it was, not raised again."""
    shop, broker = house.shop, house.broker
    (alarm,) = never_heard(shop)
    shop.log("alarm seen", alarm=alarm)
    old = house.run.children()["watch"]
    topic = watch_topic(SITE)
    with Listener(broker, topic) as reader:
        wait_until(lambda: reader.heard == [(topic, HERE)], "watch is there")
        os.kill(old, signal.SIGKILL)
        wait_until(
            lambda: reader.heard[1:] == [(topic, GONE), (topic, HERE)], "its last will, and another watch"
        )
    assert verdict_read(house, GONE).startswith("Not known. Last said: Warm it above")
    assert verdict_read(house, HERE).startswith("Warm it above")
    house.page_is_right()
    assert house.run.children()["watch"] != old
    (again,) = [item for item in shop.get("/api/alarms")["alarms"] if item["probe"] == "S9"]
    assert again["id"] == alarm
    assert again["seen_at"] is not None
    assert again["returned_at"] is None


def test_serve_killed(house: Running) -> None:
    """What serve said it had logged is there, once, also when the phone sends it again."""
    shop = house.shop
    entry = {"id": "wash-before-the-kill", "kind": "washed", "panel": "hull"}
    assert shop.post("/api/events", entry)["new"]
    house.kill("serve")
    shop.ready()
    assert not shop.post("/api/events", entry)["new"]
    assert [event["id"] for event in shop.get("/api/events?panel=hull")["events"]].count(entry["id"]) == 1
    house.page_is_right()
    house.readings_go_on()


def test_run_killed_and_a_backlog_meanwhile(house: Running) -> None:
    """Its children end by themselves, so that a new run can start. What came meanwhile counts if it has a time of its
    own; what has none is refused, counted, and shown."""
    shop = house.shop
    children = set(house.run.children().values())
    assert len(children) == len(PROCESSES)
    before, stale = shop.stored("S1"), shop.refused("broker", "stale")
    house.run.kill()
    wait_until(lambda: not children & processes().keys(), "the children have ended by themselves")
    wait_until(lambda: bool(house.page.lost()), "the open page says that the server does not answer")
    times = batch_of(1)
    send(house.broker, *(timeless(25 + i / 100) for i in range(5)), senml(times, first=24.0))
    house.run = shop.start("run")
    shop.ready()
    wait_until(lambda: shop.refused("broker", "stale") == stale + 5, "the timeless ones are counted")
    house.readings_go_on()
    house.page_is_right()
    kept = shop.stored("S2")
    assert [at for at, value in kept if 24 <= value < 25] == [t * 1000 for t in times]
    assert not [value for _, value in kept if value >= 25]
    assert shop.stored("S1")[: len(before)] == before
    house.page.go(shop.url + "/more/probes")
    assert f"broker: stale, {stale + 5}" in house.page.text()
    house.page.go(shop.url)


def test_broker_stopped_and_started_in_the_middle(house: Running) -> None:
    """What a probe was told is received is there once; our own topics are told anew."""
    shop = house.shop
    start = T0 + 1000
    packs = [senml([start + i], first=22 + i / 1000) for i in range(300)]
    sender = SteadySender(house.broker, packs)
    try:
        wait_until(lambda: sender.acknowledged > 50, "the first are acknowledged")
        house.broker.stop()
        assert sender.acknowledged < len(packs)
        house.broker.start()
        wait_until(lambda: sender.acknowledged == len(packs), "the broker has taken them all")
    finally:
        sender.close()
    expected = [((start + i) * 1000, round(22 + i / 1000, 3)) for i in range(300)]
    wait_until(lambda: len(stored_since_t0(shop, start)) >= 300, "all that was acknowledged is stored")
    assert stored_since_t0(shop, start) == expected
    assert shop.conflicts() == 0
    wait_until(
        lambda: retained(house.broker, watch_topic(SITE)).get(watch_topic(SITE)) == HERE,
        "watch says again that it is there",
    )
    assert verdict_read(house, HERE).startswith("Warm it above")
    house.page_is_right()


T0 = (now_ms() - 40 * HOUR_MS) // 1000


def stored_since_t0(shop: Shop, start: int = T0) -> list[tuple[int, float]]:
    """What the steady sender's times from `start` on have in the store."""
    return [(at, value) for at, value in shop.stored("S2") if start * 1000 <= at < (start + 300) * 1000]
