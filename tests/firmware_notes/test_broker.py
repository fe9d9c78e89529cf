"""A real Mosquitto starts with the settings of the notes, and each user may do what broker.md says and no more."""

from __future__ import annotations

import re
import secrets
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from collector.broker_tls import tls_context
from collector.source_tables import BrokerLogin
from dashboard.cli.broker_answer import BrokerAnswer, ask_broker
from tests.services import Server, find, free_port, running, wait_until

NOTES = Path(__file__).parents[2] / "firmware_notes"
USERS = ("collect", "watch", "lamp", "probe7", "probe8")
PASSWORD = secrets.token_hex(8)
KEEPS = (
    "max_queued_messages 0",
    "max_packet_size 65536",
    "persistent_client_expiration 14d",
    "persistence true",
    "autosave_on_changes false",
    "autosave_interval 60",
)


@pytest.mark.parametrize("name", ["mosquitto.conf", "mosquitto-network.conf"])
def test_both_files_keep_and_each_line_is_explained(name: str) -> None:
    lines = [
        line for line in (NOTES / name).read_text(encoding="utf-8").splitlines() if line and line[0] != "#"
    ]
    assert set(KEEPS) <= set(lines)
    page = (NOTES / "broker.md").read_text(encoding="utf-8")
    for line in lines:
        assert f"`{line.split()[0]}" in page, f"{line} is not explained"
    for line in (NOTES / "mosquitto.acl").read_text(encoding="utf-8").splitlines():
        assert not line or line.startswith(("#", "user ")) or f"`{line}`" in page


class Person:
    """One client of the broker, with what it heard and what it was told."""

    def __init__(self, broker: Server, user: str | None, hears: str = "#") -> None:
        self.heard: list[tuple[str, bytes]] = []
        self.reason: Any = None
        self._told: dict[int, Any] = {}
        self._ready = threading.Event()
        # This broker ends the connection of whoever publishes what the ACL refuses.
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5, reconnect_on_failure=False
        )
        if user:
            self._client.username_pw_set(user, PASSWORD)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.on_message = lambda client, data, item: self.heard.append((item.topic, item.payload))
        self._client.on_publish = lambda client, data, mid, reason, _: self._told.update({mid: reason})
        self.cut_off = False
        self._client.on_disconnect = lambda *_: setattr(self, "cut_off", True)
        self._hears = hears
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()
        assert self._ready.wait(20)

    def _on_connect(self, client: mqtt.Client, _: Any, flags: Any, reason: Any, *__: Any) -> None:
        self.reason = reason
        if reason.is_failure:
            client.disconnect()
            self._ready.set()
        else:
            client.subscribe(self._hears, 1)

    def may_send(self, topic: str, payload: bytes = b"x") -> bool:
        """Whether the broker took it: MQTT 5 tells in the PUBACK, section 3.4.2.1."""
        mid = self._client.publish(topic, payload, qos=1).mid
        wait_until(lambda: mid in self._told, f"an answer about {topic}")
        return not self._told[mid].is_failure

    def send_blindly(self, topic: str, payload: bytes) -> None:
        """Without waiting for an answer; without the client's own regard for the broker's limit."""
        self._client._connect_properties = None
        self._client.publish(topic, payload, qos=0)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def network_broker(folder: Path, listener: str = "listener 1883\n") -> Server:
    """mosquitto-network.conf with its listener or another; port, user and the places of its files are the test's."""
    users = folder / "users"
    users.touch(0o600)
    for user in USERS:
        subprocess.run(
            [find("mosquitto_passwd"), "-b", users, user, PASSWORD], check=True, capture_output=True
        )
    acl = folder / "acl"
    acl.write_text((NOTES / "mosquitto.acl").read_text(encoding="utf-8"))
    acl.chmod(0o600)
    port = free_port()
    text = (NOTES / "mosquitto-network.conf").read_text(encoding="utf-8")
    assert "listener 1883\n" in text
    text = text.replace("listener 1883\n", re.sub(r"listener \d+", f"listener {port} 127.0.0.1", listener))
    text = text.replace("/etc/mosquitto/", f"{folder}/").replace("/var/lib/mosquitto/", f"{folder}/")
    (folder / "mosquitto.conf").write_text(f"user root\n{text}")
    return Server(folder, [find("mosquitto"), "-c", str(folder / "mosquitto.conf")], port)


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with running(network_broker(tmp_path_factory.mktemp("broker"))) as server:
        yield server


def test_the_certificates_of_the_page_are_taken_and_anyone_elses_are_not(tmp_path: Path) -> None:
    """Its commands as they stand, for this machine's address; then asked as coldshed asks."""
    page = (NOTES / "broker.md").read_text(encoding="utf-8")
    _, commands = re.findall(r"```sh\n(.*?)```", page, re.DOTALL)
    (listener,) = re.findall(r"```conf\n(.*?)```", page, re.DOTALL)
    assert "IP:192.0.2.7" in commands, "an address that RFC 5737 keeps for documentation"
    for authority in ("broker", "other"):
        folder = tmp_path / authority
        folder.mkdir()
        script = commands.replace("192.0.2.7", "127.0.0.1")
        subprocess.run(["sh", "-ec", script], cwd=folder, check=True, capture_output=True)
    with running(network_broker(tmp_path / "broker", listener)) as server:
        for authority, way_in in (("broker", True), ("other", False)):
            login = BrokerLogin(host="127.0.0.1", ca_file=str(tmp_path / authority / "ca.pem"))
            answer = ask_broker("127.0.0.1", server.port, "collect", PASSWORD, tls=tls_context(login))
            assert (answer == BrokerAnswer()) is way_in, answer


def test_nobody_gets_in_without_a_password(broker: Server) -> None:
    for user in (None, "stranger"):
        person = Person(broker, user)
        assert str(person.reason) == "Not authorized"
        person.close()


@pytest.mark.parametrize(
    ("user", "topic", "allowed"),
    [
        ("probe7", "shed/probe7/senml", True),
        ("probe7", "shed/probe8/senml", False),
        ("probe7", "coldshed/invented/watch", False),
        ("collect", "coldshed/invented/collector/broker/echo", True),
        ("collect", "shed/probe7/senml", False),
        ("collect", "coldshed/invented/watch", False),
        ("watch", "coldshed/invented/panel/lid/verdict", True),
        ("watch", "shed/probe7/senml", False),
        ("lamp", "coldshed/invented/watch", False),
    ],
)
def test_each_user_may_write_where_the_page_says_and_not_elsewhere(
    user: str, topic: str, allowed: bool, broker: Server
) -> None:
    person = Person(broker, user)
    try:
        assert person.may_send(topic) is allowed
    finally:
        person.close()


def test_a_message_over_the_limit_is_refused_and_its_sender_cut_off(broker: Server) -> None:
    """MQTT 5, 3.1.2.11.4 and reason code 0x95, Packet too large."""
    person, listener = Person(broker, "probe7"), Person(broker, "collect")
    try:
        person.send_blindly("shed/probe7/senml", b"x" * 70_000)
        wait_until(lambda: person.cut_off, "the broker cuts the connection")
        assert listener.heard == []
    finally:
        person.close()
        listener.close()


def test_collect_hears_every_probe_and_a_probe_hears_nobody(broker: Server) -> None:
    people = {user: Person(broker, user) for user in USERS}
    assert people["probe7"].may_send("shed/probe7/senml", b"seven")
    assert people["probe8"].may_send("shed/probe8/senml", b"eight")
    assert people["watch"].may_send("coldshed/invented/watch", b"here")
    wait_until(lambda: len(people["collect"].heard) >= 2, "collect hears both probes")
    wait_until(lambda: bool(people["lamp"].heard), "the lamp hears watch")
    assert {payload for _, payload in people["collect"].heard} == {b"seven", b"eight"}
    assert {payload for _, payload in people["lamp"].heard} == {b"here"}
    assert people["probe7"].heard == people["probe8"].heard == []
    for person in people.values():
        person.close()


def test_the_password_of_the_page_is_not_ours() -> None:
    """Nobody should find a password here that works anywhere."""
    page = (NOTES / "broker.md").read_text(encoding="utf-8")
    assert set(re.findall(r"mosquitto_passwd -b \S+ \S+ (\S+)", page)) == {"SECRET", "ANOTHER"}
