"""What came while we were away is told from what happens now by a marker of our own."""

from __future__ import annotations

import re

import pytest

from collector.sources.backlog import WAIT_S, Backlog


def test_a_new_session_has_no_backlog():
    backlog = Backlog()
    backlog.begin(False, 100.0)
    assert backlog.over(100.0)
    assert not backlog.missed


def test_a_resumed_session_has_one_until_its_marker_comes_back():
    backlog = Backlog()
    marker = backlog.begin(True, 100.0)
    assert not backlog.over(100.0)
    backlog.echo(b"something else")
    assert not backlog.over(100.1)
    backlog.echo(marker)
    assert backlog.over(100.2)
    assert not backlog.missed


def test_a_marker_of_an_earlier_connection_says_nothing():
    backlog = Backlog()
    earlier = backlog.begin(True, 100.0)
    assert backlog.begin(True, 101.0) != earlier
    backlog.echo(earlier)
    assert not backlog.over(101.0)


def test_a_marker_that_does_not_return_is_told_and_not_waited_for_longer():
    backlog = Backlog()
    marker = backlog.begin(True, 100.0)
    assert not backlog.over(100.0 + WAIT_S - 0.01)
    assert backlog.over(100.0 + WAIT_S)
    assert backlog.missed
    backlog.echo(marker)
    assert not backlog.missed


def test_a_marker_cannot_be_guessed():
    assert re.fullmatch(rb"[0-9a-f]{32}", Backlog().begin(True, 0.0))
    assert len({Backlog().begin(True, 0.0) for _ in range(50)}) == 50


@pytest.mark.parametrize("payload", [b"", b"0" * 32])
def test_an_empty_backlog_needs_no_marker(payload: bytes):
    backlog = Backlog()
    backlog.echo(payload)
    assert backlog.over(0.0)
