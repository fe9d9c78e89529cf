"""One of three sites is cut off, with `ip netns`: it records on, its panel is not known until it is back."""

from __future__ import annotations

import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from collector.reading import Quantity
from collector.store.reader import Reader
from tests.journeys.halls import KINDS, SITES, Halls, Networks, halls, why_no_networks
from tests.journeys.shop import wait_until

KNOWN_S, CUT_S, BACK_S = 90.0, 420.0, 240.0
"""Waited at most; a site rings as cut after two minutes, within five of the dashboard's start."""


def recorded(shop: Halls, site: str) -> int:
    with closing(Reader.open(shop.readings[site])) as reader:
        return len(reader.samples("S1", Quantity.TEMPERATURE, 0, 2**60)[0])


@pytest.mark.parametrize("kind", KINDS)
def test_a_site_that_is_cut_off_loses_nothing_and_is_never_answered_for(tmp_path: Path, kind: str) -> None:
    if why := why_no_networks():
        pytest.skip(why)
    with halls(tmp_path, Networks(SITES), kind) as shop:
        wait_until(lambda: all(shop.is_known(site) for site in SITES), "all panels are known", KNOWN_S)
        networks = shop.networks
        assert isinstance(networks, Networks)
        networks.cut("north")
        cut, before = time.monotonic(), recorded(shop, "north")
        wait_until(lambda: not shop.is_known("north"), "the cut site's panel turns to not known", CUT_S)
        unknown_s = time.monotonic() - cut
        wait_until(lambda: bool(shop.alarms("site unheard")), "its alarm rings", CUT_S)
        [alarm] = shop.alarms("site unheard")
        assert alarm.say.values["site"] == "north"
        assert alarm.panels == ("Lid north",)
        assert shop.alarms("probe silent") == []
        assert all(shop.is_known(site) for site in ("south", "east"))
        assert "Not heard since" in shop.page("/more/probes")
        assert "WRONG  site north: last heard" in shop.check()
        assert recorded(shop, "north") > before + 50, "it goes on recording"
        networks.mend("north")
        mended = time.monotonic()
        wait_until(lambda: shop.is_known("north"), "its panel is known again", BACK_S)
        known_s = time.monotonic() - mended
        answer = shop.answer("north")
        assert answer is not None
        assert answer.gaps == ()
        assert answer.missing_h < 0.01
        wait_until(lambda: not shop.alarms("site unheard"), "its alarm is over", BACK_S)
        for site in SITES:
            for what in ("collect", "forward"):
                if what == "forward":
                    at_site = recorded(shop, site)
                    wait_until(lambda: shop.on_the_server(site) >= at_site, f"all of {site} is there", 60)  # noqa: B023
                shop.end(f"{site} {what}")
            assert shop.on_the_server(site) == recorded(shop, site), "no reading more, none less"
        sys.stdout.write(
            f"{kind}: not known {unknown_s:.0f} s after the cut, known {known_s:.0f} s after it was mended\n"
        )
