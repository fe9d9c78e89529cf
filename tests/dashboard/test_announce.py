"""Verdicts on a real broker: retained, with the reader's rule, the last will, and a broker that comes back."""

from __future__ import annotations

import base64
import hashlib
import queue
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.broker_tls import LoginFileError
from collector.settings import parse
from collector.sources.mqtt import client_id, machine_id
from dashboard.announce import (
    GONE,
    HERE,
    Announcer,
    Broker,
    read_verdict,
    verdict_payload,
    verdict_topic,
    watch_topic,
)
from dashboard.cli.processes import watch_id
from tests.dashboard.night import HOUR_MS, MIXED, after
from tests.services import Server, mosquitto, running

SITE = "shed"
OWN = "coldshed0123456789abcde"


class Listener:
    """Hears one site's topics on a real broker."""

    def __init__(self, port: int) -> None:
        self.heard: queue.Queue[tuple[str, bytes]] = queue.Queue()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda client, *rest: client.subscribe(f"coldshed/{SITE}/#", qos=1)
        self._client.on_message = lambda client, data, message: self.heard.put(
            (message.topic, message.payload)
        )
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def until(self, topic: str, payload: bytes) -> None:
        """Waits until `topic` holds `payload`; fails after 20 s."""
        while self.heard.get(timeout=20) != (topic, payload):
            continue

    def next(self) -> tuple[str, bytes]:
        return self.heard.get(timeout=20)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Server]:
    with running(mosquitto(tmp_path / "broker")) as server:
        yield server


def test_a_verdict_is_retained_and_told_again_to_a_broker_that_forgot_it(broker: Server) -> None:
    """A broker without memory is restarted: the verdict and "here" come back without a new verdict."""
    item = after(lambda hour: 20.0, 9.0)
    announcer = Announcer(Broker("127.0.0.1", broker.port), SITE, OWN)
    announcer.start()
    announcer.tell_verdict(item, "Wait until 11:00, then sand", ["Likely 06:10."])
    payload = verdict_payload(item, "Wait until 11:00, then sand", ["Likely 06:10."])
    for _ in range(2):
        listener = Listener(broker.port)
        listener.until(verdict_topic(SITE, "lid-4"), payload)
        listener.close()
        broker.kill()
        (broker.folder / "mosquitto.db").unlink(missing_ok=True)
        broker.start()
    announcer.stop()


def test_the_last_will_says_gone_and_so_does_a_good_bye(broker: Server) -> None:
    """Whoever reads the retained verdict learns that nobody renews it any more."""
    announcer = Announcer(Broker("127.0.0.1", broker.port), SITE, OWN)
    announcer.start()
    listener = Listener(broker.port)
    listener.until(watch_topic(SITE), HERE)
    announcer.stop()
    listener.until(watch_topic(SITE), GONE)
    listener.close()


def test_who_guesses_how_watch_is_called_does_not_take_its_connection_over(broker: Server) -> None:
    """MQTT 5, 3.1.4: who comes under a client's id has the one that was there sent away, and its will told."""
    settings = parse(f'site = "{SITE}"\ntime_zone = "Europe/Oslo"\n', Path("coldshed.toml"))
    own = watch_id(settings)
    announcer = Announcer(Broker("127.0.0.1", broker.port), SITE, own)
    announcer.start()
    listener = Listener(broker.port)
    listener.until(watch_topic(SITE), HERE)
    for guess in (
        SITE,
        "watch",
        f"coldshed-{SITE}-watch",
        client_id(SITE, "\0watch", ""),
        client_id(SITE, "watch", machine_id()),
    ):
        guesser = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=guess)
        guesser.connect("127.0.0.1", broker.port)
        guesser.publish("coldshed/shed/guessed", guess)
        guesser.loop_start()
        assert listener.next() == ("coldshed/shed/guessed", guess.encode()), "watch is told to be gone"
        guesser.disconnect()
        guesser.loop_stop()
    assert watch_id(settings) == own, "the same after the next start"
    announcer.stop()
    listener.close()


def test_a_reader_sees_not_known_past_good_until_and_when_watch_is_gone() -> None:
    """The rule of firmware_notes/verdicts.md, on both sides of the time."""
    item = replace(after(lambda hour: 20.0, 9.0), good_until=MIXED + 10 * HOUR_MS)
    payload = verdict_payload(item, "Sand when you like", [])
    assert read_verdict(payload, HERE, item.good_until - 1) == "Sand when you like"
    assert read_verdict(payload, HERE, item.good_until).startswith("Not known")
    assert read_verdict(payload, GONE, item.good_until - 1).startswith("Not known")
    assert read_verdict(payload, None, item.good_until - 1).startswith("Not known")
    with pytest.raises(ValueError, match="not a verdict"):
        read_verdict(b"[]", HERE, 0)


def test_a_password_that_is_put_right_counts_without_a_new_start(tmp_path: Path) -> None:
    """Wrong, then not there at all, then right: the file is read before each connection."""
    users = tmp_path / "users"
    users.write_text(f"watch:{hashed('right')}\n")
    users.chmod(0o600)
    asked: queue.Queue[str] = queue.Queue()
    secrets = iter(["wrong", None])

    def password() -> str:
        secret = next(secrets, "right")
        asked.put(str(secret))
        if secret is None:
            raise LoginFileError("password_file secret: cannot be read")
        return secret

    more = f"password_file {users}\n"
    with running(mosquitto(tmp_path / "broker", more=more)) as server:
        announcer = Announcer(Broker("127.0.0.1", server.port, "watch", password), SITE, OWN)
        announcer.start()
        listener = Listener(server.port)
        listener.until(watch_topic(SITE), HERE)
        announcer.stop()
        listener.close()
    assert [asked.get_nowait() for _ in range(3)] == ["wrong", "None", "right"]


def hashed(password: str) -> str:
    """As mosquitto_passwd writes it: PBKDF2 of SHA-512, 101 rounds."""
    salt = b"twelve bytes"
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, 101)
    return f"$7$101${base64.b64encode(salt).decode()}${base64.b64encode(key).decode()}"


def test_a_broker_that_is_away_stops_nothing(tmp_path: Path) -> None:
    """start() and tell() return at once; stop() ends within its second."""
    announcer = Announcer(Broker("127.0.0.1", 1), SITE, OWN)
    announcer.start()
    announcer.tell("coldshed/shed/x", b"1")
    announcer.stop()
