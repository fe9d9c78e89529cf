"""forward.db: cursors that survive, an older version's file taken over, and nothing else taken for zero."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.forward.state import ForwardState, Kept, NotHeld, progress
from collector.store.schema import Locked, StoreError


def test_cursors_ticks_and_refused_lines_are_there_after_a_restart(tmp_path: Path):
    state = ForwardState.open(tmp_path / "forward.db")
    state.acknowledged, state.safe = 17, 12
    assert [state.next_tick(1000), state.next_tick(1000), state.next_tick(5)] == [1000, 1001, 1002]
    state.save([Kept("reading a", "too long"), Kept("reading b", "too wide")], now=7)
    state.trouble("it hangs", 9)
    state.close()
    again = ForwardState.open(tmp_path / "forward.db")
    assert (again.acknowledged, again.safe, again.kept, again.next_tick(3)) == (17, 12, 2, 1003)
    again.close()
    now = progress(tmp_path)
    assert (now.acknowledged, now.kept, now.trouble, now.since) == (17, 2, "it hangs", 9)
    assert now.last_words in ("too long", "too wide")


def test_what_the_server_does_not_have_is_kept_until_it_has(tmp_path: Path):
    state = ForwardState.open(tmp_path / "forward.db")
    item = NotHeld(3, 9, 1000, 2000, 50, 49)
    state.note_not_held(item, held=False)
    assert progress(tmp_path).not_held == state.not_held() == [item]
    state.note_not_held(item, held=True)
    assert progress(tmp_path).not_held == []
    state.close()


def test_an_older_versions_cursor_is_taken_over_once(tmp_path: Path):
    (tmp_path / "forward.cursor").write_text("17\n")
    assert progress(tmp_path).acknowledged == 17
    state = ForwardState.open(tmp_path / "forward.db")
    assert (state.acknowledged, state.safe) == (17, 17)
    state.close()
    assert not (tmp_path / "forward.cursor").exists()
    assert progress(tmp_path).acknowledged == 17


def test_a_cursor_file_of_something_else_is_not_taken_for_zero(tmp_path: Path):
    (tmp_path / "forward.cursor").write_text("nonsense")
    for read in (lambda: progress(tmp_path), lambda: ForwardState.open(tmp_path / "forward.db")):
        with pytest.raises(StoreError, match="delete it to send all again"):
            read()
    (tmp_path / "forward.cursor").unlink()
    ForwardState.open(tmp_path / "forward.db").close()


def test_two_forwarders_do_not_share_a_file(tmp_path: Path):
    state = ForwardState.open(tmp_path / "forward.db")
    with pytest.raises(Locked, match="forward runs already"):
        ForwardState.open(tmp_path / "forward.db")
    state.close()
