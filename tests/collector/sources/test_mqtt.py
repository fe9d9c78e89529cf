"""Against a real Mosquitto: what is live, what is acknowledged, and what comes again."""

from __future__ import annotations

import json
import signal
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import publish
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.settings import MqttSource
from collector.sources import backlog, mqtt, mqtt_link
from collector.sources.mqtt import MqttClientSource, client_id, machine_id
from tests.services import Server, mosquitto, running, wait_until

NOW = 1_795_604_832_000
TOPIC = "shed/a/senml"


class Listener:
    """The source in a thread of its own; keeps what it hands over, and acknowledges as a pipeline would."""

    def __init__(
        self,
        broker: Server,
        *,
        acknowledge: bool = True,
        clock: Any = None,
        topic: str = "shed/#",
        **login: object,
    ) -> None:
        self.arrivals: list[Arrival] = []
        self.error: BaseException | None = None
        self.acknowledge = acknowledge
        settings = MqttSource.model_validate(
            {
                "id": "broker",
                "kind": "mqtt",
                "host": "127.0.0.1",
                "port": broker.port,
                "topic": [topic],
                "decode": {"kind": "senml"},
                **{key: value if key == "port" else str(value) for key, value in login.items()},
            }
        )
        self.source = MqttClientSource(settings, "example-shed", clock or SteppedClock(NOW))
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def put(self, arrival: Arrival) -> None:
        self.arrivals.append(arrival)
        if self.acknowledge and arrival.done is not None:
            arrival.done()

    def _run(self) -> None:
        try:
            self.source.run(self.put, self._stop.is_set)
        except RuntimeError as error:
            self.error = error

    def start(self) -> Listener:
        if self._thread.ident is None:
            self._thread.start()
        return self

    def stop(self) -> None:
        self._stop.set()
        self._thread.join(20)
        assert not self._thread.is_alive()

    def __enter__(self) -> Listener:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.stop()

    def connected(self) -> Listener:
        self.start()
        wait_until(lambda: self.source.state.startswith("connected"), "a connection")
        return self

    def payloads(self) -> list[bytes]:
        return [arrival.payload for arrival in self.arrivals]

    def wait_for(self, payload: bytes) -> Arrival:
        wait_until(lambda: payload in self.payloads(), f"{payload!r} from the broker")
        return self.arrivals[self.payloads().index(payload)]


def send(broker: Server, *payloads: bytes, topic: str = TOPIC, qos: int = 1, retain: bool = False) -> None:
    """Returns once the broker has acknowledged all of them."""
    publish.multiple(
        [(topic, payload, qos, retain) for payload in payloads],
        hostname="127.0.0.1",
        port=broker.port,
        protocol=MQTTProtocolVersion.MQTTv5,
    )


def send_until_live(broker: Server, listener: Listener) -> None:
    """Sends until a message counts as live: the backlog is over then."""

    def live() -> bool:
        send(broker, b"now")
        return any(arrival.live and arrival.payload == b"now" for arrival in listener.arrivals)

    wait_until(live, "a live message after the backlog")


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Server]:
    with running(mosquitto(tmp_path / "broker")) as server:
        yield server


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


def test_a_broker_that_forgot_us_is_subscribed_to_again(tmp_path: Path):
    with running(mosquitto(tmp_path / "broker", more="")) as broker:
        settings = broker.folder / "mosquitto.conf"
        settings.write_text(settings.read_text().replace("persistence true", "persistence false"))
        broker.stop()
        with Listener(broker) as listener:
            wait_until(lambda: "no broker answers" in listener.source.state, "the failure in the state")
            broker.start()
            listener.connected()
            broker.kill()
            broker.start()
            listener.connected()
            wait_until(lambda: sent_and_seen(broker, listener), "a message after the restart")


def sent_and_seen(broker: Server, listener: Listener) -> bool:
    send(broker, b"after")
    return b"after" in listener.payloads()


def test_a_refused_subscription_shows_in_the_state(tmp_path: Path):
    rights = tmp_path / "rights.json"
    access = {
        "publishClientSend": True,
        "publishClientReceive": True,
        "subscribe": False,
        "unsubscribe": True,
    }
    rights.write_text(json.dumps({"defaultACLAccess": access}))
    more = f"plugin {plugin('mosquitto_dynamic_security.so')}\nplugin_opt_config_file {rights}\n"
    with (
        running(mosquitto(tmp_path / "broker", more=more)) as broker,
        Listener(broker) as listener,
    ):
        wait_until(lambda: "'shed/#'" in listener.source.state, "the refusal in the state")
        assert "Not authorized" in listener.source.state
        assert listener.source.state.startswith("failed: ")


def plugin(name: str) -> Path:
    """A plugin beside the broker, wherever the broker came from."""
    from tests.services import CACHE

    found = [*CACHE.glob(f"usr/lib/*/{name}"), *Path("/usr/lib").glob(f"*/{name}")]
    assert found, f"{name} is not on this machine: it comes with mosquitto; run .ci/services"
    return found[0]


def test_a_marker_that_may_not_be_published_is_told_and_live_messages_are_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(backlog, "WAIT_S", 0.5)
    rights = tmp_path / "rights"
    rights.write_text("topic read #\ntopic write shed/#\n")
    with running(mosquitto(tmp_path / "broker", more=f"acl_file {rights}\n")) as broker:
        with Listener(broker).connected():
            pass
        with Listener(broker) as again:
            send_until_live(broker, again)
            assert "old messages cannot be told from new ones" in again.source.state
            assert again.source.echo_topic in again.source.state
            assert again.source.state.startswith("connected")


def test_a_wrong_password_shows_in_the_state(tmp_path: Path):
    users = tmp_path / "users"
    users.write_text("")
    more = f"password_file {users}\n"
    server = mosquitto(tmp_path / "broker", more=more)
    settings = server.folder / "mosquitto.conf"
    settings.write_text(settings.read_text().replace("allow_anonymous true", "allow_anonymous false"))
    with running(server) as broker, Listener(broker) as listener:
        wait_until(lambda: "refuses us" in listener.source.state, "the refusal in the state")
        assert "password_file" in listener.source.state


def test_a_second_client_with_our_session_is_told_and_not_fought(broker: Server):
    """MQTT 5, 3.1.4-3: the server ends the earlier connection of the same client id."""
    with Listener(broker).connected() as listener:
        rival = Client(
            CallbackAPIVersion.VERSION2,
            client_id=client_id("example-shed", "broker", machine_id()),
            protocol=MQTTProtocolVersion.MQTTv5,
        )
        gone = threading.Event()
        rival.connect("127.0.0.1", broker.port, clean_start=False)
        rival.loop_start()
        wait_until(lambda: "second collector" in listener.source.state, "the rival in the state")
        rival.on_disconnect = lambda *_: gone.set()
        assert not gone.wait(1.5), "we came back at once although another client holds the session"
        rival.disconnect()
        rival.loop_stop()


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


def test_a_quiet_broker_is_kept_and_a_frozen_one_is_left_and_found_again(
    broker: Server, monkeypatch: pytest.MonkeyPatch
):
    """A broker without messages still answers pings; a stopped process keeps its socket open and answers none."""
    signs: list[str] = []

    def noted(kind: Any) -> Any:
        return lambda *args: (signs.append(kind.__name__), kind(*args))[1]

    monkeypatch.setattr(mqtt_link, "KEEPALIVE_S", 1)
    monkeypatch.setattr(mqtt, "LIFELESS_S", 2.5)
    for kind in (mqtt_link.Alive, mqtt_link.Connected):
        monkeypatch.setattr(mqtt_link, kind.__name__, noted(kind))
    with Listener(broker).connected() as listener:
        wait_until(lambda: signs.count("Alive") >= 4, "answers to pings over more than 2.5 s of quiet")
        assert signs.count("Connected") == 1
        broker.signal(signal.SIGSTOP)
        wait_until(lambda: listener.source.state.startswith("failed"), "the silence in the state")
        broker.signal(signal.SIGCONT)
        listener.connected()
        wait_until(lambda: sent_and_seen(broker, listener), "a message after the silence")


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
