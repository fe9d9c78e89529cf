"""Twenty invented nights with faults; tests/long replays two hundred."""

from __future__ import annotations

from functools import lru_cache, partial

import numpy as np
import pytest

from dashboard import coat_course
from model.calibration import card_members
from tests.dashboard.alarm_judge import FLOOD, judge
from tests.dashboard.alarm_nights import NAMES, Replay
from tests.dashboard.alarm_scene import scenes

SEED, NIGHTS, PANELS, STEP_MIN = 201, 20, 2, 90
FEWER_MEMBERS = 64
"""When an alarm rings does not hang on the third digit of a range."""


def test_twenty_nights_wake_people_seldom_and_miss_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """At most one waking notice a night in the median and three in the worst, no flood, no chattering, nothing untold.

    Also over two hours without a way out, and with the notifier killed while it sends.
    """
    monkeypatch.setattr(coat_course, "card_members", partial(card_members, n=FEWER_MEMBERS))
    # Kept apart: what few members say of a card must not be remembered for the tests after this one.
    own = lru_cache(maxsize=64)(coat_course._calibrated.__wrapped__)
    monkeypatch.setattr(coat_course, "_calibrated", own)
    found = judge((Replay(scene, STEP_MIN, PANELS).run() for scene in scenes(SEED, NIGHTS)), PANELS)
    assert found.wrong == []
    for name in NAMES:
        assert np.median(found.woken[name]) <= 1
        assert max(found.woken[name]) <= 3
    assert found.most_in_ten < FLOOD
    assert min(found.expected.get(what, 0) for what in ("silent", "forgotten pot", "cold")) > 0
    assert found.kills > 0
    assert found.outages > 0
