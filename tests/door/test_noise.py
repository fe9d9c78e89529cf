"""Who sends what is no request, or asks for what there is not, fills no log: against the running server."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.door.delays import Seldom
from dashboard.door.wire import Wire, config_for
from tests.browser.serving import Served, free_port
from tests.door.house import Hand, open_house
from tests.door.test_attacks import raw

TIMES = 10


def test_what_cannot_be_read_is_told_once_a_minute_and_a_wish_for_websockets_never(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
    caplog: pytest.LogCaptureFixture,
) -> None:
    """ASVS 16.3.3: lines for each request would be a way to fill a disk for whoever reaches us. With serve's levels."""
    hand = Hand()
    monkeypatch.setattr(Wire, "refusals", Seldom(60, hand))
    house = open_house(tmp_path, port=free_port())
    served = Served(house.shop.app, house.shop.port, log_level=config_for(None, "", 0).log_level)
    own = f"Host: 127.0.0.1:{house.shop.port}\r\n"
    wish = f"GET /door HTTP/1.1\r\n{own}Upgrade: websocket\r\nConnection: Upgrade, close\r\n\r\n".encode()
    for _ in range(TIMES):
        assert raw(house, b"GET\r\n\r\n").startswith(b"HTTP/1.1 400 ")
        assert raw(house, wish).startswith(b"HTTP/1.1 200 ")
    hand.at += 61
    raw(house, b"GET\r\n\r\n")
    served.stop()
    house.close()
    told = [record.getMessage() for record in caplog.records if record.name == "coldshed.door"]
    assert told == ["refused: 400 before it was a request · 127.0.0.1"] * 2
    said = capfd.readouterr().err.lower()
    assert not [
        line for line in said.splitlines() if "upgrade" in line or "websocket" in line or "invalid" in line
    ]
