"""What each kind of coat is told to do, hour by hour: trim, tape, carve, clamps, peel ply, fillets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dashboard.alarm_kinds import KINDS
from dashboard.assess import assess
from dashboard.assessment import Assessment
from dashboard.conditions import of_panel
from dashboard.display import View
from dashboard.facts import Facts
from dashboard.fold import fold
from dashboard.panel import Event, PlannedCoat
from dashboard.strips import strip
from model.verdict import Flag, State
from tests.dashboard.night import HOUR_MS, MIXED, card, night

WARM: Callable[[float], float] = lambda hour: 20.0  # noqa: E731
PANEL = ("substrate", "vertical", "plan", "trimmed_at", "clamps_off_at", "tape_pulled_at", "sanded_at")


def facts(hours: float, kind: str, surface: Callable[[float], float] = WARM, *, own: bool = True,
          humidity: float = 50.0, **said: Any) -> Facts:  # fmt: skip
    """A coat of that kind so many hours after mixing; said: fields of the panel or of the coat."""
    made = night(surface, hours, of=card(own=own), humidity=humidity)
    of_panel = {name: value for name, value in said.items() if name in PANEL}
    of_coat = {name: value for name, value in said.items() if name not in PANEL}
    coat = replace(made.panel.coats[0], kind=kind, **of_coat)
    return replace(made, panel=replace(made.panel, coats=(coat,), **of_panel))


def told(hours: float, kind: str, surface: Callable[[float], float] = WARM, **said: Any) -> Assessment:
    return assess(facts(hours, kind, surface, **said), MIXED + round(hours * HOUR_MS))


def key(hours: float, kind: str, surface: Callable[[float], float] = WARM, **said: Any) -> str:
    return told(hours, kind, surface, **said).verdict.headline.key


def whys(answer: Assessment) -> list[str]:
    return [say.key for say in answer.verdict.why]


def at(hour: float) -> int:
    return MIXED + round(hour * HOUR_MS)


def button(hours: float, kind: str, **said: Any) -> str | None:
    of = facts(hours, kind, **said)
    view = View(ZoneInfo("UTC"), "degC", at(hours))
    return strip(of.panel, assess(of, at(hours)), view).button.kind


@pytest.mark.parametrize(("kind", "substrate"), [("in-mould", "wood"), ("laminate", "composite mould")])
def test_a_flange_is_trimmed_from_the_early_end_of_opening_to_the_late_end_of_shutting(
    kind: str, substrate: str
) -> None:
    """No range is as narrow as an hour: a knife tries early, because coming late costs a grinder."""
    assert key(2.0, kind, substrate=substrate) == "setting"
    soon = told(3.2, kind, substrate=substrate)
    assert soon.verdict.headline.key == "trim"
    times = {item.name: item for item in soon.milestones}
    assert soon.verdict.headline.values["done_by"] == times["trim_until"].early
    assert times["trim_from"].early < soon.at < times["trim_until"].early < times["trim_until"].likely
    assert button(3.2, kind, substrate=substrate) == "trimmed"
    assert key(5.0, kind, substrate=substrate) == "trim_last"
    assert key(9.0, kind, substrate=substrate) == "firm"
    assert key(3.2, kind, substrate=substrate, trimmed_at=at(3.1)) == "setting"
    assert key(3.2, kind, substrate=substrate, trimmed_at=at(-5.0)) == "trim", "that was an earlier flange"


def test_the_next_coat_of_the_plan_comes_before_the_flange_which_is_said_beside_it() -> None:
    plan = (PlannedCoat("laminate"), PlannedCoat("laminate"))
    answer = told(3.2, "laminate", substrate="metal mould", plan=plan)
    assert answer.verdict.headline.key == "setting"
    assert "why_trim_too" in whys(answer)
    assert key(4.2, "laminate", substrate="metal mould", plan=plan) == "recoatable"
    assert key(4.2, "laminate", substrate="metal mould", plan=plan[:1]) == "trim_last"


def test_a_laminate_that_lies_on_no_mould_has_no_flange() -> None:
    assert all(not key(hour, "laminate").startswith("trim") for hour in (3.0, 4.0, 5.0, 7.0))


def test_tape_is_pulled_once_it_is_tack_free_and_before_it_is_hard() -> None:
    for kind in ("fill", "seal", "glue line"):
        assert key(5.2, kind, taped=True) == "tape", kind
        assert key(6.5, kind, taped=True) == "tape_last", kind
        assert button(5.2, kind, taped=True) == "tape pulled"
        done = key(5.2, kind, taped=True, tape_pulled_at=at(5.1))
        assert not done.startswith("tape"), kind
    assert key(6.5, "fill") == "firm", "nobody masked it"
    assert "why_tape_on" in whys(told(13.0, "fill", taped=True))


def test_a_fairing_is_carved_while_the_rasp_bites_or_sanded_later() -> None:
    answer = told(6.5, "fairing")
    assert answer.verdict.headline.key == "carve"
    assert answer.verdict.state is State.FIRM
    assert key(10.0, "fairing") == "carve_last"
    assert key(17.0, "fairing") == "firm"
    assert key(25.0, "fairing") == "sandable"
    assert key(6.5, "fairing", sanded_at=at(6.4)) == "firm"
    assert key(6.5, "fairing", humidity=99.0).startswith("wash"), "no rasp through what must be washed off"


def test_clamps_stay_on_until_the_slow_end_and_no_recoat_is_ever_said_of_a_joint() -> None:
    early = told(2.0, "glue line")
    assert early.verdict.headline.key == "clamps_wait"
    assert early.verdict.next is not None
    assert early.verdict.next.key == "next_clamps"
    assert not {"recoat_from", "recoat_until"} & {item.name for item in early.milestones}
    off = next(item for item in early.milestones if item.name == "clamps_off")
    assert early.verdict.headline.values["clamps_from"] == off.late
    # What it may warm to in the two days after that is not known so early: it may come later, never sooner.
    ready = (off.late - MIXED) / HOUR_MS + 3.0
    assert key(ready - 4.0, "glue line") == "clamps_wait"
    assert key(ready + 1.0, "glue line") == "clamps_off"
    assert button(ready + 1.0, "glue line") == "clamps off"
    assert key(ready + 1.0, "glue line", clamps_off_at=at(ready + 0.5)) == "sandable"
    for hour in (0.3, 2.0, 5.0, 24.0):
        answer = told(hour, "glue line")
        assert "recoat" not in answer.verdict.headline.key, hour
        assert Flag.WINDOW_MISSED not in answer.verdict.flags, hour


def test_clamps_are_never_called_off_by_an_invented_card_the_air_alone_or_cold_glass() -> None:
    """Load-bearing: as demoulding, capped where nothing past sanding may be said."""
    for hour in (30.0, 40.0, 60.0):
        assert key(hour, "glue line", own=False) in ("clamps_wait", "clamps_unproven"), hour
        of = facts(hour, "glue line")
        assert assess(replace(of, surface=None), at(hour)).verdict.headline.key in (
            "clamps_wait",
            "clamps_unproven",
        )
    cold = [key(hour, "glue line", lambda hour: max(5.0, 18.0 - 2.0 * hour)) for hour in (12.0, 36.0, 72.0)]
    assert "clamps_off" not in cold
    assert "stopped_by_cold" in cold


def test_under_peel_ply_nothing_is_recoated_washed_or_sanded_until_it_is_off() -> None:
    """Blush leaves with it."""
    damp: dict[str, Any] = {"peel_ply": True, "humidity": 99.0}
    assert key(5.0, "laminate", humidity=99.0).startswith("wash"), "without peel ply it asks for one"
    for hour in (2.0, 5.0, 9.0, 20.0):
        answer = told(hour, "laminate", **damp)
        assert answer.verdict.headline.key == "ply_wait", hour
        assert Flag.WASH_FIRST not in answer.verdict.flags
    assert answer.film is not None
    assert answer.film.level in ("heavy", "wet"), "what settled on it stays on record"
    assert key(25.0, "laminate", **damp) == "ply_pull"
    assert button(25.0, "laminate", **damp) == "peel ply off"
    off = told(26.0, "laminate", peel_ply_off_at=at(25.5), **damp)
    assert off.verdict.headline.key == "sandable"
    assert "why_ply_off" in whys(off), "clean, but still scuff before bonding"
    sanded: dict[str, Any] = {"peel_ply": True, "peel_ply_off_at": at(25.5), "sanded_at": at(25.8)}
    assert key(26.0, "laminate", humidity=93.0, **sanded) == "sanded"
    assert key(26.0, "laminate", humidity=99.0, **sanded) == "wash_wet", "0.15 K over the dew point: wet now"


def test_peel_ply_that_came_off_a_young_film_takes_nothing_along() -> None:
    damp: dict[str, Any] = {"peel_ply": True, "humidity": 99.0, "peel_ply_off_at": at(3.0)}
    assert key(9.0, "laminate", **damp) in ("wash_heavy", "wash_wet")
    assert key(26.0, "laminate", **damp) == "wash_sand"


def test_peel_ply_on_cold_glass_stays_on() -> None:
    cold = lambda hour: max(5.0, 18.0 - 1.5 * hour)  # noqa: E731
    assert key(14.0, "laminate", cold, peel_ply=True) in ("ply_hard", "stopped_by_cold")
    assert key(90.0, "laminate", cold, peel_ply=True) in ("ply_hard", "stopped_by_cold")


def test_a_fillet_shuts_sooner_says_so_and_sags_on_a_vertical() -> None:
    answer, film = told(1.2, "fillet", vertical=True), told(1.2, "laminate")
    assert {"why_fillet", "why_sags"} <= set(whys(answer))
    assert "why_sags" not in whys(told(1.2, "fillet"))
    until = {item.name: item.early for item in answer.milestones}["recoat_until"]
    assert until < {item.name: item.early for item in film.milestones}["recoat_until"]


def test_a_seal_coat_is_a_film_like_any_other() -> None:
    for hour in (2.0, 4.5, 26.0):
        assert told(hour, "seal").verdict == told(hour, "laminate").verdict, hour


@pytest.mark.parametrize("kind", ["fill", "fairing", "in-mould"])
def test_a_verdict_turns_when_it_said_it_would(kind: str) -> None:
    """With a steady temperature a "before" holds to its minute and no further, whatever the kind."""
    said: dict[str, Any] = {"substrate": "metal mould", "taped": kind == "fill"}
    hour = {"fill": 5.2, "fairing": 6.5, "in-mould": 3.2}[kind]
    headline = told(hour, kind, **said).verdict.headline
    ends = (int(headline.values["done_by"]) - MIXED) / HOUR_MS
    assert key(ends - 0.02, kind, **said) == headline.key
    assert key(ends + 0.04, kind, **said) == f"{headline.key}_last"


def test_what_must_be_done_within_the_hour_is_told_and_what_may_be_done_rings_nothing() -> None:
    """Kinds of notices of their own: a panel that waits for its ply to be pulled wakes nobody."""

    def kinds(answer: Assessment) -> list[tuple[str, str]]:
        found = of_panel(answer, None, answer.at, ZoneInfo("UTC"))
        return [
            (item.kind, item.say.key)
            for item in found
            if item.kind not in ("too cold tonight", "margin closing")
        ]

    mould: dict[str, Any] = {"substrate": "metal mould"}
    assert kinds(told(3.2, "in-mould", **mould)) == [("chore soon", "alarm_trim")]
    assert ("chore soon", "alarm_carve") not in kinds(told(6.5, "fairing")), "two hours are left"
    assert ("chore soon", "alarm_carve") in kinds(told(7.8, "fairing"))
    assert kinds(told(25.0, "laminate", peel_ply=True)) == [("peel ply off", "alarm_ready_ply")]
    assert kinds(told(34.0, "glue line")) == [("clamps off", "alarm_ready_clamps")]
    assert not KINDS["peel ply off"].alarm
    assert not KINDS["clamps off"].alarm


def test_tape_and_peel_ply_are_told_when_the_coat_is_mixed() -> None:
    registered = {
        "name": "Lid",
        "zone": "shed",
        "surface_probe": "S1",
        "air_probe": None,
        "substrate": "wood",
    }
    mixed = {"card": "own", "kind": "fill", "peel_ply": True, "taped": True}
    events = [
        Event("e1", MIXED, MIXED, "", "panel registered", "lid", registered),
        Event("e2", MIXED, MIXED, "", "coat mixed", "lid", mixed),
        Event("e3", at(9.0), at(9.0), "", "tape pulled", "lid", {}),
    ]
    panel = fold(events)["lid"]
    assert panel.coats[0].taped
    assert panel.coats[0].peel_ply
    assert panel.tape_pulled_at == at(9.0)
