"""The trials of tests/dashboard/test_unsure_time.py, many of them."""

from __future__ import annotations

from tests.dashboard.test_unsure_time import said_across_cuts


def test_no_yes_across_200_cuts_that_the_true_times_would_not_give() -> None:
    assert said_across_cuts(range(200)) > 40
