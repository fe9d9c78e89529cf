"""`coldshed check`: who could speak for a probe, and who could change what decides who comes in."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.cli import check_settings
from tests.collector.shops import probe, serial, shop
from tests.dashboard.cli.test_check import found

BROKER = '[[source]]\nid = "broker"\nkind = "mqtt"\nhost = "127.0.0.1"\ntopic = ["shed/#"]\n'
JSON = 'decode = {{ kind = "json_map", {}field = [{{ key = "/t", quantity = "temperature", unit = "degC" }}] }}\n'
USER = 'user = "collect"\n'


@pytest.mark.parametrize(
    ("source", "told"),
    [
        (USER + 'decode = { kind = "senml" }\n', True),
        ('decode = { kind = "senml" }\n', False),
        (USER + JSON.format('name = "/id", '), True),
        (USER + JSON.format(""), False),
    ],
)
def test_a_probe_that_any_device_of_the_broker_can_speak_for_is_told(
    tmp_path: Path, source: str, told: bool
) -> None:
    """Without users the broker tells no device from another: a topic of its own would promise too much there."""
    with_topic = probe("S2", "broker").replace("interval_s", 'topic = "shed/two"\ninterval_s')
    settings = shop(tmp_path, BROKER + source, probe("S1", "broker"), with_topic)
    text = found(check_settings.topic_findings(settings), "note")
    assert ("can speak for S1:" in text) is told
    assert "S2" not in text


def test_a_folder_that_others_can_change_is_told(tmp_path: Path) -> None:
    settings = shop(tmp_path, serial("/dev/null"))
    settings.data_folder.mkdir(mode=0o750, exist_ok=True)
    assert found(check_settings.door_findings(settings), "WRONG") == ""
    settings.data_folder.chmod(0o757)
    assert f"chmod o-w {settings.data_folder}" in found(check_settings.door_findings(settings), "WRONG")
