"""`coldshed check` on ports, folders and brokers: real pseudo-terminals and a real Mosquitto with users and an ACL."""

from __future__ import annotations

import os
import secrets
import socket
import subprocess
import threading
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

from collector.settings import MqttSource, Settings, parse
from dashboard.cli import broker_answer
from dashboard.cli.check_wires import (
    folder_finding,
    mqtt_findings,
    one_wire_findings,
    open_by,
    port_findings,
    replay_finding,
    source_findings,
)
from tests.certificates import Authority
from tests.collector.shops import folder, serial, shop
from tests.dashboard.cli.test_check import found
from tests.services import Server, find, free_port, mosquitto, running


@pytest.fixture
def port() -> Iterator[str]:
    """The far end of a pseudo-terminal that nobody has open."""
    master, slave = os.openpty()
    name = os.ttyname(slave)
    os.close(slave)
    yield name
    os.close(master)


def test_a_port_that_is_there_and_ours_is_fine(port: str, tmp_path: Path) -> None:
    assert "is there" in found(port_findings("source usb", port, links=tmp_path), "ok")


def test_a_port_that_is_missing_or_no_port_is_told(tmp_path: Path) -> None:
    assert "is not there" in found(port_findings("source usb", str(tmp_path / "ttyUSB0")), "WRONG")
    (tmp_path / "file").touch()
    assert "not a serial port" in found(port_findings("source usb", str(tmp_path / "file")), "WRONG")


def test_a_port_that_this_user_may_not_open_comes_with_the_group_to_join(port: str) -> None:
    text = found(port_findings("source usb", port, may=lambda path, mode: False), "WRONG")
    assert "sudo usermod -aG" in text


def test_a_name_that_changes_with_replugging_comes_with_one_that_does_not(port: str, tmp_path: Path) -> None:
    (tmp_path / "by-id").mkdir()
    stable = tmp_path / "by-id" / "usb-invented"
    stable.symlink_to(port)
    assert f'port = "{stable}"' in found(port_findings("source usb", port, links=tmp_path), "note")
    assert found(port_findings("source usb", str(stable), links=tmp_path), "ok")


def test_b10_a_second_program_on_the_port_is_named(port: str, tmp_path: Path) -> None:
    """Ours does not count: collect is to have it open."""
    with open(port, "rb", buffering=0):  # a device, held open as a terminal program holds it
        assert [pid for pid, _ in open_by(port)] == [os.getpid()]
        text = found(port_findings("source usb", port, links=tmp_path), "WRONG")
        assert f"process {os.getpid()}" in text
        assert found(port_findings("source usb", port, links=tmp_path, ours=os.getpid()), "WRONG") == ""
    assert open_by(port) == []


def test_a_watched_folder_is_missing_not_ours_or_holds_refused_files(tmp_path: Path) -> None:
    inbox = tmp_path / "inbox"
    assert "not there yet" in found([folder_finding("source logger", inbox)], "note")
    (inbox / "refused").mkdir(parents=True)
    assert found([folder_finding("source logger", inbox)], "ok")
    refused = folder_finding("source logger", inbox, may=lambda path, mode: False)
    assert "may write" in found([refused], "WRONG")
    (inbox / "refused" / "night.csv.report.txt").touch()
    assert "1 files lie in" in found([folder_finding("source logger", inbox)], "note")


def test_each_source_of_the_shipped_example_is_looked_at(tmp_path: Path) -> None:
    """Nothing of it is on this machine: every one is told, whatever its kind."""
    example = parse(
        files("collector").joinpath("example.toml").read_text("utf-8"), tmp_path / "coldshed.toml"
    )
    broken = [item.what.split(":")[0] for item in source_findings(example) if item.level != "ok"]
    assert set(broken) >= {
        f"source {source.id}" for source in example.source if not isinstance(source, MqttSource)
    }


def test_each_source_of_the_settings_is_looked_at(tmp_path: Path) -> None:
    settings = shop(tmp_path, serial("/dev/nowhere"), folder())
    lines = [item.what for item in source_findings(settings)]
    assert [line.split(":")[0] for line in lines] == ["source usb", "source logger"]


ACL = """
user collect
topic read shed/#
topic readwrite coldshed/+/collector/#
"""


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A broker that knows the user collect, with the password that lies beside it."""
    place = tmp_path_factory.mktemp("broker")
    (place / "secret").write_text(secrets.token_hex(8) + "\n")
    users = place / "users"
    users.touch(0o600)
    words = ["-b", str(users), "collect", (place / "secret").read_text().strip()]
    subprocess.run([find("mosquitto_passwd"), *words], check=True, capture_output=True)
    (place / "acl").write_text(ACL)
    (place / "acl").chmod(0o600)
    server = mosquitto(place, more=f"password_file {users}\nacl_file {place}/acl\n")
    conf = place / "mosquitto.conf"
    conf.write_text(conf.read_text().replace("allow_anonymous true", "allow_anonymous false"))
    with running(server):
        yield server


def mqtt_table(port: int, login: str) -> str:
    return (
        f'[[source]]\nid = "broker"\nkind = "mqtt"\nhost = "127.0.0.1"\nport = {port}\n{login}'
        'topic = ["shed/#"]\n[source.decode]\nkind = "senml"\n'
    )


def asked(broker: Server, user: str | None, password: str | None = "secret") -> str:
    """What is wrong with a source that asks this broker so."""
    login = f'user = "{user}"\npassword_file = "{password}"\n' if user else ""
    settings: Settings = shop(broker.folder, mqtt_table(broker.port, login))
    (source,) = settings.source
    assert isinstance(source, MqttSource)
    return found(mqtt_findings(settings, source), "WRONG")


def test_a_broker_that_lets_us_in_is_fine(broker: Server) -> None:
    assert asked(broker, "collect") == ""


def test_a_wrong_password_or_none_is_told(broker: Server) -> None:
    (broker.folder / "wrong").write_text("not this one")
    for user, password in (("collect", "wrong"), ("nobody", "secret"), (None, None)):
        assert "does not let us in (Not authorized)" in asked(broker, user, password)
    assert "password_file" in asked(broker, "collect", "missing")


def test_a_broker_over_tls_is_asked_over_tls_and_a_wrong_file_is_told(tmp_path: Path) -> None:
    authority = Authority(tmp_path / "authority")
    certificate, key = authority.sign("broker")
    secure = f"certfile {certificate}\nkeyfile {key}\n"
    with running(mosquitto(tmp_path / "broker", more=secure)) as server:

        def said(login: str, kind: str = "WRONG") -> str:
            settings = shop(tmp_path, mqtt_table(server.port, login))
            (source,) = settings.source
            assert isinstance(source, MqttSource)
            return found(mqtt_findings(settings, source), kind)

        assert "answers and lets us in" in said('ca_file = "authority/invented-authority.pem"\n', "ok")
        assert "name its ca_file" in said("")
        assert "holds no certificate" in said('ca_file = "broker/mosquitto.conf"\n')
        assert "cannot be read" in said('ca_file = "nowhere"\n')
        other = Authority(tmp_path, "other")
        assert "not signed by the authority" in said(f'ca_file = "{other.file.name}"\n')


def test_b40_a_topic_that_the_broker_refuses_is_told() -> None:
    """SUBACK 0x87, MQTT 5 section 3.9.3. Mosquitto with an ACL file grants every subscription and then sends nothing:
    there it shows as a probe that was never heard."""
    with BrokerThatRefuses() as refusing:
        table = shop(Path(), mqtt_table(refusing.port, ""))
        (source,) = table.source
        assert isinstance(source, MqttSource)
        text = found(mqtt_findings(table, source), "WRONG")
    assert "refuses the topic shed/# (Not authorized)" in text
    assert "ACL" in text


class BrokerThatRefuses:
    """As much of MQTT 5 as a broker needs that lets anyone in, refuses every topic and takes every message."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._serve)
        self._thread.start()

    def _serve(self) -> None:
        link, _ = self._server.accept()
        with link:
            while head := link.recv(1):
                body = link.recv(link.recv(1)[0], socket.MSG_WAITALL)
                match head[0] >> 4:
                    case 1:  # CONNECT: CONNACK, success, no properties
                        link.sendall(b"\x20\x03\x00\x00\x00")
                    case 8:  # SUBSCRIBE: SUBACK with the packet's number, not authorized
                        link.sendall(b"\x90\x04" + body[:2] + b"\x00\x87")
                    case 3:  # PUBLISH at QoS 1: PUBACK, with the number that follows the topic
                        at = 2 + int.from_bytes(body[:2], "big")
                        link.sendall(b"\x40\x02" + body[at : at + 2])

    def __enter__(self) -> BrokerThatRefuses:
        return self

    def __exit__(self, *error: object) -> None:
        self._thread.join(20)
        self._server.close()


def test_a_marker_that_may_not_be_published_is_told_with_the_line_to_add(
    broker: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dashboard.cli.check_wires.echo_topic", lambda site, source: "elsewhere/echo")
    assert "topic readwrite elsewhere/echo" in asked(broker, "collect")


def test_a_broker_that_is_away_or_does_not_talk_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing listens; or something takes the connection and says nothing."""
    monkeypatch.setattr(broker_answer, "PATIENCE_S", 0.3)
    port = free_port()
    away = Server(tmp_path, [], port)
    assert "does not answer" in asked(away, None)
    with socket.create_server(("127.0.0.1", port)):
        assert "no answer to connect" in asked(away, None)


def test_one_wire_devices_that_are_missing_are_named(tmp_path: Path) -> None:
    devices = ["28-00000000ab01", "28-00000000ab02"]
    assert "load the one-wire driver" in found(
        one_wire_findings("source pins", tmp_path / "none", devices), "WRONG"
    )
    (tmp_path / devices[0]).mkdir()
    text = found(one_wire_findings("source pins", tmp_path, devices), "WRONG")
    assert devices[1] in text
    assert devices[0] not in text
    (tmp_path / devices[1]).mkdir()
    assert "all 2 devices" in found(one_wire_findings("source pins", tmp_path, devices), "ok")


def test_a_recording_that_is_missing_or_none_is_told(tmp_path: Path) -> None:
    file = tmp_path / "night.rec"
    assert "No such file" in found([replay_finding("source last-night", file)], "WRONG")
    file.write_text("time,panel\n", encoding="utf-8")
    assert "no recording" in found([replay_finding("source last-night", file)], "WRONG")
    file.write_text('{"recording": 1}\n', encoding="utf-8")
    assert "is a recording" in found([replay_finding("source last-night", file)], "ok")
