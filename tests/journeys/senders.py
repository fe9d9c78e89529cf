"""What stands outside the shop: a probe on a wire, probes behind a broker, a logger's files. All invented."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import threading
import tty
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt import publish
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from tests.journeys.shop import wait_until
from tests.services import Server, find, free_port

LINES = """
[source.decode]
kind = "text_line"
field = [
  { key = "T", quantity = "temperature", unit = "degC" },
  { key = "RH", quantity = "relative_humidity", unit = "%" },
]
"""
SENML, PLAIN = "shed/s2/senml", "shed/json/a2"
S2_NAME = "urn:dev:mac:0024befffe804ff1"
CONF = Path(__file__).resolve().parents[2] / "firmware_notes" / "mosquitto.conf"


def usb(port: str, interval_s: float = 10) -> str:
    """S1 on the panel and A1 in the air, text lines on a port."""
    source = f'[[source]]\nid = "usb"\nkind = "serial"\nport = "{port}"\n{LINES}'
    return source + probe("S1", "usb", interval_s) + probe("A1", "usb", interval_s, place="air")


def brokers(port: int, interval_s: float = 300) -> str:
    """S2 on the panel speaks SenML, A2 in the air plain JSON."""
    return f"""
[[source]]
id = "broker"
kind = "mqtt"
host = "127.0.0.1"
port = {port}
topic = ["shed/+/senml"]
[source.decode]
kind = "senml"

[[source]]
id = "broker-json"
kind = "mqtt"
host = "127.0.0.1"
port = {port}
topic = ["shed/json/+"]
[source.decode]
kind = "json_map"
field = [
  {{ key = "/temp", quantity = "temperature", unit = "degF" }},
  {{ key = "/hum", quantity = "relative_humidity", unit = "%" }},
]
time = {{ key = "/ts", unit = "s" }}
""" + (
        probe("S2", "broker", interval_s, name=S2_NAME)
        + probe("A2", "broker-json", interval_s, place="air", name=PLAIN)
    )


def logger() -> str:
    """L1 on the panel and L2 in the air, from files in the folder "inbox"; times in UTC."""
    return """
[[source]]
id = "logger"
kind = "folder"
folder = "inbox"
[source.decode]
kind = "logger_csv"
time = { key = "time", unit = "iso8601", zone = "UTC" }
field = [
  { key = "panel [degC]", quantity = "temperature", unit = "degC", name = "L1" },
  { key = "air [degC]", quantity = "temperature", unit = "degC", name = "L2" },
  { key = "air [%RH]", quantity = "relative_humidity", unit = "%", name = "L2" },
]
""" + (probe("L1", "logger", 600) + probe("L2", "logger", 600, place="air"))


def probe(id: str, source: str, interval_s: float, place: str = "surface", name: str | None = None) -> str:
    claim = f'name = "{name}"\n' if name else ""
    return (
        f'[[probe]]\nid = "{id}"\nsource = "{source}"\n{claim}zone = "shed"\nplace = "{place}"\n'
        f"interval_s = {interval_s}\n"
    )


def announce(port: int) -> str:
    return f'\n[announce]\nhost = "127.0.0.1"\nport = {port}\n'


class Wire:
    """A device on the far end of a pseudo-terminal: 20 degC and a little more with every round, so that each
    value is there once; the air at 20 degC and about 50 %RH."""

    def __init__(self, every_s: float = 0.1) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        os.close(slave)
        os.set_blocking(self.master, False)
        self._every_s = every_s
        self.sent = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def _send(self) -> None:
        while not self._stop.wait(self._every_s):
            number = self.sent + 1
            line = f"S1 T={20 + number / 10_000:.4f}\nA1 T={20 + number / 10_000:.4f} RH={50 + number % 7 / 10}\n"
            with contextlib.suppress(OSError):  # nobody reads: the line is lost, as on a real wire
                os.write(self.master, line.encode())
            self.sent = number

    def fall_silent(self) -> None:
        self._stop.set()
        self._thread.join()

    def __enter__(self) -> Wire:
        return self

    def __exit__(self, *error: object) -> None:
        self.fall_silent()
        os.close(self.master)


def shop_broker(folder: Path) -> Server:
    """Mosquitto with the settings that firmware_notes recommends; only port, folder and user are the test's."""
    port = free_port()
    folder.mkdir(parents=True, exist_ok=True)
    text = CONF.read_text(encoding="utf-8")
    for ours, tests in (("listener 1883 ", f"listener {port} "), ("/var/lib/mosquitto/", f"{folder}/")):
        assert ours in text
        text = text.replace(ours, tests)
    settings = folder / "mosquitto.conf"
    settings.write_text(f"user root\n{text}")
    return Server(folder, [find("mosquitto"), "-c", str(settings)], port)


def send(broker: Server, *messages: tuple[str, bytes]) -> None:
    """Returns once the broker has acknowledged all of them."""
    publish.multiple(
        [(topic, payload, 1, False) for topic, payload in messages],
        hostname="127.0.0.1",
        port=broker.port,
        protocol=MQTTProtocolVersion.MQTTv5,
    )


def senml(times: Iterable[int], first: float) -> tuple[str, bytes]:
    """One pack (RFC 8428) of surface temperatures at UTC seconds: first degC, and a thousandth more each."""
    records = [
        {"n": S2_NAME, "u": "Cel", "t": t, "v": round(first + i / 1000, 3)} for i, t in enumerate(times)
    ]
    return SENML, json.dumps(records).encode()


def timeless(value: float) -> tuple[str, bytes]:
    return SENML, json.dumps([{"n": S2_NAME, "u": "Cel", "v": value}]).encode()


def plain(t: int, degF: float, humidity: float) -> tuple[str, bytes]:
    """The air at UTC second t, as plain JSON."""
    return PLAIN, json.dumps({"temp": degF, "hum": humidity, "ts": t}).encode()


class SteadySender:
    """A probe that keeps each message until the broker has acknowledged it, over a lost connection too."""

    def __init__(self, broker: Server, payloads: list[tuple[str, bytes]]) -> None:
        self._acknowledged: set[int] = set()
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv311, client_id="steady-sender"
        )
        self._client.reconnect_delay_set(1, 1)
        self._client.on_publish = lambda client, data, mid, code, properties: self._acknowledged.add(mid)
        self._client.max_inflight_messages_set(10)
        self._client.connect("127.0.0.1", broker.port, keepalive=10)
        self._client.loop_start()
        self._payloads = payloads
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def _send(self) -> None:
        for topic, payload in self._payloads:
            self._client.publish(topic, payload, qos=1)
            if self._stop.wait(0.01):
                return

    @property
    def acknowledged(self) -> int:
        return len(self._acknowledged)

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()


class Listener:
    """Hears topics from the moment it is entered: what is retained first, then what comes."""

    def __init__(self, broker: Server, *topics: str) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._port = broker.port
        self._subscribed = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self._client.on_connect = lambda client, *_: client.subscribe([(topic, 1) for topic in topics])
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.on_message = lambda client, data, item: self.heard.append(
            (item.topic, bytes(item.payload))
        )

    def __enter__(self) -> Listener:
        self._client.connect("127.0.0.1", self._port)
        self._client.loop_start()
        wait_until(self._subscribed.is_set, "the broker takes the subscription")
        return self

    def __exit__(self, *error: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def retained(broker: Server, topic: str) -> dict[str, bytes]:
    """What the broker holds now on the topics that the filter matches.

    A marker sent after the subscription comes after all that was held.
    """
    end = (f"tests/{secrets.token_hex(8)}", b"end")
    with Listener(broker, topic, end[0]) as listener:
        send(broker, end)
        wait_until(lambda: end in listener.heard, "the marker comes back")
        return dict(item for item in listener.heard if item != end)


def night_csv(first_ms: int, last_ms: int, step_ms: int = 600_000) -> tuple[str, int]:
    """A logger's file from first to last, both in, in a room of 20 degC and 50 %RH; and its number of rows."""
    rows = ["time,panel [degC],air [degC],air [%RH]"]
    for number, t in enumerate(range(first_ms, last_ms + 1, step_ms)):
        at = datetime.fromtimestamp(t / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S")
        rows.append(
            f"{at},{20 + number % 5 / 100:.2f},{20 + number % 7 / 100:.2f},{50 + number % 3 / 10:.1f}"
        )
    return "\n".join(rows) + "\n", len(rows) - 1


def seconds(start_ms: int, end_ms: int, step_s: int) -> list[int]:
    """UTC seconds from start to end, the last one at the end."""
    return list(range(end_ms // 1000, start_ms // 1000, -step_s))[::-1]
