"""What serve sees of a panel is what watch sees, and where nothing is registered a probe's own place will do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from collector.reading import Quantity, Reading
from dashboard.follow import Follower
from dashboard.live import Live, facts_of, no_card
from dashboard.spots import spots
from tests.browser.fake_shop import MINUTE, NOW, PROBES, open_shop


def test_serve_follows_what_comes_and_what_is_said_of_it(tmp_path: Path) -> None:
    """The same facts as a follower that starts anew, before and after a reading comes."""
    shop = open_shop(tmp_path, heard=True)
    try:
        live = Live(tmp_path / "readings.db", shop.logbook, no_card)
        panel = shop.logbook.panels()["lid-4"]
        first = live.facts(panel, NOW)
        assert first.surface is not None
        assert first.surface.samples.value[-1] == 0.4
        shop.read(Reading("S1", Quantity.TEMPERATURE, 7.5, NOW + MINUTE, NOW + MINUTE))
        second, fresh = live.facts(panel, NOW + MINUTE), Follower(tmp_path / "readings.db", NOW + MINUTE)
        fresh.refresh()
        for made in (second, facts_of(panel, fresh, no_card)):
            assert made.surface is not None
            assert made.surface.samples.value[-1] == 7.5
            assert len(made.surface.samples) == len(first.surface.samples) + 1
    finally:
        shop.close()


def test_spots_are_the_open_panels_and_every_probe_with_the_air_beside_it(tmp_path: Path) -> None:
    shop = open_shop(tmp_path)
    try:
        panels = shop.logbook.panels()
        panels["box-a"] = replace(panels["box-a"], closed=True)
        found = {spot.id: spot for spot in spots(panels, PROBES)}
    finally:
        shop.close()
    assert "panel:box-a" not in found
    assert found["panel:lid-4"].is_panel
    beside, air = found["probe:S2"].panel, found["probe:A1"].panel
    assert (beside.surface_probe, beside.air_probe, beside.coats) == ("S2", "A1", ())
    assert (air.surface_probe, air.air_probe) == (None, "A1")
