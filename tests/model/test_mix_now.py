"""Mix now, mix if, not yet: one reason at a time, each with its limit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from model.mix_now import Answer, Conditions, Topic, mix_advice
from model.what_if import LatestMixing

GOOD = Conditions(
    now_ms=0,
    panel_C=16.0,
    minimum_C=10.0,
    maximum_C=30.0,
    coldest_C=12.0,
    margin_K=6.0,
    surface_rh_pc=62.0,
    bottles_C=22.0,
    wood_moisture_pc=9.0,
    wood_rise_K=0.0,
    latest=LatestMixing(3_600_000, 30_000_000, 32_000_000, 29_000_000),
)


def test_a_dry_mild_evening_is_the_time_to_mix() -> None:
    assert mix_advice(GOOD) == (Answer.MIX_NOW, ())


@pytest.mark.parametrize(
    ("change", "topic", "limit", "answer"),
    [
        ({"panel_C": 8.0}, Topic.PANEL_COLD, 10.0, Answer.NOT_YET),
        ({"panel_C": 33.0}, Topic.PANEL_HOT, 30.0, Answer.NOT_YET),
        ({"coldest_C": 7.0}, Topic.COLD_AHEAD, 10.0, Answer.MIX_IF),
        ({"margin_K": 3.5}, Topic.MARGIN, 4.0, Answer.MIX_IF),
        ({"margin_K": 2.5}, Topic.MARGIN, 4.0, Answer.NOT_YET),
        ({"surface_rh_pc": 88.0}, Topic.SURFACE_RH, 85.0, Answer.NOT_YET),
        ({"margin_K": None, "surface_rh_pc": None}, Topic.NO_HUMIDITY, None, Answer.MIX_IF),
        ({"latest": LatestMixing(None, 30, 40, 50)}, Topic.TOO_LATE, 30, Answer.MIX_IF),
        ({"now_ms": 3_600_001}, Topic.TOO_LATE, 30_000_000, Answer.MIX_IF),
        ({"bottles_C": 14.0}, Topic.BOTTLES, 20.0, Answer.MIX_IF),
        ({"bottles_C": 28.0}, Topic.BOTTLES, 25.0, Answer.MIX_IF),
        ({"wood_moisture_pc": 14.0}, Topic.WOOD_MOISTURE, 12.0, Answer.MIX_IF),
        ({"wood_moisture_pc": 19.0}, Topic.WOOD_MOISTURE, 16.0, Answer.NOT_YET),
        ({"wood_rise_K": 1.0}, Topic.WOOD_WARMS, 0.5, Answer.MIX_IF),
        ({"wood_rise_K": 3.0}, Topic.WOOD_WARMS, 2.0, Answer.NOT_YET),
    ],
)
def test_each_thing_that_is_wrong_is_named_with_its_limit(
    change: dict[str, Any], topic: Topic, limit: float | None, answer: Answer
) -> None:
    got, (reason,) = mix_advice(replace(GOOD, **change))
    assert (got, reason.topic, reason.limit) == (answer, topic, limit)


def test_what_stops_comes_first() -> None:
    answer, reasons = mix_advice(replace(GOOD, bottles_C=14.0, wood_moisture_pc=19.0))
    assert answer is Answer.NOT_YET
    assert [reason.topic for reason in reasons] == [Topic.WOOD_MOISTURE, Topic.BOTTLES]


def test_what_is_not_known_is_not_asked_but_for_the_dew_point() -> None:
    bare = Conditions(now_ms=0, panel_C=16.0, minimum_C=10.0, maximum_C=30.0)
    answer, reasons = mix_advice(bare)
    assert answer is Answer.MIX_IF
    assert [reason.topic for reason in reasons] == [Topic.NO_HUMIDITY]


@pytest.mark.parametrize(
    ("change", "topic", "answer"),
    [
        ({"cloudy": True}, Topic.CLOUDY, Answer.NOT_YET),
        ({"crusted": True}, Topic.CRUSTED, Answer.NOT_YET),
        ({"burnt_ms": 5}, Topic.BURNER, Answer.MIX_IF),
    ],
)
def test_what_somebody_sees_or_smells_counts_without_a_number(
    change: dict[str, Any], topic: Topic, answer: Answer
) -> None:
    """Grainy or cloudy resin, crusted hardener, a burner (common practice, no source)."""
    got, (reason,) = mix_advice(replace(GOOD, **change))
    assert (got, reason.topic) == (answer, topic)
