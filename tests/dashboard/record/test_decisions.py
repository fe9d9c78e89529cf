"""What was said at a decision stays as it was said, whatever is corrected later; and demouldings rest on evidence."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi import FastAPI

from dashboard.app import create_app
from dashboard.panel import Event
from dashboard.record.document import differing, document, to_text
from dashboard.record.entries import decisions, entries
from dashboard.record.results import Results
from dashboard.record.used import Series, Used
from dashboard.record.wording import Wording
from dashboard.record.work_out import rested_on, work_out
from model.verdict import State
from tests.dashboard.client import HOST, Client, new_id
from tests.dashboard.record.night import MINUTE, OWN, START, ZONE, Shop, lived_through

DAY = 1440
POT = {"resin_g": 310.0, "hardener_g": 87.2, "stirred": True, "vessel": "tray", "bottles_C": 21.0}


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = Shop(tmp_path)
    yield made
    made.close()


def serve_app(shop: Shop, port: int = 8137) -> FastAPI:
    """Pages and API over the shop's files."""
    return create_app(
        watched=shop.seen,
        logbook=shop.logbook,
        probes=lambda: [],
        cards=shop.shelf.names,
        clock=shop.clock,
        site="Invented shed",
        time_zone=ZONE,
        port=port,
        readings=shop.folder / "readings.db",
        card=shop.shelf.get,
        card_text=shop.shelf.text,
        decisions=shop.decisions,
    )


def serving(shop: Shop) -> Client:
    """Asks them."""
    return Client(serve_app(shop))


def ask(client: Client, act: str = "demould", who: str = "Kim") -> dict[str, Any]:
    """Asks for it to be granted; the answer."""
    found: dict[str, Any] = client.post(
        "/api/panels/lid-4/decisions", {"id": new_id(), "who": who, "act": act}
    ).json()
    return found


def decided(shop: Shop) -> list[Event]:
    return [event for event in shop.logbook.events("lid-4") if event.kind == "decided"]


def proof(shop: Shop) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What the record says of its last decision: what must not be overlooked, and the rest."""
    used = shop.used()
    line = decisions(used, work_out(used), Wording.of(used, shop.view()))[-1]
    return line.bold, line.more


def one_warm_coat(shop: Shop, days: int, **pot: Any) -> None:
    """A coat at a steady 30 degC for so many days, watched at the end; `pot` alters what is said of its pot."""
    shop.steady(-60, days * DAY, 30.0)
    shop.log(
        "panel registered", -1, name="Lid 4", zone="shed", surface_probe="S1", air_probe="A1",
        substrate="composite mould",
    )  # fmt: skip
    shop.clock.at = START + (days * DAY - 1) * MINUTE
    shop.log("coat mixed", 0, card=OWN, applied_at=START, kind="laminate", pot=POT | pot)
    shop.round_at(days * DAY - 0.9)


def test_what_was_said_at_a_decision_stays_when_a_mixing_time_is_corrected(tmp_path: Path) -> None:
    """The verdict and the record's numbers move, the old entry is readable with who and when, the decision stays."""
    shop = lived_through(tmp_path)
    try:
        used = shop.used()
        before, kept = work_out(used), [dict(event.body) for event in decided(shop)]
        second = next(
            event for event in used.events if event.kind == "coat mixed" and event.body["kind"] == "fill"
        )
        shop.clock.at += MINUTE
        change = {"event": second.id, "to": START + 150 * MINUTE, "reason": "wrong coat's sheet"}
        shop.log("time changed", 1500, who="Ola", **change)
        old = shop.seen.assessment("lid-4")
        shop.round_at(1500.9)
        new = shop.seen.assessment("lid-4")
        after_used = shop.used()
        after = work_out(after_used)
        say = Wording.of(after_used, shop.view())
        lines = {line.text: line for line in entries(after_used, say)}
        was = next(line for text, line in lines.items() if text.startswith("Coat 2 started"))
        said = decisions(after_used, after, say)
        document_again = json.loads(to_text(document(after_used, after)))
        kept_after = [dict(event.body) for event in decided(shop)]
    finally:
        shop.close()
    assert old is not None
    assert new is not None
    assert new.equivalent_age_h is not None
    assert old.equivalent_age_h is not None
    assert new.equivalent_age_h > old.equivalent_age_h
    (_, second_before), (_, second_after) = (
        [(coat.mixed_at, coat.numbers) for coat in results.coats] for results in (before, after)
    )
    assert second_before[1] is not None
    assert second_after[1] is not None
    assert second_after[1].equivalent_age_h > second_before[1].equivalent_age_h
    assert second_after[0] - second_before[0] == -49 * MINUTE
    assert kept_after == kept, "what was said is not worked out anew"
    assert [line.text for line in said][1] == "next coat: Leave it until 23:50, then wash it"
    assert was.before == (
        ("2026-11-25\u00a022:19", "other time said 2026-11-26\u00a020:00 by Ola: wrong coat's sheet"),
    )
    assert list(differing(document_again)) == []


def test_sanding_against_the_answer_is_a_deviation_and_with_it_none(
    night: Shop, used: Used, results: Results
) -> None:
    """Sanded though the answer was to wait: said so, in the words of then; the taken-back one is struck through."""
    lines = decisions(used, results, Wording.of(used, night.view()))
    first, recoat, taken_back, sanded = lines
    assert first.bold == ()
    assert recoat.bold == ("Deviation: Recoated though the answer was: Leave it until 23:50, then wash it",)
    assert "taken back" in taken_back.struck
    assert "wrong panel" in taken_back.struck
    assert sanded.bold[0].startswith("Deviation: Sanded though the answer was: Wait until ")
    assert all("It rested on the readings on this record." in line.more for line in lines)


def test_a_reading_that_came_later_is_none_that_a_decision_rested_on_one_flagged_since_was(
    used: Used,
) -> None:
    """Late ones have a later batch: the digest of then comes again without them. Other flags make another digest."""
    before = rested_on(used)
    assert [item.readings_same for item in before] == [True] * 4
    index, series = next((i, one) for i, one in enumerate(used.series) if one.probe == "S1")
    place = int(np.searchsorted(series.t, START + 450 * MINUTE))
    late = replace(
        series,
        t=np.insert(series.t, place, START + 450 * MINUTE),
        value=np.insert(series.value, place, 9.0),
        quality=np.insert(series.quality, place, 0),
        batch=np.insert(series.batch, place, used.batch + 1),
    )
    assert rested_on(_with(used, index, late)) == before
    flags = series.quality.copy()
    flags[int(np.searchsorted(series.t, START + 100 * MINUTE))] = 4
    flagged = rested_on(_with(used, index, replace(series, quality=flags)))
    assert [item.readings_same for item in flagged] == [True, False, False, False]


def _with(used: Used, index: int, series: Series) -> Used:
    return replace(used, series=(*used.series[:index], series, *used.series[index + 1 :]))


def test_demoulding_is_blocked_for_want_of_a_hardness_and_granted_with_it(shop: Shop) -> None:
    """By API: not granted and logged with what is missing; the tile's hardness is taken; granted, said, done."""
    one_warm_coat(shop, 2)
    client = serving(shop)
    asked = client.get("/api/panels/lid-4/evidence").json()["evidence"]["demould"]
    assert [item["name"] for item in asked if not item["have"]] == ["hardness"]
    answer = ask(client)
    assert not answer["granted"]
    assert answer["missing"] == ["a hardness on tile or flange at about 20\u00a0°C, of the newest coat"]
    assert "The name was typed; nothing proved it." in proof(shop)[0]
    assert re.fullmatch(r"Demoulding not granted .*; one thing is missing", answer["said"])
    shop.round_at(2 * DAY - 0.8)
    assert shop.state() is State.SANDABLE, "nothing past sanding is said without it"
    shop.log("hardness", 2 * DAY - 1, scale="Shore D", value=74, on="tile", at_C=20.5)
    shop.round_at(2 * DAY - 0.7)
    nameless = ask(client, who=" ")
    assert nameless["missing"] == ["a name"]
    granted = ask(client)
    assert granted["granted"], granted
    assert shop.state() is State.SANDABLE, "not before watch has worked it out"
    shop.round_at(2 * DAY - 0.6)
    assert shop.state() is State.DEMOULDABLE
    done = client.post("/api/events", {"id": new_id(), "who": "Kim", "panel": "lid-4", "kind": "demoulded"})
    assert done.status_code == 200, done.text
    last = decided(shop)[-1]
    assert (last.body["act"], last.body["deviation"]) == ("demould", False)
    assert last.body["said"]["words"] == "Demould when you like; keep it cool"


def test_a_grant_falls_with_its_evidence_and_with_a_new_coat(shop: Shop) -> None:
    """The hardness is taken back: sandable again, at once; given anew: granted still. A new coat asks for all of it."""
    one_warm_coat(shop, 2)
    test = shop.log("hardness", 2 * DAY - 1, scale="Shore D", value=74, on="part", at_C=21.0)
    shop.round_at(2 * DAY - 0.8)
    client = serving(shop)
    assert ask(client)["granted"]
    shop.round_at(2 * DAY - 0.7)
    assert shop.state() is State.DEMOULDABLE
    shop.log("withdrawn", 2 * DAY - 0.7, event=test)
    shop.round_at(2 * DAY - 0.6)
    assert shop.state() is State.SANDABLE
    shop.log("hardness", 2 * DAY - 1, scale="Shore D", value=72, on="part", at_C=21.0)
    shop.round_at(2 * DAY - 0.5)
    assert shop.state() is State.DEMOULDABLE
    shop.log("coat mixed", 2 * DAY - 0.5, card=OWN, applied_at=None, kind="fill", pot=POT)
    assert shop.logbook.panels()["lid-4"].granted is None


def test_a_cold_part_proves_nothing_unless_it_is_too_soft(shop: Shop) -> None:
    """Warmer it would be softer still: it takes the grant back, until it is measured hard enough near 20 degC."""
    one_warm_coat(shop, 2)
    shop.log("hardness", 2 * DAY - 5, scale="Shore D", value=74, on="tile", at_C=20.5)
    shop.round_at(2 * DAY - 0.8)
    assert ask(serving(shop))["granted"]
    for ago, value, at_C, state in (
        (4, 76, 12.0, State.DEMOULDABLE),
        (3, 45, 12.0, State.SANDABLE),
        (2, 76, 12.0, State.SANDABLE),
        (1, 72, 21.0, State.DEMOULDABLE),
    ):
        shop.log("hardness", 2 * DAY - ago, scale="Shore D", value=value, on="part", at_C=at_C)
        shop.round_at(2 * DAY - 0.7 + (4 - ago) / 10)
        assert shop.state() is state, (value, at_C)


@pytest.mark.parametrize(
    ("pot", "hardness", "missing"),
    [
        ({}, {"value": 66}, "a hardness of Shore D 70 or more: it was 66 at 20\u00a0°C"),
        ({}, {"at_C": 9.0}, "a hardness on tile or flange at about 20\u00a0°C, of the newest coat"),
        ({}, {"scale": "Barcol"}, "a hardness on tile or flange at about 20\u00a0°C, of the newest coat"),
        ({"stirred": None}, {}, "weights of every pot and that it was stirred: coat 1"),
        ({"hardener_g": None}, {}, "weights of every pot and that it was stirred: coat 1"),
    ],
)
def test_what_is_missing_is_named(
    shop: Shop, pot: dict[str, Any], hardness: dict[str, Any], missing: str
) -> None:
    """Too soft, a cold tile (it is harder than it is cured), a scale without a value, a pot not weighed or stirred."""
    one_warm_coat(shop, 2, **pot)
    shop.log(
        "hardness", 2 * DAY - 1, **{"scale": "Shore D", "value": 74, "on": "tile", "at_C": 20.5, **hardness}
    )
    shop.round_at(2 * DAY - 0.8)
    answer = ask(serving(shop))
    assert answer["missing"] == [missing]
    assert decided(shop)[-1].body["granted"] is False


def test_full_cure_is_said_only_with_the_hardness_of_a_full_cure(shop: Shop) -> None:
    """The range is past it after two days at 30 degC; a tile of 74 Shore D is good for demoulding alone."""
    one_warm_coat(shop, 2)
    client = serving(shop)
    shop.log("hardness", 2 * DAY - 1, scale="Shore D", value=74, on="tile", at_C=20.5)
    shop.round_at(2 * DAY - 0.8)
    assert ask(client)["granted"]
    shop.round_at(2 * DAY - 0.7)
    assert shop.state() is State.DEMOULDABLE
    refused = ask(client, "sign off")
    assert refused["missing"] == ["a hardness of Shore D 78 or more: it was 74 at 20\u00a0°C"]
    shop.log("hardness", 2 * DAY - 0.6, scale="Shore D", value=80, on="tile", at_C=20.5)
    shop.round_at(2 * DAY - 0.5)
    assert shop.state() is State.FULLY_CURED
    assert ask(client, "sign off")["granted"]


def test_signing_off_is_refused_before_the_slow_end_is_past_full_cure(shop: Shop) -> None:
    one_warm_coat(shop, 1)
    shop.log("hardness", DAY - 1, scale="Shore D", value=80, on="tile", at_C=20.5)
    shop.round_at(DAY - 0.8)
    answer = ask(serving(shop), "sign off")
    assert [text.partition(" (")[0] for text in answer["missing"]] == ["the slow end past full cure"]


def test_a_double_tap_is_one_decision(shop: Shop) -> None:
    one_warm_coat(shop, 1)
    client, ident = serving(shop), new_id()
    body = {"id": ident, "who": "Kim", "act": "demould"}
    both = [client.post("/api/panels/lid-4/decisions", body).json() for _ in range(2)]
    assert [answer["new"] for answer in both] == [True, False]
    assert len([event for event in decided(shop) if event.id == ident]) == 1


def test_the_pages_say_what_is_there_and_what_is_missing(shop: Shop) -> None:
    one_warm_coat(shop, 2)
    client = serving(shop)
    page = client.get("/panels/lid-4/demould", host=HOST).text
    assert "The record does not support it yet" in page
    assert "A hardness on tile or flange" in page
    assert "Log: not granted" in page
    assert client.get("/panels/nobody/demould").status_code == 404
