"""Against a real Mosquitto: what is live, what is acknowledged, and what comes again."""

from __future__ import annotations

import signal
from typing import Any

import pytest

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.settings import MqttSource
from collector.sources import backlog, mqtt
from collector.sources.mqtt import MqttClientSource, client_id, machine_id
from tests.collector.sources.listener import NOW, TOPIC, Listener, send, send_until_live
from tests.collector.sources.listener import broker as broker
from tests.services import Server, wait_until


def test_a_message_is_handed_over_whole_with_its_arrival_time_and_identity(broker: Server):
    with Listener(broker).connected() as listener:
        send(broker, b"one")
        arrival = listener.wait_for(b"one")
    assert (arrival.source, arrival.topic, arrival.received, arrival.live) == ("broker", TOPIC, NOW, True)
    assert arrival.delivery is not None
    assert arrival.delivery.client == client_id("example-shed", "broker", machine_id())
    assert len(arrival.delivery.digest) == 16
    assert not arrival.delivery.dup


def test_a_message_without_guarantee_has_no_identity(broker: Server):
    with Listener(broker).connected() as listener:
        send(broker, b"one", qos=0)
        arrival = listener.wait_for(b"one")
    assert arrival.live
    assert arrival.delivery is None
    assert arrival.done is None


def test_a_retained_message_is_not_live(broker: Server):
    send(broker, b"old", retain=True)
    with Listener(broker).connected() as listener:
        assert not listener.wait_for(b"old").live
        send(broker, b"new", retain=True)
        assert listener.wait_for(b"new").live


def test_what_was_not_acknowledged_comes_again_marked_as_a_repeat(broker: Server):
    with Listener(broker, acknowledge=False).connected() as listener:
        send(broker, b"one")
        first = listener.wait_for(b"one").delivery
    with Listener(broker) as again:
        arrival = again.wait_for(b"one")
        send_until_live(broker, again)
    second = arrival.delivery
    assert first is not None
    assert second is not None
    assert (second.client, second.mid, second.digest) == (first.client, first.mid, first.digest)
    assert second.dup
    assert not arrival.live


def test_a_repeat_is_not_live_even_if_the_backlog_cannot_be_told(
    broker: Server, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(backlog, "WAIT_S", 0.0)
    with Listener(broker, acknowledge=False).connected() as listener:
        send(broker, b"one")
        listener.wait_for(b"one")
    with Listener(broker) as again:
        assert not again.wait_for(b"one").live


def test_an_acknowledgement_of_an_earlier_connection_acknowledges_nothing(broker: Server):
    """The same number may belong to another message by then."""
    with Listener(broker, acknowledge=False).connected() as listener:
        send(broker, b"one")
        first = listener.wait_for(b"one")
        broker.stop()
        broker.start()
        wait_until(lambda: listener.payloads().count(b"one") == 2, "the message again")
        assert first.done is not None
        first.done()
    with Listener(broker) as again:
        assert again.wait_for(b"one").delivery is not None


def test_what_was_acknowledged_does_not_come_again(broker: Server):
    with Listener(broker).connected() as listener:
        send(broker, b"one")
        listener.wait_for(b"one")
    with Listener(broker) as again:
        send_until_live(broker, again)
        assert b"one" not in again.payloads()


def test_the_backlog_of_a_resumed_session_is_whole_and_not_live(broker: Server):
    with Listener(broker).connected():
        pass
    kept = [b"kept %d" % number for number in range(300)]
    send(broker, *kept)
    with Listener(broker) as again:
        again.wait_for(kept[-1])
        send_until_live(broker, again)
    old = [arrival for arrival in again.arrivals if arrival.payload != b"now"]
    assert [arrival.payload for arrival in old] == kept
    assert not any(arrival.live for arrival in old)


def test_the_echo_is_never_handed_on_even_to_a_source_that_reads_everything(broker: Server):
    with Listener(broker, topic="#").connected() as listener:
        send(broker, b"one")
        listener.wait_for(b"one")
        send_until_live(broker, listener)
    assert {arrival.topic for arrival in listener.arrivals} == {TOPIC}


@pytest.mark.parametrize("end", [Server.stop, Server.kill])
def test_nothing_is_lost_or_doubled_when_the_broker_goes_away_in_the_middle(broker: Server, end: Any):
    first = [b"first %d" % number for number in range(100)]
    second = [b"second %d" % number for number in range(100)]
    with Listener(broker).connected() as listener:
        send(broker, *first)
        listener.wait_for(
            first[-1]
        )  # or those not acknowledged yet and the next ones would not fit into one window
        listener.acknowledge = False
        send(broker, *second[:50])
        listener.wait_for(second[49])
        send(broker, b"now")  # Mosquitto 2.0.11 saves after it acknowledges: its next round proves it has
        end(broker)
        wait_until(lambda: listener.source.state.startswith("failed"), "the loss to show in the state")
        listener.acknowledge = True
        broker.start()
        listener.connected()
        send(broker, *second[50:])
        listener.wait_for(second[-1])
        wait_until(lambda: all_seen(listener, first + second), "all messages")
        send_until_live(broker, listener)
    fresh = [a.payload for a in listener.arrivals if a.delivery is not None and not a.delivery.dup]
    assert sorted(payload for payload in fresh if payload != b"now") == sorted(first + second)


def all_seen(listener: Listener, payloads: list[bytes]) -> bool:
    return set(payloads) <= set(listener.payloads())


class FailingOnce(SteppedClock):
    """A clock that fails at its first question, inside the library's callback."""

    failed = False

    def now(self) -> int:
        if not self.failed:
            self.failed = True
            raise RuntimeError("no time")
        return self.at


def test_an_error_in_a_callback_loses_no_message(broker: Server, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(mqtt, "REST_S", 0.1)
    with Listener(broker, clock=FailingOnce(NOW)).connected() as listener:
        send(broker, b"one")
        assert not listener.wait_for(b"one").live


def test_an_error_behind_us_ends_the_run_and_the_message_comes_again(broker: Server):
    listener = Listener(broker)
    listener.put = refuse  # type: ignore[method-assign]
    listener.start()
    listener.connected()
    send(broker, b"one")
    wait_until(lambda: listener.error is not None, "the error to reach the caller")
    listener.stop()
    with Listener(broker) as again:
        again.wait_for(b"one")


def refuse(arrival: Arrival) -> None:
    raise RuntimeError(f"no room for {arrival.payload!r}")


def test_messages_that_are_not_stored_are_asked_for_again(broker: Server, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(mqtt, "AGAIN_S", 0.3)
    with Listener(broker, acknowledge=False).connected() as listener:
        send(broker, b"one")
        listener.wait_for(b"one")
        wait_until(lambda: listener.payloads().count(b"one") >= 2, "the message again")
        listener.acknowledge = True
        send_until_live(broker, listener)


def test_what_was_acknowledged_right_before_the_end_does_not_come_again(broker: Server):
    class Last(Listener):
        def put(self, arrival: Arrival) -> None:
            super().put(arrival)
            self._stop.set()

    with Last(broker).connected() as last:
        send(broker, b"one")
        last.wait_for(b"one")
    with Listener(broker).connected() as listener:
        send_until_live(broker, listener)
    assert b"one" not in listener.payloads()


def test_after_a_slow_acknowledgement_nothing_is_live_until_the_marker_is_back(
    broker: Server, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(backlog, "WAIT_S", 1e9)
    with Listener(broker, acknowledge=False).connected() as listener:
        send(broker, b"one")
        arrival = listener.wait_for(b"one")
        assert arrival.live
        broker.signal(signal.SIGSTOP)
        assert arrival.done is not None
        monkeypatch.setattr("collector.sources.mqtt_link.STALLED_S", 0.0)
        arrival.done()
        broker.signal(signal.SIGCONT)
        monkeypatch.setattr("collector.sources.mqtt_link.STALLED_S", 1e9)
        send(broker, b"two")
        assert not listener.wait_for(b"two").live
        send_until_live(broker, listener)


def test_the_client_id_lasts_and_differs_for_each_machine_and_source():
    """MQTT 5, 3.1.3.1: up to 23 letters and digits are taken by every broker."""
    first = client_id("shed", "broker", "m1")
    assert first == client_id("shed", "broker", "m1")
    assert (
        len(
            {
                first,
                client_id("shed", "broker", "m2"),
                client_id("shed", "b2", "m1"),
                client_id("s", "broker", "m1"),
            }
        )
        == 4
    )
    assert first.isalnum()
    assert len(first) <= 23


@pytest.mark.parametrize("topic", ["shed/#/x", "shed#", "a+/b", "#/"])
def test_a_topic_that_is_no_filter_is_an_error_at_once(topic: str):
    settings = {"id": "b", "kind": "mqtt", "host": "x", "topic": [topic], "decode": {"kind": "senml"}}
    with pytest.raises(ValueError, match="no MQTT filter"):
        MqttClientSource(MqttSource.model_validate(settings), "shed", SteppedClock(NOW))
