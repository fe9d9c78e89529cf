"""What a what-if's fields mean: steps, times of day, when heat is proposed, and when it would run alone."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from dashboard.asked import NotAsked, Question, question, unattended
from dashboard.display import View
from dashboard.suppose import Goal, Plan
from model.resin_card import Milestone
from tests.browser.fake_shop import ZONE, utc
from tests.dashboard.night_shop import HOUR, MINUTE, NOW

LEAVE = 22 * 60


def view(at: int = NOW, unit: str = "degC") -> View:
    return View(ZoneInfo(ZONE), unit, at)


def ask(gel_ms: int | None = None, at: int = NOW, unit: str = "degC", **asked: str) -> Question:
    fields = {key.rstrip("_"): text for key, text in asked.items()}
    return question(fields, view(at, unit), LEAVE, gel_ms, ["invented-25min"])


@pytest.mark.parametrize(
    ("begin", "end", "alone"),
    [
        ("2026-11-25 19:30", "2026-11-25 21:00", False),
        ("2026-11-25 19:30", "2026-11-25 21:01", True),
        ("2026-11-25 22:00", "2026-11-25 23:00", True),
        ("2026-11-26 02:00", "2026-11-26 04:30", True),
        ("2026-11-26 05:00", "2026-11-26 09:00", False),
    ],
)
def test_hours_after_leaving_and_before_six_count_as_alone(begin: str, end: str, alone: bool) -> None:
    """The shop's clock is an hour ahead of UTC and people leave at 22:00."""
    assert unattended(Plan(20.0, utc(begin), utc(end), 8.0), view(), LEAVE) is alone


def test_steps_without_scripts_move_a_field_by_one_step() -> None:
    assert ask(step="hold:+1").plan.hold_C == 20.0
    assert ask(hold="20", step="hold:-1").plan.hold_C == 19.0
    assert ask(hold="68", step="hold:+1", unit="degF").plan.hold_C == pytest.approx(69 / 1.8 - 32 / 1.8)
    assert ask(to="22:00", step="to:+1").plan.to_ms == utc("2026-11-25 21:30")
    assert ask(by="08:00", step="by:-1").goal.by_ms == utc("2026-11-26 06:30")
    assert ask(step="start:+1").plan.start_ms == utc("2026-11-25 19:15")
    assert ask(rise="8", step="rise:+1").plan.rise_K_h == 9.0


def test_heat_is_proposed_after_it_gels_if_somebody_is_still_here_then() -> None:
    assert ask(hold="20").plan.from_ms == utc("2026-11-25 19:15")
    assert ask(utc("2026-11-25 19:50"), hold="20").plan.from_ms == utc("2026-11-25 20:00")
    assert ask(utc("2026-11-25 22:50"), hold="20").plan.from_ms == utc("2026-11-25 19:15")


def test_a_time_just_gone_by_is_not_tomorrows() -> None:
    later = ask(hold="20", from_="20:15", to="22:00", at=NOW + HOUR)
    assert later.plan.from_ms == NOW - NOW % MINUTE + HOUR + 2 * MINUTE
    assert later.plan.to_ms == utc("2026-11-25 21:00")
    with pytest.raises(NotAsked, match="ends before it begins"):
        ask(hold="20", from_="20:15", to="21:00", at=NOW + HOUR)


def test_a_goal_is_asked_by_the_next_such_hour() -> None:
    assert ask(ask="least") == replace(
        ask(), goal=Goal(Milestone.SAND, utc("2026-11-26 07:00")), wants_least=True
    )
    assert ask(at=utc("2026-11-26 04:00")).goal.by_ms == utc("2026-11-26 07:00")
    assert ask(at=utc("2026-11-26 05:30")).goal.by_ms == utc("2026-11-27 07:00")
