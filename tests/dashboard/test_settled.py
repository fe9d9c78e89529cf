"""An answer that goes on from what is settled is the answer worked out from the coat's start, to the last bit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.reading import ProbeFacts, Quantity
from dashboard.assess import assess
from dashboard.course import PanelCourse, follow_panel
from dashboard.facts import Facts
from dashboard.follow import Trace
from dashboard.panel import Coat, Panel, Pot, ThumbTest
from dashboard.settle import settle, settled_by
from dashboard.settled import Assumed, Unsettled
from model.history import HOUR_MS
from model.observation import Word
from tests.dashboard.few_members import few_members as few_members
from tests.dashboard.night import MIXED, card

MINUTE_MS = 60_000
EXAMPLES = 10


@st.composite
def lives(draw: st.DrawFn) -> Facts:
    """Panels with all that a course looks at: gaps, touches, several coats and pots, peel ply, washes, air alone."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    hours = draw(st.integers(4, 90))
    interval = draw(st.sampled_from([60, 120, 600]))
    warmth = draw(st.sampled_from([2.0, 12.0, 24.0]))

    def series(probe: str, quantity: Quantity, mean: float, swing: float, noise: float) -> Trace:
        t = np.arange(MIXED - 30 * HOUR_MS, MIXED + hours * HOUR_MS + 1, 1000 * interval, dtype=np.int64)
        t += random.integers(0, 1000 * interval // 2, len(t))
        for _ in range(random.integers(0, 4)):
            begin = MIXED + random.uniform(-2, hours) * HOUR_MS
            t = t[(t < begin) | (t > begin + random.choice([0.1, 0.5, 3.0, 11.0]) * HOUR_MS)]
        value = (
            mean + swing * np.sin((t - MIXED) / HOUR_MS / 24 * 2 * np.pi) + random.normal(0, noise, len(t))
        )
        facts = ProbeFacts(probe, "shed", "surface", float(interval), 0.8)
        return Trace.of(facts, quantity, t, value, np.zeros(len(t), np.int64))

    chosen = card(draw(st.sampled_from(["invented-25min", "invented-winter"])))
    count = draw(st.integers(1, 3))
    starts = sorted(MIXED + round(random.uniform(0, hours - 1) * HOUR_MS) for _ in range(count - 1))
    coats = tuple(_coat(n, at, random, chosen.id, hours) for n, at in enumerate([MIXED, *starts], start=1))
    panel = Panel(
        "p", "p", "shed", "S1" if draw(st.booleans()) else None, "A1", draw(st.sampled_from(["wood", "floor"])),
        coats, washed_at=draw(st.sampled_from([None, MIXED + 7 * HOUR_MS])),
    )  # fmt: skip
    return Facts(
        panel,
        {chosen.id: chosen},
        series("S1", Quantity.TEMPERATURE, warmth, 4.0, 0.1) if panel.surface_probe else None,
        series("A1", Quantity.TEMPERATURE, warmth - 1, 6.0, 0.1),
        series("A1", Quantity.RELATIVE_HUMIDITY, 75.0, 15.0, 0.5) if draw(st.booleans()) else None,
        1,
    )


def _coat(number: int, at: int, random: np.random.Generator, of: str, hours: int) -> Coat:
    words = (Word.STRINGY, Word.TAPE, Word.TACK_FREE, Word.NAIL_DENTS, Word.DUSTS, Word.GREASY)
    tests = sorted(
        (round(at + random.uniform(0, hours) * HOUR_MS), words[random.integers(len(words))])
        for _ in range(random.integers(0, 3))
    )
    ply = bool(random.random() < 0.3)
    pots = (Pot(at), Pot(at + 40 * MINUTE_MS)) if random.random() < 0.3 else ()
    return Coat(
        number, of, at, at + 20 * MINUTE_MS if random.random() < 0.7 else None, "laminate", f"e{number}", pots,
        peel_ply=ply, peel_ply_off_at=at + 9 * HOUR_MS if ply else None,
        thumb_tests=tuple(ThumbTest(when, (word,), None) for when, word in tests),
    )  # fmt: skip


def course_at(facts: Facts, at: int, assumed: Assumed | None) -> tuple[PanelCourse, Assumed]:
    """As the keeper does: under another assumption all before is worked out anew, from the start."""
    try:
        course = follow_panel(facts, at)
    except Unsettled as reason:
        return follow_panel(replace(facts, settled=None), at), reason.found
    return course, assumed or course.assumed


@settings(max_examples=EXAMPLES, deadline=None)
@given(lives(), st.lists(st.integers(0, 5400), min_size=1, max_size=4))
def test_what_is_settled_changes_no_bit_of_an_answer(facts: Facts, steps: list[int]) -> None:
    """Settled at any hours on the way, in any number of steps; then asked at any time after."""
    assert facts.temperature is not None
    first, last = MIXED + HOUR_MS, int(facts.temperature.samples.t[-1])
    stops = sorted(min(first + step * MINUTE_MS, last) for step in steps)
    going = facts
    for at in stops:
        fresh = assess(facts, at)
        try:
            assert assess(going, at).to_json() == fresh.to_json()
        except Unsettled:
            going = replace(facts, settled=None)
        heard = facts.temperature.last_usable(at)
        assert heard is not None
        if facts.temperature.unheard(at):
            continue
        course, assumed = course_at(going, at, going.settled.assumed if going.settled else None)
        until = settled_by(facts, at)
        if until > course.history.start:
            going = replace(
                facts, settled=settle(replace(facts, settled=course.settled), course, until, assumed)
            )
            if follow_panel(facts, at).assumed.same(assumed):
                assert assess(going, at).to_json() == fresh.to_json()
            else:
                going = replace(facts, settled=None)
