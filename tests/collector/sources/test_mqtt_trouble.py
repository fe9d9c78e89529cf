"""Against a real Mosquitto: one that forgets, refuses, freezes, or knows another by our name."""

from __future__ import annotations

import json
import signal
import threading
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from collector.sources import backlog, mqtt, mqtt_link
from collector.sources.mqtt import client_id, machine_id
from tests.collector.sources.listener import Listener, send, send_until_live
from tests.collector.sources.listener import broker as broker
from tests.services import Server, mosquitto, running, wait_until


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
