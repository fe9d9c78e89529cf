"""What other panels taught of a lot stands on the record, and its numbers come again with it."""

from __future__ import annotations

import json
from pathlib import Path

from dashboard.record.document import differing, document, to_text
from dashboard.record.used import Used
from dashboard.record.work_out import work_out
from tests.dashboard.record.night import OWN, START, Shop

MINUTE = 60_000
KIT = {"resin_lot": "R-17", "hardener_lot": "H-03"}


def test_a_record_keeps_what_its_lot_had_been_taught_and_comes_again_from_it(tmp_path: Path) -> None:
    shop = Shop(tmp_path)
    shop.clock.at = START + 600 * MINUTE
    shop.steady(-60, 600, 20.0)
    for name, minute in (("other", 0), ("lid-4", 240)):
        shop.log("panel registered", minute - 5, name, name=name, zone="shed", surface_probe="S1", air_probe=None,
                 substrate="wood")  # fmt: skip
        shop.log("coat mixed", minute, name, card=OWN, applied_at=START + minute * MINUTE, **KIT)
    plain = work_out(shop.used()).coats[0]
    shop.log("thumb test", 180, "other", words=["soft tack"])
    made = document(shop.used())
    read = json.loads(to_text(made))
    coat = read["results"]["coats"][0]
    assert coat["taught_by"] == ["other"]
    assert plain.taught_by == ()
    assert plain.numbers is not None
    assert coat["numbers"]["rate"][1] < plain.numbers.rate[1], "the other panel was slow"
    assert list(differing(read)) == []
    assert Used.from_json(read["used"]).lots[1].panels == ("other",)
    read["used"]["lots"]["1"]["likely"]["mean"][0] += 0.1
    assert any("coats[1].numbers" in text for text in differing(read))
    shop.close()
