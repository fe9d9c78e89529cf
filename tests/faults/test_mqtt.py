"""Faults of messages that come through a broker: each test is named after its row of the list of faults."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from paho.mqtt import publish
from paho.mqtt.enums import MQTTProtocolVersion

from collector.arrival import Arrival, Delivery
from collector.clock import SteppedClock
from collector.pipeline import Pipeline
from collector.reading import Quality, Quantity
from collector.sources.mqtt_link import MAX_PAYLOAD
from collector.store.reader import Reader
from collector.store.writer import Writer
from tests.collector.failing import assert_kept, fail_while_messages_come
from tests.collector.shops import probe, shop
from tests.collector.sources.listener import Listener, send_until_live
from tests.collector.test_mqtt_to_store import at_home, collecting, numbered, send, timed
from tests.faults.weak_link import assert_survived, cut_again_and_again
from tests.services import Server, mosquitto, running, wait_until

T = Quantity.TEMPERATURE
NOW = 1_795_604_832_000
DAY_MS = 86_400_000
SENML = '[[source]]\nid = "broker"\nkind = "mqtt"\nhost = "x"\ntopic = ["shed/#"]\n[source.decode]\nkind = "senml"\n'


class House:
    """The real pipeline and store, handed messages as the source of a broker hands them."""

    def __init__(self, at: Path) -> None:
        settings = shop(at, SENML, probe("S1", "broker"))
        self.clock = SteppedClock(NOW)
        self.writer = Writer.open(settings.readings_db, self.clock)
        self.pipeline = Pipeline(settings, self.writer, self.clock)
        self.reader = Reader(self.writer.connection)
        self._mid = 0

    def take(self, value: float, at_ms: int, live: bool = True) -> None:
        """One message with a time of its own, with the next message number and the dup flag off."""
        self._mid += 1
        payload = b'[{"n": "S1", "u": "Cel", "t": %d, "v": %f}]' % (at_ms // 1000, value)
        delivery = Delivery("us", self._mid, b"%016d" % self._mid, dup=False)
        self.pipeline.take(Arrival("broker", payload, NOW, "shed/s1", live, delivery))
        self.pipeline.flush()

    def rows(self) -> list[tuple[int, float]]:
        at, value, _ = self.reader.samples("S1", T, 0, 2**52)
        return list(zip(at.tolist(), value.tolist(), strict=True))


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    house = House(tmp_path)
    yield house
    house.writer.close()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Server]:
    with running(mosquitto(tmp_path / "broker")) as server:
        yield server


def test_b30_a_payload_too_large_is_counted_and_acknowledged_and_its_bytes_are_not_kept(
    broker: Server,
) -> None:
    with Listener(broker).connected() as listener:
        publish.single(
            "shed/a/senml",
            b"x" * (MAX_PAYLOAD + 1),
            qos=1,
            hostname="127.0.0.1",
            port=broker.port,
            protocol=MQTTProtocolVersion.MQTTv5,
        )
        wait_until(lambda: bool(listener.arrivals), "the message")
        (arrival,) = listener.arrivals
        assert arrival.payload == b""
        assert arrival.refusal is not None
        assert arrival.refusal.kind == "too large"
        assert str(MAX_PAYLOAD + 1) in arrival.refusal.text
    with Listener(broker) as again:
        send_until_live(broker, again)
        assert all(arrival.refusal is None for arrival in again.arrivals), "it was acknowledged"


def test_b30_a_refusal_of_the_source_is_counted_and_acknowledged(broker: Server, tmp_path: Path) -> None:
    with collecting(tmp_path, broker) as collector:
        at_home(broker, collector)
        send(broker, ("shed/s2/senml", b"[" + b" " * MAX_PAYLOAD + b"]"))
        wait_until(lambda: collector.seen().count("broker", "too large") == 1, "it is counted")


def test_b32_a_repeat_without_the_dup_flag_is_one_row(house: House) -> None:
    for _ in range(3):
        house.take(12.5, NOW)
    assert house.rows() == [(NOW, 12.5)]
    assert house.reader.conflicts() == 0


@pytest.mark.parametrize("late_ms", [1000, DAY_MS, 365 * DAY_MS])
def test_b34_out_of_order_readings_are_stored_at_their_own_time(house: House, late_ms: int) -> None:
    house.take(12.5, NOW)
    house.take(11.5, NOW - late_ms, live=False)
    assert house.rows() == [(NOW - late_ms, 11.5), (NOW, 12.5)]
    assert house.reader.samples("S1", T, 0, 2**52)[2].tolist() == [int(Quality.LATE), 0]


def test_b35_a_time_an_hour_ahead_becomes_the_time_of_arrival_and_is_flagged(house: House) -> None:
    house.take(12.5, NOW + 3_600_000)
    assert house.rows() == [(NOW, 12.5)]
    assert Quality(house.reader.samples("S1", T, 0, 2**52)[2].tolist()[0]) & Quality.CLOCK_AHEAD


HOSTILE = {
    "dots": "shed/../../../etc/passwd",
    "markup": "shed/<script>alert(1)</script>",
    "long": "shed/" + "x" * 60_000,
    "emoji": "shed/\N{FIRE}",
    "text that a spreadsheet obeys": "shed/=1-1",
}


def test_b43_hostile_topics_are_safe(broker: Server, tmp_path: Path) -> None:
    """Each is counted as a name that nobody claims, or too long for one; good messages go on."""
    from tests.collector.test_mqtt_to_store import Collector

    collector = Collector(tmp_path, broker)
    text = collector.settings.read_text().replace('topic = ["shed/json/+"]', 'topic = ["shed/#"]')
    collector.settings.write_text(text)
    collector.start()
    try:
        at_home(broker, collector)
        before = collector.seen().count("broker-json", "unknown name")
        send(broker, *((topic, b'{"temp": 50, "hum": 50}') for topic in HOSTILE.values()))
        more = before + 2 * (len(HOSTILE) - 1)  # two quantities in each
        wait_until(lambda: collector.seen().count("broker-json", "unknown name") >= more, "names are counted")
        wait_until(lambda: collector.seen().count("broker-json", "bad name") >= 2, "so is what is no name")
        send(broker, timed(1))
        wait_until(lambda: bool(numbered(collector.seen().of("S2"))), "a good message after them")
        reader = Reader.open(collector.db)
        heard = {item.name for item in reader.heard()}
        reader.close()
        assert max(map(len, heard)) <= 300
        assert HOSTILE["markup"] in heard
        assert {path.name for path in tmp_path.iterdir()} == {
            "broker",
            "coldshed.toml",
            "collector.log",
            "data",
        }
    finally:
        collector.kill()


def test_b54_a_link_that_is_slow_and_cut_again_and_again_loses_and_doubles_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """100 cuts in tests/long."""
    assert_survived(cut_again_and_again(tmp_path, 6, monkeypatch))


def test_failed_commits_lose_nothing_that_was_acknowledged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Promise A4: full disk, lock, bad card, and a death, drawn at random; 10,000 in tests/long."""
    assert_kept(fail_while_messages_come(tmp_path, 300, seed=1, monkeypatch=monkeypatch))
