"""From an empty folder to a file that loads, whatever comes in between."""

from __future__ import annotations

import stat
import subprocess
import sys
from pathlib import Path

import pytest

from collector import settings as settings_file
from collector.first_run.draft import draft_path
from collector.first_run.facts import CannotSetUp
from collector.first_run.places import time_zone_here
from collector.first_run.session import SetUp
from collector.settings import SerialSource
from tests.collector.first_run.opened import hear, named, one_probe, set_up
from tests.collector.first_run.opened import opened as opened
from tests.line_sender import line_sender
from tests.services import wait_until


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
