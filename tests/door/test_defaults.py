"""The unlucky defaults: what README, help, notes, example and set-up give to copy, run as it is, reaches nobody else.

Looked at from outside: the sockets on which the processes really listen, as Linux lists them (proc(5)).
"""

from __future__ import annotations

import ipaddress
import os
import re
import socket
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from collector import settings as settings_file
from collector.first_run.draft import Draft
from collector.first_run.text import settings_text
from dashboard.cli import main
from tests.browser.serving import free_port, until
from tests.journeys.shop import Process
from tests.services import Server, find, running

ROOT = Path(__file__).parents[2]
EXAMPLE = Path(settings_file.__file__).with_name("example.toml")
PAGES = [
    ROOT / "README.md",
    *(ROOT / "dashboard" / "help").glob("*.md"),
    *(ROOT / "firmware_notes").rglob("*.md"),
]
HEAD = 'site = "invented"\ntime_zone = "Europe/Oslo"\n'
SOURCE = '[[source]]\nid = "wire"\nkind = "serial"\nport = "/dev/null"\n'
DECODE = 'decode = { kind = "nmea_xdr" }\n'
PROBE = '[[probe]]\nid = "outdoors"\nsource = "wire"\nzone = "out"\nplace = "air"\ninterval_s = 60\n'
"""What a block that is a part of a file takes for granted."""


def listening(pids: set[int]) -> set[tuple[str, int]]:
    """Address and port of every socket of those processes on which something may come in."""
    owned = set()
    for pid in pids:
        for link in (Path("/proc") / str(pid) / "fd").iterdir():
            try:
                owned |= set(re.findall(r"^socket:\[(\d+)\]$", os.readlink(link)))
            except OSError:  # it was closed meanwhile
                continue
    found = set()
    for table, state in (("tcp", "0A"), ("tcp6", "0A"), ("udp", "07"), ("udp6", "07")):
        for line in Path(f"/proc/net/{table}").read_text().splitlines()[1:]:
            cells = line.split()
            if cells[3] == state and cells[9] in owned:
                found.add(_place(cells[1]))
    return found


def _place(text: str) -> tuple[str, int]:
    """Of "0100007F:1F90": each group of four bytes stands in this machine's order."""
    address, _, port = text.partition(":")
    words = [
        int.from_bytes(bytes.fromhex(address[at : at + 8]), "little") for at in range(0, len(address), 8)
    ]
    plain = b"".join(word.to_bytes(4, "big") for word in words)
    return str(ipaddress.ip_address(plain)), int(port, 16)


@contextmanager
def started(folder: Path, *words: str) -> Iterator[Process]:
    process = Process([*words], folder / "log")
    try:
        yield process
    finally:
        if not process.ended:
            process.kill()
        process.clean_up()


def here_alone(process: Process, port: int, least: int = 1) -> None:
    """Waits until something listens at the port and so many processes run; all of it on loopback."""

    def begun() -> bool:
        return len(process.group()) >= least and port in {number for _, number in listening(process.group())}

    until(lambda: begun() or process.ended, "it listens")
    assert not process.ended, process.said()
    found = listening(process.group())
    assert found
    assert {address for address, _ in found if not ipaddress.ip_address(address).is_loopback} == set(), found


def test_sockets_are_told_as_they_are() -> None:
    """What the others rest on: one that is open to everybody is seen to be."""
    with (
        closing(socket.create_server(("0.0.0.0", 0))) as wide,
        closing(socket.create_server(("127.0.0.1", 0))) as here,
    ):
        told = listening({os.getpid()})
        assert {("0.0.0.0", wide.getsockname()[1]), ("127.0.0.1", here.getsockname()[1])} <= told


def test_the_shipped_example_run_as_it_is_listens_on_this_computer_alone(tmp_path: Path) -> None:
    """All processes of `coldshed run`; the port alone is another."""
    port = free_port()
    text = EXAMPLE.read_text(encoding="utf-8")
    assert "port = 8137" in text
    settings = tmp_path / "coldshed.toml"
    settings.write_text(text.replace("port = 8137", f"port = {port}"), encoding="utf-8")
    with started(tmp_path, "run", "--settings", str(settings)) as process:
        here_alone(process, port, least=4)


def test_set_up_in_a_browser_listens_on_this_computer_alone(tmp_path: Path) -> None:
    port = free_port()
    words = ("set-up", "--browser", "--port", str(port), "--settings", str(tmp_path / "coldshed.toml"))
    with started(tmp_path, *words) as process:
        here_alone(process, port)


def blocks() -> Iterator[tuple[str, str]]:
    """Page and text of everything that is shown as settings: fenced, indented, or named in a sentence."""
    for path in PAGES:
        text = path.read_text(encoding="utf-8")
        name = path.relative_to(ROOT).as_posix()
        for block in re.findall(r"^```toml\n(.*?)^```", text, re.DOTALL | re.MULTILINE):
            yield name, block
        for block in re.findall(r"(?:^    \[+[a-z.]+\]+\n(?:^    .*\n)*)", text, re.MULTILINE):
            yield name, re.sub(r"^    ", "", block, flags=re.MULTILINE)
    shown = EXAMPLE.read_text(encoding="utf-8")
    for block in re.findall(r"^# (\[[a-z]+\]\n(?:^# .*\n)*)", shown, re.MULTILINE):
        yield "example.toml", re.sub(r"^# ", "", block, flags=re.MULTILINE)


BLOCKS = list(blocks())


@pytest.mark.parametrize(("page", "block"), BLOCKS)
def test_no_block_that_is_shown_opens_the_pages_to_others(tmp_path: Path, page: str, block: str) -> None:
    decodes_alone = "[source.decode]" in block and "[[source]]" not in block
    rest = SOURCE + block if decodes_alone else block + SOURCE + DECODE + PROBE
    told = settings_file.parse(
        block if block.startswith("site =") else HEAD + rest, tmp_path / "coldshed.toml"
    )
    assert (told.serve.host, told.serve.public_url) == ("127.0.0.1", None)


def test_blocks_were_found_on_several_pages() -> None:
    assert len({page for page, _ in BLOCKS}) >= 4
    assert len(BLOCKS) >= 8


def test_what_set_up_writes_is_for_this_computer_alone(tmp_path: Path) -> None:
    text = settings_text(Draft(site="invented", time_zone="Europe/Oslo"), 8137, "example.toml")
    told = settings_file.parse(text, tmp_path / "coldshed.toml")
    assert (told.serve.host, told.serve.public_url) == ("127.0.0.1", None)


SHOWN = [*PAGES, EXAMPLE, ROOT / "collector" / "first_run" / "text.py"]
OPENS = re.compile(r'(?:host|public_url) = "(?!127\.)[^"{]+"')
OPENING = sorted({line for path in SHOWN for line in OPENS.findall(path.read_text(encoding="utf-8"))})
"""Every line that is shown anywhere and opens the pages, or names a broker elsewhere."""


@pytest.mark.parametrize("line", OPENING)
def test_a_line_that_opens_the_pages_is_refused_until_somebody_has_an_account(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], line: str
) -> None:
    """So that a half-copied line exposes nothing, either."""
    settings = tmp_path / "coldshed.toml"
    settings.write_text(f"{HEAD}[serve]\nport = {free_port()}\n{line}\n", encoding="utf-8")
    assert main(["serve", "--settings", str(settings)]) == 1
    assert "coldshed account add NAME --role manage" in capsys.readouterr().err
    assert not listening({os.getpid()}) - _before


_before = listening({os.getpid()})


def broker(folder: Path, name: str, here: str) -> Server:
    """A real Mosquitto with settings of the notes; port, folders and who it runs as are this test's."""
    text = (ROOT / "firmware_notes" / name).read_text(encoding="utf-8")
    port = free_port()
    assert f"\nlistener 1883{here}\n" in text
    text = text.replace("listener 1883", f"listener {port}").replace("/var/lib/mosquitto/", f"{folder}/")
    (folder / name).write_text(
        text.replace("/etc/mosquitto/", f"{folder}/") + "user root\n", encoding="utf-8"
    )
    return Server(folder, [find("mosquitto"), "-c", str(folder / name)], port)


def test_the_brokers_settings_for_one_machine_are_for_one_machine(tmp_path: Path) -> None:
    with running(broker(tmp_path, "mosquitto.conf", " 127.0.0.1")) as server:
        assert listening({server.pid}) == {("127.0.0.1", server.port)}


def test_the_brokers_settings_for_a_network_start_for_nobody_without_passwords(tmp_path: Path) -> None:
    server = broker(tmp_path, "mosquitto-network.conf", "")
    with pytest.raises(AssertionError, match=r"password|pwfile"):
        server.start()
