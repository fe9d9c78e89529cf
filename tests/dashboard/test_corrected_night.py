"""A correction moves the answer, taking it back moves it back; raw readings stay, and each answer names its entries."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from collector.reading import Quantity
from collector.store.reader import Reader
from dashboard.assessment import Assessment
from tests.dashboard.test_watch import MINUTE, START, Shed

OFFSET = {
    "probe": "S1", "serial": "", "quantity": "temperature", "points": [[20.0, 16.0]], "half_width": 0.2, "margin": 10.0,
    "reference": "shop reference 1",
}  # fmt: skip


@pytest.fixture
def shed(tmp_path: Path) -> Iterator[Shed]:
    """A coat mixed at START, two hours at what reads 20 degC."""
    made = Shed(tmp_path)
    made.measured(-30, 121)
    made.register()
    made.clock.at = START + 120 * MINUTE
    made.log("coat mixed", 0, card="invented-25min", applied_at=START, kind="laminate")
    made.round_at(120)
    yield made
    made.readings.close()
    made.logbook.close()
    made.store.close()


def answer(shed: Shed) -> Assessment:
    found = shed.seen.assessment("lid-4")
    assert found is not None
    return found


def raw(folder: Path) -> list[float]:
    reader = Reader.open(folder / "readings.db")
    try:
        return reader.samples("S1", Quantity.TEMPERATURE, 0, 2**62)[1].tolist()
    finally:
        reader.close()


def test_the_verdict_moves_when_a_correction_is_entered_and_back_when_it_is_taken_back(
    shed: Shed, tmp_path: Path
) -> None:
    """4 K too warm all night: the coat is behind what it seemed. At once, within the same minute."""
    before, readings = answer(shed), raw(tmp_path)
    entry = shed.log("correction entered", -60, "", **OFFSET)
    shed.round_at(120)
    moved = answer(shed)
    assert moved.panel_C == pytest.approx(16.0)
    assert moved.corrections == (entry,)
    assert moved.conversion is not None
    assert before.conversion is not None
    assert moved.conversion[1] < before.conversion[1]
    assert (moved.verdict, moved.milestones) != (before.verdict, before.milestones)
    shed.log("withdrawn", 120, "", event=entry)
    shed.round_at(120)
    assert answer(shed) == before, "to the last bit"
    assert raw(tmp_path) == readings, "raw readings are kept as they are"


def test_a_back_dated_correction_changes_only_what_was_read_since(shed: Shed) -> None:
    """From the sixtieth minute on: the curve before it stays to the last bit."""
    before = answer(shed)
    shed.log("correction entered", 60, "", **OFFSET)
    shed.round_at(120)
    after = answer(shed)
    assert before.curve is not None
    assert after.curve is not None
    early = [i for i, at in enumerate(before.curve.t) if at < START + 50 * MINUTE]
    assert early
    assert [after.curve.panel_C[i] for i in early] == [before.curve.panel_C[i] for i in early]
    assert after.panel_C == pytest.approx(16.0)


def test_a_probe_that_is_known_better_gives_a_narrower_range(shed: Shed) -> None:
    """No offset at all, but a half-width of 0.1 K where the maker says 0.8 narrows the range; 3 K widens it."""

    def width() -> float:
        found = answer(shed).conversion
        assert found is not None
        return found[2] - found[0]

    stated = width()
    right = OFFSET | {"points": [[20.0, 20.0]]}
    better = shed.log("correction entered", -60, "", **right | {"half_width": 0.1})
    shed.round_at(120)
    known = width()
    shed.log("withdrawn", 120, "", event=better)
    shed.log("correction entered", -60, "", **right | {"half_width": 3.0})
    shed.round_at(120)
    assert known < stated < width()


def test_past_its_margin_a_correction_is_used_with_a_word_and_as_the_maker_states_it(shed: Shed) -> None:
    """Checked at 30 degC for 5 K around: at 20 degC it still counts, the range is the maker's, and it says so."""
    stated = answer(shed)
    far = OFFSET | {"points": [[30.0, 30.0]], "half_width": 0.1, "margin": 5.0}
    shed.log("correction entered", -60, "", **far)
    shed.round_at(120)
    found = answer(shed)
    assert found.verdict.why[-1].key == "why_beyond_correction"
    assert found.conversion == stated.conversion
    shed.log("correction entered", -60, "", **far | {"margin": 10.0})
    shed.round_at(120)
    assert "why_beyond_correction" not in [say.key for say in answer(shed).verdict.why]
