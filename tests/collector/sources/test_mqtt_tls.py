"""Brokers that want TLS, a certificate or a password: a real Mosquitto, certificates made for the test."""

from __future__ import annotations

import dataclasses
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from paho.mqtt import publish
from pydantic import ValidationError

from collector.broker_tls import LoginFileError, tls_context
from collector.settings import MqttSource
from tests.certificates import Authority
from tests.collector.sources.listener import TOPIC, Listener
from tests.services import Server, find, free_port, mosquitto, running, wait_until


@dataclasses.dataclass
class House:
    """One broker with listeners of several kinds, and the files to enter by. `server.port` is the one without TLS."""

    server: Server
    authority: Authority
    tls: int
    certificate_wanted: int
    expired: int
    for_another_name: int
    password: Path
    ours: tuple[Path, Path]

    def login(self, port: int, **more: object) -> dict[str, object]:
        return {
            "port": port,
            "user": "collect",
            "password_file": self.password,
            "ca_file": self.authority.file,
            **more,
        }


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    folder = tmp_path_factory.mktemp("tls")
    authority = Authority(folder)
    password, users = folder / "password", folder / "users"
    password.write_text("an invented secret\n")
    users.touch(0o600)
    tool = [find("mosquitto_passwd"), "-b", str(users), "collect", "an invented secret"]
    subprocess.run(tool, check=True, capture_output=True)
    ports = [free_port() for _ in range(4)]
    signed = [
        authority.sign("broker"),
        authority.sign("broker-mutual"),
        authority.sign("broker-expired", days=-1),
        authority.sign("broker-elsewhere", "DNS:elsewhere.invalid"),
    ]
    more = f"password_file {users}\n"
    for port, (certificate, key) in zip(ports, signed, strict=True):
        more += f"listener {port} 127.0.0.1\ncafile {authority.file}\ncertfile {certificate}\nkeyfile {key}\n"
        more += "require_certificate true\n" if port == ports[1] else ""
    server = mosquitto(folder / "broker", more=more)
    conf = server.folder / "mosquitto.conf"
    conf.write_text(conf.read_text().replace("allow_anonymous true", "allow_anonymous false"))
    with running(server):
        yield House(server, authority, *ports, password, authority.sign("collector", "DNS:collector.invalid"))


def heard(house: House, login: dict[str, object]) -> None:
    """A message through TLS comes out of a source with this login."""
    with Listener(house.server, **login).connected() as listener:
        publish.single(
            TOPIC,
            b"one",
            qos=1,
            hostname="127.0.0.1",
            port=house.tls,
            auth={"username": "collect", "password": "an invented secret"},
            tls={"ca_certs": str(house.authority.file)},
        )
        listener.wait_for(b"one")


def test_a_broker_with_tls_and_a_password_is_read(house: House):
    heard(house, house.login(house.tls))


def test_a_broker_that_wants_our_certificate_is_read(house: House):
    certificate, key = house.ours
    heard(house, house.login(house.certificate_wanted, cert_file=certificate, key_file=key))


def refused(house: House, login: dict[str, object]) -> str:
    """What the state says of a broker that cannot be entered so."""
    with Listener(house.server, **login) as listener:
        wait_until(lambda: listener.source.state.startswith("failed"), "the failure in the state")
        return listener.source.state


def test_each_reason_is_told_with_what_to_do(house: House, tmp_path: Path):
    other = Authority(tmp_path, "another-authority").file
    assert "not signed by the authority in ca_file" in refused(house, house.login(house.tls, ca_file=other))
    assert "has expired" in refused(house, house.login(house.expired))
    assert "is for another address" in refused(house, house.login(house.for_another_name))
    elsewhere = house.login(house.for_another_name, host="localhost")
    assert "is for another name" in refused(house, elsewhere)
    assert "name cert_file and key_file" in refused(house, house.login(house.certificate_wanted))
    assert "does not speak TLS at this port" in refused(house, house.login(house.server.port))
    assert "nothing listens there" in refused(house, house.login(free_port()))
    plain = house.login(house.tls)
    del plain["ca_file"]
    assert "if it wants TLS, name its ca_file" in refused(house, plain)


def test_a_wrong_password_is_told(house: House, tmp_path: Path):
    (tmp_path / "wrong").write_text("not this one\n")
    state = refused(house, house.login(house.tls, password_file=tmp_path / "wrong"))
    assert "refuses us" in state
    assert "check user and password_file" in state


@pytest.mark.parametrize("key", ["ca_file", "password_file", "cert_file"])
def test_a_file_that_is_not_there_is_told_with_its_key_and_name(house: House, tmp_path: Path, key: str):
    certificate, own = house.ours
    files = {"cert_file": certificate, "key_file": own, key: tmp_path / "missing"}
    state = refused(house, house.login(house.certificate_wanted, **files))
    assert f"{key} {tmp_path / 'missing'}: cannot be read (No such file or directory)" in state


def test_files_that_hold_something_else_are_told(house: House, tmp_path: Path):
    text, (certificate, key) = tmp_path / "text", house.ours
    text.write_text("not a certificate")
    with pytest.raises(LoginFileError, match="holds no certificate; allowed: PEM"):
        tls_context(source(ca_file=text))
    locked = tmp_path / "locked.key"
    words = ["ec", "-in", key, "-aes256", "-passout", "pass:secret", "-out", locked]
    subprocess.run([find("openssl"), *map(str, words)], check=True, capture_output=True)
    for wrong in (text, house.authority.file, locked):
        with pytest.raises(LoginFileError, match="not a certificate and its own key"):
            tls_context(source(ca_file=house.authority.file, cert_file=certificate, key_file=wrong))


def source(**login: object) -> MqttSource:
    return MqttSource.model_validate(
        {"id": "b", "kind": "mqtt", "host": "x", "topic": ["t"], "decode": {"kind": "senml"}}
        | {key: str(value) for key, value in login.items()}
    )


@pytest.mark.parametrize(
    ("login", "why"),
    [
        ({"password_file": "p"}, "password_file without user"),
        ({"ca_file": "a", "cert_file": "c"}, "go together"),
        ({"ca_file": "a", "key_file": "k"}, "go together"),
        ({"cert_file": "c", "key_file": "k"}, "cert_file without ca_file"),
    ],
)
def test_keys_that_make_no_sense_alone_are_refused(login: dict[str, str], why: str):
    with pytest.raises(ValidationError, match=why):
        source(**login)
