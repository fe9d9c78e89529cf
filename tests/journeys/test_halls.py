"""Three sites and one dashboard, all real processes, on one machine; tests/long cuts a site's network besides."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journeys.halls import KINDS, SITES, Everywhere, halls
from tests.journeys.shop import wait_until


@pytest.mark.parametrize("kind", KINDS)
def test_three_sites_with_the_same_probe_are_answered_on_one_dashboard(tmp_path: Path, kind: str) -> None:
    with halls(tmp_path, Everywhere(), kind) as shop:
        wait_until(lambda: all(shop.is_known(site) for site in SITES), "all three panels are answered", 180)
        wait_until(lambda: bool(shop.page("/more/probes")), "serve answers", 120)
        page = shop.page("/more/probes")
        for site in SITES:
            assert f"{site}:S1" in page
            assert f"{site} · shed" in page
        assert "a time-series server cannot hold them" in page
        told = shop.check()
        assert all(f"site {site}: last heard" in told for site in SITES)
        assert all(f"probe {site}:S1: last heard" in told for site in SITES)
        assert shop.alarms("site unheard") == []
        assert not (tmp_path / "office" / "data" / "readings.db").exists(), "nothing is collected there"
