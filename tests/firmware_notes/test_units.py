"""The systemd units: what they promise, and what systemd itself says of them where it is on the machine."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from collector.supervise import HANGS_S, LONG_START_S, STARTS_S
from dashboard.cli import parser

UNITS = Path(__file__).parents[2] / "firmware_notes" / "systemd"
SERVICES = sorted(UNITS.glob("*.service"))
NAMES = ("collect", "watch", "serve", "forward", "notify")


def lines(path: Path) -> dict[str, list[str]]:
    """Key to values of one unit; a key may come several times."""
    found: dict[str, list[str]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        if "=" in line and not line.startswith("#"):
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


def test_there_is_one_for_each_process_and_the_target_wants_those_that_every_shop_has() -> None:
    assert {path.stem.removeprefix("coldshed-") for path in SERVICES} == set(NAMES)
    assert lines(UNITS / "coldshed.target")["Wants"] == [
        " ".join(f"coldshed-{name}.service" for name in ("collect", "watch", "serve"))
    ]


@pytest.mark.parametrize("path", SERVICES, ids=lambda path: path.stem)
def test_each_is_told_of_is_started_again_always_and_may_write_one_folder(path: Path) -> None:
    """Type=notify with the watchdog of `coldshed run`; a start may take as long as there."""
    unit = lines(path)
    assert unit["Type"] == ["notify"]
    assert unit["Restart"] == ["always"]
    assert unit["StartLimitIntervalSec"] == ["0"]
    assert unit["WatchdogSec"] == [f"{HANGS_S:.0f}"]
    name = path.stem.removeprefix("coldshed-")
    assert unit["TimeoutStartSec"] == [f"{LONG_START_S.get(name, STARTS_S):.0f}"]
    assert unit["StateDirectory"] == ["coldshed"]
    assert unit["WorkingDirectory"] == ["/var/lib/coldshed"]
    assert unit["ProtectSystem"] == ["strict"]
    assert unit["NoNewPrivileges"] == ["yes"]
    assert unit["User"] == ["coldshed"]
    program, command = unit["ExecStart"][0].split()
    assert program.endswith("/coldshed")
    assert parser().parse_args([command]).does in (f"processes:{name}", f"notices:{name}")


def test_only_collect_reaches_serial_ports_and_is_the_last_to_go_when_memory_runs_out() -> None:
    """Row B70: what the kernel kills for want of memory is another process, and all are started again."""
    collect = lines(UNITS / "coldshed-collect.service")
    assert "char-ttyUSB rw" in collect["DeviceAllow"]
    assert int(collect["OOMScoreAdjust"][0]) < 0
    for name in NAMES[1:]:
        unit = lines(UNITS / f"coldshed-{name}.service")
        assert unit["PrivateDevices"] == ["yes"]
        assert "OOMScoreAdjust" not in unit


@pytest.fixture
def analyze(tmp_path: Path) -> str:
    """systemd-analyze, with the units beside each other; ours start a program that is on this machine."""
    program = shutil.which("systemd-analyze")
    if program is None:
        pytest.skip("systemd-analyze is not on this machine: the units are only read, not verified")
    for path in UNITS.glob("coldshed*"):
        text = path.read_text(encoding="utf-8")
        (tmp_path / path.name).write_text(text.replace("/opt/coldshed/.venv/bin/coldshed", sys.executable))
    return program


def test_systemd_verifies_them_and_finds_them_well_shut(tmp_path: Path, analyze: str) -> None:
    """`systemd-analyze verify`, then its exposure level: 10 is open to all, up to 2.5 is what we hold ourselves to."""
    units = [str(path) for path in tmp_path.glob("coldshed*")]
    verified = subprocess.run([analyze, "verify", *units], capture_output=True, text=True, check=False)
    assert (verified.returncode, verified.stdout, verified.stderr) == (0, "", "")
    for path in tmp_path.glob("*.service"):
        words = [analyze, "security", "--offline=yes", "--threshold=25", str(path)]
        level = subprocess.run(words, capture_output=True, text=True, check=False)
        assert level.returncode == 0, level.stdout
