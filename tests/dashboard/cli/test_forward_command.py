"""`coldshed forward` sends a night's committed readings to a real time-series server, and it is there in full."""

from __future__ import annotations

import json
import subprocess
import urllib.parse
import urllib.request
from pathlib import Path

from collector.forward.state import progress
from tests.dashboard.cli.test_commands import SCRIPT, SETTINGS, coldshed, night
from tests.services import flush, running, victoria_metrics, wait_until


def test_the_night_is_seen_in_the_servers_own_export(tmp_path: Path) -> None:
    """Imported, forwarded by the command, and every value is in the server's export at its own time."""
    with running(victoria_metrics(tmp_path / "server")) as server:
        text = (
            SETTINGS
            + f'\n[forward]\nurl = "http://127.0.0.1:{server.port}"\nbucket = "shed"\nserver = "victoria-metrics"\n'
        )
        (tmp_path / "coldshed.toml").write_text(text, encoding="utf-8")
        assert coldshed(tmp_path, "import", night(tmp_path), "--source", "logger").returncode == 0
        process = subprocess.Popen([SCRIPT, "forward"], cwd=tmp_path)
        try:
            wait_until(
                lambda: progress(tmp_path / "data").acknowledged > 0, "the first portion is acknowledged", 60
            )
            flush(server)
            query = urllib.parse.urlencode({"match[]": 'reading_value{site="test-shed",probe="L1"}'})
            url = f"http://127.0.0.1:{server.port}/api/v1/export?{query}"
            with urllib.request.urlopen(url, timeout=20) as answer:
                series = [json.loads(line) for line in answer.read().splitlines()]
        finally:
            process.terminate()
            assert process.wait(20) == 0
    assert len(series) == 1
    assert len(series[0]["values"]) == 192
    assert series[0]["timestamps"][0] == 1_768_060_800_000
    assert series[0]["values"][0] == 16.0


def test_without_a_server_in_the_settings_the_command_says_so(tmp_path: Path) -> None:
    """One line, exit code 1, nothing started."""
    (tmp_path / "coldshed.toml").write_text(SETTINGS, encoding="utf-8")
    result = coldshed(tmp_path, "forward")
    assert result.returncode == 1
    assert "[forward]" in result.stderr
