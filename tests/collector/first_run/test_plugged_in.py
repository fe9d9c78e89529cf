"""What set-up finds on real pseudo-terminals, a real Mosquitto and in folders, and what it says of what goes wrong."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
import tty
from pathlib import Path
from types import SimpleNamespace

import pytest
from paho.mqtt import publish

from collector import settings as settings_file
from collector.assigned import Assigned
from collector.clock import SteppedClock
from collector.first_run.draft import draft_path
from collector.first_run.facts import CannotSetUp
from collector.first_run.places import found_ports, port_trouble
from collector.first_run.session import SetUp
from collector.settings import FolderSource, MqttSource
from collector.steady_clock import SteadyClock, this_machine
from tests.certificates import Authority
from tests.collector.first_run.opened import named
from tests.collector.first_run.opened import opened as opened
from tests.line_sender import line_sender
from tests.services import find, mosquitto, running, wait_until


def test_topics_of_senml_and_json_become_sources_that_are_read_alike(opened: SetUp, tmp_path: Path) -> None:
    with running(mosquitto(tmp_path / "broker")) as server:
        opened.name("garage", "Europe/Oslo")
        opened.listen_broker("127.0.0.1", server.port)
        senml = json.dumps(
            [{"bn": "urn:dev:a/", "n": "t", "u": "Cel", "v": 12.5}, {"n": "rh", "u": "%RH", "v": 80}]
        )
        sent = {
            "shed/senml": senml,
            "shed/j1": '{"temp": 54}',
            "shed/j2": '{"temp": 12.1}',
            "shed/j3": '{"temp": 12.9}',
        }
        said_by(server.port, sent, opened, "urn:dev:a", "shed/j1", "shed/j2", "shed/j3")
        for name, unit in (("shed/j1", "degF"), ("shed/j2", "degC"), ("shed/j3", "degC")):
            opened.mean(named(opened, name), "/temp", "temperature", unit)
            opened.assign(named(opened, name), name[-2:], "shed", "surface", 60)
        opened.assign(named(opened, "urn:dev:a"), "A1", "shed", "air", 60)
        loaded = settings_file.load(opened.write())
    sources = {source.id: source for source in loaded.source if isinstance(source, MqttSource)}
    assert sorted(source.topic for source in sources.values()) == [
        ("shed/j1",), ("shed/j2", "shed/j3"), ("shed/senml",)
    ]  # fmt: skip
    units = {
        probe.id: sources[probe.source].decode.model_dump().get("field", [{}])[0].get("unit")
        for probe in loaded.probe
    }
    assert units == {"j1": "degF", "j2": "degC", "j3": "degC", "A1": None}
    names = {probe.id: probe.wire_names for probe in loaded.probe}
    assert names["A1"] == ("urn:dev:a/rh", "urn:dev:a/t")
    assigned = Assigned(loaded)
    assert assigned.refusal("A1", "shed/senml") is None
    assert assigned.refusal("A1", "shed/j1") is not None, "no other device speaks for it"


def said_by(port: int, sent: dict[str, str], session: SetUp, *names: str) -> None:
    """Publishes until all of it was heard twice."""

    def heard() -> bool:
        for topic, payload in sent.items():
            publish.single(topic, payload, qos=1, hostname="127.0.0.1", port=port)
        return {*names} <= {device.name for device in session.devices() if device.every_s is not None}

    wait_until(heard, "all topics are heard")


def test_a_broker_with_a_password_over_tls_and_every_wrong_answer_says_what_is_wrong(
    opened: SetUp, tmp_path: Path
) -> None:
    authority = Authority(tmp_path / "authority")
    certificate, key = authority.sign("broker")
    users = tmp_path / "users"
    users.touch(0o600)
    words = ["-b", str(users), "collect", "an invented secret"]
    subprocess.run([find("mosquitto_passwd"), *words], check=True, capture_output=True)
    more = f"certfile {certificate}\nkeyfile {key}\npassword_file {users}\n"
    server = mosquitto(tmp_path / "broker", more=more)
    conf = tmp_path / "broker" / "mosquitto.conf"
    conf.write_text(conf.read_text().replace("allow_anonymous true", "allow_anonymous false"))

    def state(password: str, ca_file: str = str(authority.file)) -> str:
        way = opened.listen_broker("127.0.0.1", server.port, "collect", password, ca_file)
        wait_until(lambda: opened.ways()[-1].state != "waiting", "the broker's answer")
        said = opened.ways()[-1].state
        if said.startswith("failed"):
            opened.forget(way)
        return said

    opened.name("garage", "Europe/Oslo")
    with running(server):
        assert "refuses us: Not authorized; check user and password" in state("another")
        assert "name its ca_file" in state("an invented secret", "")
        assert "cannot be read" in state("an invented secret", "nowhere.pem")
        assert list(tmp_path.glob("broker-password*")) == [], "a wrong password is forgotten"
        assert state("an invented secret") == "connected"
    secret = tmp_path / "broker-password"
    assert secret.read_text() == "an invented secret\n"
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600
    assert "an invented secret" not in draft_path(tmp_path / "coldshed.toml").read_text()


def test_a_port_that_another_program_has_open_or_nobody_may_read_says_why(
    opened: SetUp, tmp_path: Path
) -> None:
    """An unreadable port: a device file without any permission; root may open it all the same, so it is asked about
    only where this test is not root."""
    with line_sender("S1 T=1") as port:
        held = serial_held(port)
        try:
            assert f"process {held.pid}" in port_trouble(port)
            opened.listen_serial(port)
            wait_until(lambda: "another program has the port open" in opened.ways()[0].state, "it says why")
        finally:
            held.kill()
            held.wait()
            assert held.stdout is not None
            held.stdout.close()
        assert port_trouble(port) == ""
        if os.geteuid() != 0:
            os.chmod(port, 0)
            assert "sudo usermod -aG" in port_trouble(port)
    assert "plug the device in" in port_trouble(str(tmp_path / "ttyUSB0"))


def serial_held(port: str) -> subprocess.Popen[bytes]:
    """Another program that has the port for itself."""
    code = (
        "import sys; from collector.sources.serial_port import open_alone\n"
        "port = open_alone(sys.argv[1], 9600, 1.0); print('open', flush=True); port.read(10**9)\n"
        "import time; time.sleep(60)"
    )
    process = subprocess.Popen([sys.executable, "-P", "-c", code, port], stdout=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stdout.readline() == b"open\n"
    return process


def test_a_port_without_permission_names_the_group_to_join(monkeypatch: pytest.MonkeyPatch) -> None:
    from collector.first_run import places

    monkeypatch.setattr(places.os, "access", lambda path, mode: False)
    with line_sender("S1 T=1") as port:
        text = port_trouble(port)
        group = places.group_of(port)
    assert f"sudo usermod -aG {group} " in text
    assert "sign out and in again" in text


def test_looking_at_ports_opens_none(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Opening restarts many a board: only what a person chose is opened."""

    def opened(*_: object) -> None:
        raise AssertionError("a port was opened")

    monkeypatch.setattr("serial.Serial.open", opened)
    with line_sender("S1 T=1") as port:

        def plugged() -> list[SimpleNamespace]:
            return [
                SimpleNamespace(device=port, description="USB", serial_number="7", subsystem="usb-serial")
            ]

        assert [one.trouble for one in found_ports(plugged, tmp_path)] == [""]


def test_ports_are_named_by_what_survives_replugging_and_empty_ones_are_left_out(tmp_path: Path) -> None:
    (tmp_path / "by-id").mkdir()
    with line_sender("S1 T=1") as one, line_sender("S2 T=1") as two:
        stable = tmp_path / "by-id" / "usb-invented-if00"
        stable.symlink_to(one)

        def plugged() -> list[SimpleNamespace]:
            return [
                SimpleNamespace(
                    device=one, description="USB serial", serial_number="7", subsystem="usb-serial"
                ),
                SimpleNamespace(device=two, description="n/a", serial_number=None, subsystem="pnp"),
            ]

        (found,) = found_ports(plugged, tmp_path)
    assert (found.path, found.device, found.what, found.trouble) == (str(stable), one, "USB serial", "")


def test_a_loggers_folder_becomes_probes_by_column_and_two_columns_may_be_one_probe(
    opened: SetUp, tmp_path: Path
) -> None:
    (tmp_path / "inbox").mkdir()
    (tmp_path / "inbox" / "night.csv").write_text("time,T,RH,air T\n2026-01-10 18:20:00,12.5,81,9\n")
    opened.name("garage", "Europe/Oslo")
    opened.look_into("inbox")
    for key, quantity, unit in (("T", "temperature", "degC"), ("RH", "relative_humidity", "%")):
        opened.mean(named(opened, key), key, quantity, unit)
        opened.assign(named(opened, key), "L1", "shed", "air", 60)
    opened.mean(named(opened, "air T"), "air T", "temperature", "degC")
    with pytest.raises(CannotSetUp, match="another probe is called 'L1'"):
        opened.assign(named(opened, "air T"), "L1", "shed", "air", 60)
    loaded = settings_file.load(opened.write())
    (source,) = loaded.source
    assert isinstance(source, FolderSource)
    assert [(field["key"], field["name"]) for field in source.decode.model_dump()["field"]] == [
        ("T", "L1"), ("RH", "L1")
    ]  # fmt: skip
    assert [probe.id for probe in loaded.probe] == ["L1"]


def test_other_speeds_are_tried_while_what_arrives_is_no_text(tmp_path: Path) -> None:
    """A pseudo-terminal has no speed: its bytes are no text at any of them, so the next one is tried each time."""
    master, slave = os.openpty()
    tty.setraw(slave)
    session = SetUp(tmp_path / "coldshed.toml", SteppedClock(0))
    try:
        session.listen_serial(os.ttyname(slave))

        def tried() -> bool:
            os.write(master, bytes(range(128, 256)))
            session.ways()
            return "9600 baud" in session.ways()[0].text

        wait_until(tried, "the second speed")
        assert session.draft.ways[0].model_dump()["baud"] == 9600
    finally:
        session.close()
        os.close(slave)
        os.close(master)


def test_two_devices_on_one_topic_never_become_one_probe(opened: SetUp, tmp_path: Path) -> None:
    with running(mosquitto(tmp_path / "broker")) as server:
        opened.listen_broker("127.0.0.1", server.port)

        def both() -> bool:
            for one, temp in (("a", 12.5), ("b", 21.0)):
                payload = json.dumps({"id": one, "temp": temp})
                publish.single("shed/all", payload, qos=1, hostname="127.0.0.1", port=server.port)
            return opened.devices() != [] and opened.devices()[0].every_s is not None

        wait_until(both, "both are heard")
        opened.mean(opened.devices()[0], "/temp", "temperature", "degC")
        with pytest.raises(CannotSetUp, match=r"several devices \(a, b\)"):
            opened.assign(opened.devices()[0], "S1", "shed", "surface", 10)


def test_one_wire_sensors_are_found_and_become_probes(tmp_path: Path) -> None:
    """The file's bytes are those of firmware_notes/samples."""
    devices, shop = tmp_path / "devices", tmp_path / "shop"
    sample = Path(__file__).parents[3] / "firmware_notes" / "samples" / "w1_slave.txt"
    (devices / "28-00000000ab01").mkdir(parents=True)
    (devices / "28-00000000ab01" / "w1_slave").write_bytes(sample.read_bytes())
    shop.mkdir()
    session = SetUp(shop / "coldshed.toml", SteadyClock(this_machine()), one_wire=devices)
    try:
        session.name("garage", "Europe/Oslo")
        assert session.one_wire()
        session.listen_one_wire()
        assert not session.one_wire(), "it is offered once"
        wait_until(lambda: session.devices() != [], "the sensor is read")
        session.assign(session.devices()[0], "S3", "shed", "surface", 10)
        loaded = settings_file.load(session.write())
    finally:
        session.close()
    assert loaded.probe[0].wire_names == ("28-00000000ab01",)
