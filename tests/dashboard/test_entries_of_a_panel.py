"""What may be logged of a panel: folded as said, refused with a reason, taken back, told at another time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboard.entry_check import KINDS
from dashboard.fold import STEPS
from dashboard.logbook import Logbook
from dashboard.panel import Event, Hold, Panel, PlannedCoat, Stay
from dashboard.step_check import LogbookError

NOW = 1_768_000_000_000
MINUTE = 60_000
HOUR = 60 * MINUTE
BODY = {
    "name": "Lid 4", "zone": "shed", "surface_probe": "S1", "air_probe": "A1", "substrate": "wood",
    "vertical": True,
    "plan": [{"kind": "seal", "card": "own-25min"}, {"kind": "laminate"}, {"kind": "fill", "card": "own-25min"}],
}  # fmt: skip
Log = Callable[..., Panel]


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Logbook]:
    opened = Logbook(tmp_path / "shop.db", lambda: ["own-25min", "own-45min"]).open()
    opened.append(Event("reg", NOW - 9 * HOUR, NOW - 9 * HOUR, "Kim", "panel registered", "lid-4", BODY))
    yield opened
    opened.close()


@pytest.fixture
def log(logbook: Logbook) -> Log:
    def log(what: str, at: int = NOW, /, **body: Any) -> Panel:
        number = f"e{len(logbook.events())}"
        logbook.append(Event(number, at, NOW, "Kim", what, "lid-4", body))
        return logbook.panels()["lid-4"]

    return log


def mixed(log: Log, at: int = NOW - 5 * HOUR, **more: Any) -> Panel:
    return log("coat mixed", at, card="own-25min", **more)


def test_a_plan_says_what_comes_next_and_shrinks_as_coats_are_laid(log: Log, logbook: Logbook) -> None:
    panel = logbook.panels()["lid-4"]
    assert panel.next_planned == PlannedCoat("seal", "own-25min")
    assert panel.vertical
    assert mixed(log, kind="seal").next_planned == PlannedCoat("laminate", None)
    panel = log("panel changed", plan=[{"kind": "seal"}])
    assert panel.next_planned is None
    assert panel.name == "Lid 4", "what was not said anew stays"


def test_a_pot_is_weighed_later_and_what_is_told_anew_counts(log: Log) -> None:
    coat = mixed(log, pot={"vessel": "tray", "bottles_C": 21.5}).newest
    assert coat is not None
    assert (coat.pots[0].vessel, coat.pots[0].mass_g) == ("tray", None)
    log("pot mixed", NOW - 4 * HOUR)
    log("pot weighed", of=coat.event, pot={"resin_g": 300.0, "hardener_g": 100.0})
    panel = log("pot weighed", of=coat.event, pot={"hardener_g": 90.0, "stirred": True})
    assert panel.newest is not None
    first, second = panel.newest.pots
    assert (first.resin_g, first.hardener_g, first.mass_g, first.stirred) == (300.0, 90.0, 390.0, True)
    assert (first.vessel, first.bottles_C) == ("tray", 21.5)
    assert (second.mass_g, second.mixed_at, panel.newest.last_pot_at) == (
        None,
        NOW - 4 * HOUR,
        NOW - 4 * HOUR,
    )


def test_a_panel_is_carried_and_its_probes_with_their_times_are_kept(log: Log) -> None:
    mixed(log)
    panel = log("panel moved", NOW - HOUR, zone="warm room", surface_probe=None, air_probe="A2")
    assert (panel.zone, panel.surface_probe, panel.air_probe) == ("warm room", None, "A2")
    assert panel.stays == (Stay(0, "shed", "S1", "A1"), Stay(NOW - HOUR, "warm room", None, "A2"))
    assert panel.probes == {"S1", "A1", "A2"}


def test_a_hold_lasts_until_it_is_released(log: Log) -> None:
    mixed(log)
    assert log("held", reason="wrong hardener?").hold == Hold(NOW, "Kim", "wrong hardener?")
    with pytest.raises(LogbookError, match="on hold already"):
        log("held", reason="again")
    assert log("released", reason="right bottle found").hold is None
    with pytest.raises(LogbookError, match="not on hold"):
        log("released", reason="again")


def test_a_scrapped_panel_is_closed_with_its_reason_and_takes_a_note(log: Log) -> None:
    mixed(log)
    panel = log("scrapped", reason="fell off the trestle")
    assert (panel.closed, panel.scrapped) == (True, "fell off the trestle")
    assert log("note", text="kept as a tile").closed
    with pytest.raises(LogbookError, match="is closed"):
        log("washed")


def test_peel_ply_comes_off_the_newest_coat_and_hardness_is_of_the_coat_that_was_there(log: Log) -> None:
    mixed(log, peel_ply=True, resin_lot="R7", hardener_lot="H2")
    panel = log("peel ply off", NOW - HOUR)
    log("hardness", NOW - HOUR, scale="Shore D", value=71.0, on="tile", at_C=20.5)
    mixed(log, NOW - MINUTE)
    panel = log("heat on", NOW, hold_C=25.0)
    first, second = panel.coats
    assert (first.peel_ply, first.peel_ply_off_at, first.resin_lot) == (True, NOW - HOUR, "R7")
    assert [test.value for test in first.hardness] == [71.0]
    assert second.hardness == ()
    assert panel.heated_since == NOW
    assert log("heat off").heated_since is None


def test_another_time_of_mixing_counts_and_the_first_stays_in_the_log(log: Log, logbook: Logbook) -> None:
    coat = mixed(log).newest
    assert coat is not None
    log("coat applied", NOW - 4 * HOUR)
    panel = log("time changed", event=coat.event, to=NOW - 6 * HOUR, reason="Wrong time")
    assert panel.newest is not None
    assert panel.newest.mixed_at == NOW - 6 * HOUR
    assert panel.newest.pots[0].mixed_at == NOW - 6 * HOUR
    first = next(event for event in logbook.events() if event.id == coat.event)
    assert first.at == NOW - 5 * HOUR, "the entry itself is as it was"
    change = logbook.events()[-1]
    logbook.append(Event("back", NOW, NOW, "Kim", "withdrawn", "lid-4", {"event": change.id}))
    again = logbook.panels()["lid-4"].newest
    assert again is not None
    assert again.mixed_at == NOW - 5 * HOUR, "the change is taken back like any entry"


def test_a_changed_time_is_not_taken_back_from_under_what_was_logged_since(
    log: Log, logbook: Logbook
) -> None:
    """Else coats come in another order than they were mixed in, and a coat is on before it was mixed."""
    coat = mixed(log).newest
    assert coat is not None
    log("time changed", event=coat.event, to=NOW - 6 * HOUR)
    change = logbook.events()[-1].id
    log("coat applied", NOW - 5 * HOUR - 30 * MINUTE)
    mixed(log, NOW - 5 * HOUR - 12 * MINUTE)
    later = logbook.events()[-1].id
    with pytest.raises(LogbookError, match="before the newest coat was mixed"):
        log("withdrawn", event=change)
    log("withdrawn", event=later)
    with pytest.raises(LogbookError, match="before the newest coat was mixed"):
        log("withdrawn", event=change)
    with pytest.raises(LogbookError, match="before the newest coat was mixed"):
        log("time changed", event=coat.event, to=NOW - 5 * HOUR)
    assert [coat.mixed_at for coat in logbook.panels()["lid-4"].coats] == [NOW - 6 * HOUR]


def test_a_time_is_corrected_also_where_the_panel_had_been_scrapped_by_mistake(
    log: Log, logbook: Logbook
) -> None:
    """What was said beside the scrapping stays in the log when that is taken back, and forbids nothing."""
    coat = mixed(log).newest
    assert coat is not None
    said = {"act": "scrap", "of": "scrap", "granted": True}
    logbook.beside = lambda event, _: (
        [Event("beside", NOW, NOW, "Kim", "decided", "lid-4", said)] if event.kind == "scrapped" else []
    )
    logbook.append(Event("scrap", NOW, NOW, "Kim", "scrapped", "lid-4", {"reason": "wrong panel"}))
    log("withdrawn", event="scrap")
    log("time changed", event=coat.event, to=NOW - 6 * HOUR)
    assert logbook.panels()["lid-4"].coats[0].mixed_at == NOW - 6 * HOUR


def test_a_name_said_anew_has_no_blanks_around_it(log: Log, logbook: Logbook) -> None:
    """Two panels that look alike are logged on by mistake."""
    assert log("panel changed", name=" Lid 4 ").name == "Lid 4"


def test_a_time_that_would_contradict_what_came_after_is_refused(log: Log, logbook: Logbook) -> None:
    coat = mixed(log).newest
    assert coat is not None
    log("washed", NOW - 2 * HOUR)
    for to, says in ((NOW - HOUR, "before the newest coat was mixed"), (NOW + HOUR, "still to come")):
        with pytest.raises(LogbookError, match=says):
            log("time changed", event=coat.event, to=to)
    with pytest.raises(LogbookError, match="no such entry"):
        log("time changed", event="nothing", to=NOW)
    with pytest.raises(LogbookError, match="changes nothing"):
        log("time changed", event="reg", to=NOW - 10 * HOUR)
    newest = logbook.panels()["lid-4"].newest
    assert newest is not None
    assert newest.mixed_at == NOW - 5 * HOUR


@pytest.mark.parametrize(
    ("kind", "body", "says"),
    [
        ("coat mixed", {"card": "own-25min", "kind": "gloss"}, "no kind of coat; allowed: seal"),
        ("coat mixed", {"card": "own-25min", "pot": {"resin_g": 0.0}}, "0.1 to 20000 g"),
        # So little resin that dividing by it is no number: pages and watch failed for good.
        ("coat mixed", {"card": "own-25min", "pot": {"resin_g": 5e-324}}, "0.1 to 20000 g"),
        ("coat mixed", {"card": "own-25min", "pot": {"vessel": "bucket"}}, "allowed: cup, tray"),
        ("coat mixed", {"card": "own-25min", "pot": {"bottles_C": 95.0}}, "bottles at 95"),
        ("pot weighed", {"of": "no", "pot": {"resin_g": 1.0}}, "no such pot"),
        ("pot weighed", {"of": "e1", "pot": {}}, "nothing is said of the pot"),
        ("hardness", {"scale": "Mohs", "value": 3, "on": "part", "at_C": 20.0}, "no hardness scale"),
        ("hardness", {"scale": "Shore D", "value": 130, "on": "part", "at_C": 20.0}, "0 to 100"),
        ("hardness", {"scale": "Shore D", "value": 70, "on": "floor", "at_C": 20.0}, "allowed: part, tile"),
        ("panel moved", {"zone": "hall"}, "choose one"),
        ("panel moved", {"zone": " ", "air_probe": "A1"}, "a zone of 1 to 64"),
        ("panel changed", {}, "say what"),
        ("panel changed", {"substrate": "ice"}, "laid on"),
        ("panel changed", {"plan": [{"kind": "laminate", "card": "none"}]}, "no resin card"),
        ("held", {"reason": " "}, "a reason of 1 to 80"),
        ("note", {"text": ""}, "a note of 1 to 400"),
        ("heat on", {"hold_C": 300.0}, "heat at 300"),
        ("heat off", {}, "no heat is on"),
        ("peel ply off", {}, "no peel ply"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_and_nothing_is_written(
    kind: str, body: dict[str, Any], says: str, log: Log, logbook: Logbook
) -> None:
    mixed(log)
    before = logbook.events()
    with pytest.raises(LogbookError, match=says):
        log(kind, **body)
    assert logbook.events() == before


def test_everything_that_can_be_folded_can_be_logged() -> None:
    assert set(STEPS) <= KINDS
