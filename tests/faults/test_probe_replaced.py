"""Row 66: a probe's device is replaced in mid-cure."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector.reading import Quantity, Reading
from dashboard.devices import probe_logs
from dashboard.entries import rail
from tests.dashboard.test_watch import MINUTE, START, Shed


def test_b66_a_probe_replaced_in_mid_cure_goes_on_as_one_series_with_a_new_correction_and_a_mark(
    tmp_path: Path,
) -> None:
    """The old device read right, the new one reads 2 K high: one channel, no gap, no step, a mark at the change."""
    shed = Shed(tmp_path)
    shed.measured(-30, 60)
    shed.readings.commit(
        [
            Reading("S1", Quantity.TEMPERATURE, 22.0, START + m * MINUTE, START + m * MINUTE)
            for m in range(62, 121)
        ]
    )
    shed.register()
    shed.clock.at = START + 120 * MINUTE
    shed.log("coat mixed", 0, card="invented-25min", applied_at=START, kind="laminate")
    shed.log("device replaced", 61, "", probe="S1", serial="X7")
    entry = shed.log(
        "correction entered", 61, "", probe="S1", serial="X7", quantity="temperature", points=[[22.0, 20.0]],
        half_width=0.2, margin=10.0, reference="shop reference 1",
    )  # fmt: skip
    shed.round_at(120)
    found = shed.seen.assessment("lid-4")
    assert found is not None
    assert found.curve is not None
    measured = [value for value in found.curve.panel_C if value is not None]
    assert measured == pytest.approx([20.0] * len(measured))
    assert (found.missing_h, found.corrections) == (0.0, (entry,))
    events = shed.logbook.events()
    marks = rail(shed.logbook.panels()["lid-4"], probe_logs(events))
    assert (START + 61 * MINUTE, "probe") in [(mark.at, mark.label) for mark in marks]
    for file in (shed.readings, shed.logbook, shed.store):
        file.close()
