"""From an empty folder to a file that loads: real pseudo-terminals, a real Mosquitto, and what goes wrong."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
import tty
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from paho.mqtt import publish

from collector import settings as settings_file
from collector.assigned import Assigned
from collector.clock import SteppedClock
from collector.first_run.draft import draft_path
from collector.first_run.facts import CannotSetUp
from collector.first_run.places import found_ports, port_trouble, time_zone_here
from collector.first_run.session import SetUp
from collector.settings import FolderSource, MqttSource, SerialSource
from collector.steady_clock import SteadyClock, this_machine
from tests.certificates import Authority
from tests.line_sender import line_sender
from tests.services import find, mosquitto, running, wait_until


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[SetUp]:
    session = set_up(tmp_path)
    yield session
    session.close()


def set_up(folder: Path) -> SetUp:
    return SetUp(folder / "coldshed.toml", SteadyClock(this_machine()))


def hear(session: SetUp, *names: str) -> None:
    """Waits until devices of these names have been heard twice."""
    wait_until(
        lambda: {*names} <= {one.name for one in session.devices() if one.every_s is not None},
        f"{names} heard",
    )


def named(session: SetUp, name: str):  # a device
    return next(device for device in session.devices() if device.name == name)


def test_two_probes_on_a_port_become_a_file_that_loads_is_ours_alone_and_is_not_written_over(
    opened: SetUp, tmp_path: Path
) -> None:
    with line_sender("S1 T=54.2 BAT=3.1", "A1 T=53.0 RH=81.2") as port:
        opened.name("garage", "Europe/Oslo")
        opened.listen_serial(port)
        hear(opened, "S1", "A1")
        assert [value.key for value in named(opened, "S1").unsaid] == ["T"], "BAT is no reading by its name"
        with pytest.raises(CannotSetUp, match="say first what T is"):
            opened.assign(named(opened, "S1"), "S1", "shed", "surface", 10)
        opened.mean(named(opened, "S1"), "T", "temperature", "degF")
        opened.mean(named(opened, "A1"), "RH", "relative_humidity", "%")
        assert [round(value.value or 0, 1) for value in named(opened, "A1").values] == [11.7, 81.2]
        opened.assign(named(opened, "S1"), "panel", "warm room", "surface", 10)
        with pytest.raises(CannotSetUp, match="another probe is called 'panel'"):
            opened.assign(named(opened, "A1"), "panel", "shed", "air", 10)
        opened.assign(named(opened, "A1"), "A1", "shed", "air", 10)
        path = opened.write()
    loaded = settings_file.load(path)
    assert (loaded.site, loaded.time_zone) == ("garage", "Europe/Oslo")
    assert [(probe.id, probe.wire_names, probe.zone, probe.place) for probe in loaded.probe] == [
        ("panel", ("S1",), "warm room", "surface"),
        ("A1", ("A1",), "shed", "air"),
    ]
    (source,) = loaded.source
    assert isinstance(source, SerialSource)
    assert source.port == port
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert sorted(item.name for item in tmp_path.iterdir()) == ["coldshed.toml"]
    before = path.read_bytes()
    with pytest.raises(CannotSetUp, match="never written over"):
        set_up(tmp_path)
    assert path.read_bytes() == before


def test_a_file_that_somebody_made_meanwhile_is_not_written_over(opened: SetUp, tmp_path: Path) -> None:
    with line_sender("S1 T=12.5") as port:
        one_probe(opened, port)
        (tmp_path / "coldshed.toml").write_text("mine")
        with pytest.raises(CannotSetUp, match="made meanwhile"):
            opened.write()
    assert (tmp_path / "coldshed.toml").read_text() == "mine"
    assert draft_path(tmp_path / "coldshed.toml").exists(), "nothing that was said is lost"


def one_probe(session: SetUp, port: str) -> None:
    session.name("garage", "Europe/Oslo")
    session.listen_serial(port)
    hear(session, "S1")
    session.mean(named(session, "S1"), "T", "temperature", "degC")
    session.assign(named(session, "S1"), "S1", "shed", "surface", 10)


def test_whoever_leaves_goes_on_with_every_answer(tmp_path: Path) -> None:
    with line_sender("S1 T=12.5") as port:
        first = set_up(tmp_path)
        assert not first.resumed
        one_probe(first, port)
        first.close()
        again = set_up(tmp_path)
        try:
            assert again.resumed
            assert again.missing() == []
            wait_until(lambda: again.devices() != [], "the port is listened to again")
            assert named(again, "S1").probe == ("S1", "shed", "surface")
            again.write()
        finally:
            again.close()
    assert settings_file.load(tmp_path / "coldshed.toml").probe[0].id == "S1"


def test_killed_at_any_moment_there_is_a_whole_file_or_none(tmp_path: Path) -> None:
    """Killed without warning at each call to the disk in turn; what is left loads, or is not there."""
    with line_sender("S1 T=12.5") as port:
        session = set_up(tmp_path)
        one_probe(session, port)
        session.close()
        draft = draft_path(tmp_path / "coldshed.toml").read_text()
    run = subprocess.run(
        [sys.executable, "-P", "-c", KILLED, str(tmp_path), draft], check=True, capture_output=True, text=True
    )
    ends = run.stdout.split()
    assert ends[-1] == "whole", "the last one came to its end"
    assert len(ends) > 5
    written = 0
    for step in range(len(ends)):
        path = tmp_path / str(step) / "coldshed.toml"
        if path.exists():
            assert settings_file.load(path).probe[0].id == "S1"
            written += 1
        else:
            assert set_up_again(path.parent) == "S1"
    assert 1 < written < len(ends), "killed before the file was there, and after"


KILLED = """
import os, signal, sys
from pathlib import Path
from collector.first_run.session import SetUp
from collector.steady_clock import SteadyClock, this_machine

def counted(call, left):
    def wrapped(*args, **more):
        if left[0] == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        left[0] -= 1
        return call(*args, **more)
    return wrapped

for step in range(100):
    folder = Path(sys.argv[1]) / str(step)
    folder.mkdir()
    (folder / "coldshed.toml.draft").write_text(sys.argv[2])
    if (child := os.fork()) == 0:
        session = SetUp(folder / "coldshed.toml", SteadyClock(this_machine()))
        left = [step]
        for name in ("open", "fsync", "link", "unlink", "replace", "rename"):
            setattr(os, name, counted(getattr(os, name), left))
        session.write()
        os._exit(0)
    killed = os.WIFSIGNALED(os.waitpid(child, 0)[1])
    print("killed" if killed else "whole", flush=True)
    if not killed:
        break
"""


def set_up_again(folder: Path) -> str:
    """Goes on after the kill, and writes."""
    session = set_up(folder)
    session.write()
    return settings_file.load(folder / "coldshed.toml").probe[0].id


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


def test_a_draft_that_is_damaged_is_told_and_left(tmp_path: Path) -> None:
    path = draft_path(tmp_path / "coldshed.toml")
    path.write_text("{")
    with pytest.raises(CannotSetUp, match="delete it and begin anew"):
        set_up(tmp_path)
    assert path.read_text() == "{"


@pytest.mark.parametrize(("site", "zone", "said"), [
    ("a/b", "Europe/Oslo", "no / "), ("shed", "Europe/Osl", "did you mean 'Europe/Oslo'"), ("", "UTC", "character"),
])  # fmt: skip
def test_a_name_or_zone_that_cannot_be_says_what_is_allowed(
    opened: SetUp, site: str, zone: str, said: str
) -> None:
    with pytest.raises(CannotSetUp, match=said):
        opened.name(site, zone)
    assert opened.missing()[0] == "name"


def test_a_text_with_quotes_and_backslashes_comes_back_as_it_was(opened: SetUp) -> None:
    """Held against the standard library's own TOML reader, through settings.load."""
    with line_sender('S"1\\ T=12.5') as port:
        opened.name('the "old\\shed" \N{SNOWMAN}', "Europe/Oslo")
        opened.listen_serial(port)
        hear(opened, 'S"1\\')
        opened.mean(opened.devices()[0], "T", "temperature", "degC")
        opened.assign(opened.devices()[0], "S1", "shed", "surface", 10)
        loaded = settings_file.load(opened.write())
    assert loaded.site == 'the "old\\shed" \N{SNOWMAN}'
    assert loaded.probe[0].wire_names == ('S"1\\',)


def test_this_machines_zone_is_proposed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TZ", raising=False)
    (tmp_path / "localtime").symlink_to("/usr/share/zoneinfo/Europe/Oslo")
    assert time_zone_here(tmp_path / "localtime") == "Europe/Oslo"
    monkeypatch.setenv("TZ", ":Asia/Tokyo")
    assert time_zone_here(tmp_path / "localtime") == "Asia/Tokyo"
    monkeypatch.setenv("TZ", "CET-1CEST")
    assert time_zone_here(tmp_path / "none") is None


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
