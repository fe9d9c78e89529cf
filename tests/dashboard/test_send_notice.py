"""Notices through the real Apprise library to a real HTTP server; no address is ever told."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest

from collector.notice_tables import NoticeAddressError, Recipient, addresses
from dashboard.notice_words import Message
from dashboard.send_notice import Apprise
from tests.dashboard.post_box import post_box

MADE = Message("Warm Plug 7 to 12 °C: no cure", "Warm the panel, not the air.\nInvented shed, 22:00")


def test_a_message_arrives_as_it_was_written() -> None:
    with post_box() as box:
        assert Apprise({"Kim": lambda: [box.url]})("Kim", MADE) is None
        assert [(one["title"], one["message"]) for one in box.got] == [(MADE.title, MADE.body)]


def test_a_refusal_and_an_absence_are_told_without_the_address(caplog: pytest.LogCaptureFixture) -> None:
    """Neither the answer nor any log line holds user, password or host: not even the library's own."""
    caplog.set_level(logging.DEBUG)
    with post_box() as box:
        box.answer = 500
        send = Apprise({"Kim": lambda: [box.url], "lamp": lambda: ["nonsense://s3cr3t@somewhere"]})
        refused = send("Kim", MADE)
        box.close()
        away = send("Kim", MADE)
        foreign = send("lamp", MADE)
    assert refused == "address 1 answers 500"
    assert away == "address 1 did not take it"
    assert foreign is not None
    assert "none that the Apprise library knows" in foreign
    for text in (refused, away, foreign, caplog.text):
        assert "s3cr3t" not in text
        assert "127.0.0.1:" + str(box.port) not in text


def test_an_address_that_was_corrected_counts_at_once(tmp_path: Path) -> None:
    """The file is read for each message; one that is missing is told by name, not by what it should hold."""
    to = Recipient(name="Kim", url_file="kim.notice")
    with pytest.raises(
        NoticeAddressError, match=r"notices to Kim: .*kim\.notice cannot be read \(No such file"
    ):
        addresses(to, tmp_path, {})
    (tmp_path / "kim.notice").write_text("# Kim's phone\njson://127.0.0.1:1\n", encoding="utf-8")
    assert addresses(to, tmp_path, {}) == ["json://127.0.0.1:1"]
    (tmp_path / "kim.notice").write_text("\n", encoding="utf-8")
    with pytest.raises(NoticeAddressError, match="no address in"):
        addresses(to, tmp_path, {})
    lamp = Recipient(name="lamp", url_env="LAMP")
    assert addresses(lamp, tmp_path, {"LAMP": "json://127.0.0.1:2"}) == ["json://127.0.0.1:2"]
