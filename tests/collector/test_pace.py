"""How often a commit is made: at once after a quiet time, one in five seconds in the long run."""

from __future__ import annotations

import pytest

from collector.pace import AT_ONCE, COMMIT_EVERY_S, Pace


class Hand:
    """Seconds moved by hand."""

    def __init__(self) -> None:
        self.at = 0.0

    def __call__(self) -> float:
        return self.at


def spent(hand: Hand, rate: float = 1.0) -> Pace:
    """A pace whose allowance is used up."""
    pace = Pace(hand, rate)
    for _ in range(AT_ONCE):
        assert pace.wait() == 0.0
        pace.spend()
    return pace


def test_after_a_quiet_time_commits_are_made_at_once_and_then_one_every_five_seconds() -> None:
    hand = Hand()
    pace = spent(hand)
    for _ in range(100):
        assert pace.wait() == pytest.approx(COMMIT_EVERY_S)
        hand.at += COMMIT_EVERY_S
        assert pace.wait() == pytest.approx(0.0, abs=1e-9)
        pace.spend()


def test_nobody_ever_waits_longer_than_five_seconds_however_many_full_batches_came_before() -> None:
    pace = spent(Hand())
    for _ in range(1000):
        pace.spend()
        assert pace.wait() <= COMMIT_EVERY_S


def test_a_long_silence_gives_no_more_than_the_first_allowance() -> None:
    hand = Hand()
    pace = Pace(hand)
    hand.at += 1e6
    for _ in range(AT_ONCE):
        assert pace.wait() == 0.0
        pace.spend()
    assert pace.wait() > 0.0


def test_a_demo_that_runs_sixty_times_as_fast_waits_a_sixtieth() -> None:
    assert spent(Hand(), rate=60.0).wait() == pytest.approx(COMMIT_EVERY_S / 60.0)
