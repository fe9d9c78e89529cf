"""The MQTT source against a real Mosquitto, in a thread of its own."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import publish
from paho.mqtt.enums import MQTTProtocolVersion

from collector.arrival import Arrival
from collector.clock import SteppedClock
from collector.settings import MqttSource
from collector.sources.mqtt import MqttClientSource
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
