"""What asks for somebody, from one panel's answer: when it begins, when it ends, and what is left alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from collector.reading import ProbeFacts
from collector.store.site_state import SiteState
from dashboard.alarm_kinds import KINDS, Wakes
from dashboard.alarms import AlarmStates
from dashboard.assessment import Assessment, Film, Night, Passing
from dashboard.cold_night import cold_tonight
from dashboard.conditions import conditions, of_panel
from dashboard.margin import closing
from dashboard.panel import Coat, Hold, Panel, PlannedCoat
from dashboard.words.alarms import ACTS, KIND_NAMES
from model.verdict import Flag, Kind, Mark, Say, State, Verdict
from tests.browser.fake_shop import HOUR, MINUTE, NOW, answer, recoat, utc, waiting

ZONE = ZoneInfo("Europe/Oslo")
EVENING = utc("2026-01-10 18:00")
"""19:00 in the shop's zone."""
POT_MIXED = NOW - 5 * MINUTE


def kinds(item: Assessment, at: int = NOW, panel: Panel | None = None) -> list[str]:
    return [one.kind for one in of_panel(item, panel, at, ZONE)]


def item(verdict: Verdict, at: int = NOW, **more: object) -> Assessment:
    return answer("lid-4", "Lid 4", verdict, at, **more)


def in_the_pot(by: int) -> Verdict:
    return Verdict(State.IN_THE_POT, Kind.ACT, Mark.CUP, Say("in_the_pot", {"pour_by": by}), rank=0)


def panel(plan: int = 0, coats: int = 1, hold: Hold | None = None) -> Panel:
    made = tuple(Coat(n, "c", NOW - HOUR, NOW - HOUR, "laminate", f"e{n}") for n in range(1, coats + 1))
    planned = tuple(PlannedCoat("laminate") for _ in range(plan))
    return Panel("lid-4", "Lid 4", "shed", "S1", "A1", "wood", coats=made, plan=planned, hold=hold)


def test_a_pot_is_told_of_ten_minutes_before_or_in_the_last_third_of_a_short_life() -> None:
    """A pot of 9 minutes is not told of the moment it is mixed; one of an hour ten minutes before its end."""
    short = item(in_the_pot(POT_MIXED + 9 * MINUTE), mixed_at=POT_MIXED)
    assert kinds(short, POT_MIXED + 5 * MINUTE) == []
    assert kinds(short, POT_MIXED + 6 * MINUTE) == ["pot about to go"]
    long = item(in_the_pot(NOW + 55 * MINUTE), mixed_at=POT_MIXED, good_until=NOW + 60 * MINUTE)
    assert kinds(long, NOW + 44 * MINUTE) == []
    assert kinds(long, NOW + 45 * MINUTE) == ["pot about to go"]


def test_a_window_is_told_of_before_it_opens_and_before_it_shuts() -> None:
    """Half an hour before it may open, an hour before it may shut: time to mix."""
    opens = replace(item(waiting(NOW)), good_until=NOW + 3 * HOUR)
    assert kinds(opens, NOW + 89 * MINUTE) == []
    assert kinds(opens, NOW + 90 * MINUTE) == ["window opens soon"]
    shuts = item(recoat(NOW + 2 * HOUR, NOW + 3 * HOUR), good_until=NOW + 2 * HOUR)
    assert kinds(shuts) == []
    assert kinds(shuts, NOW + HOUR) == ["window shuts soon"]


def test_no_window_is_told_of_when_no_coat_is_to_come() -> None:
    shuts = item(recoat(NOW + 30 * MINUTE, NOW + HOUR))
    assert kinds(shuts, panel=panel(plan=2)) == ["window shuts soon"]
    assert kinds(shuts, panel=panel(plan=1)) == []
    assert kinds(shuts, panel=panel()) == ["window shuts soon"], "nobody has planned: it may be meant"


def test_a_panel_on_hold_asks_for_nothing_but_its_pot() -> None:
    held = panel(hold=Hold(NOW - HOUR, "Kim", "tape"))
    assert kinds(item(recoat(NOW + 30 * MINUTE, NOW + HOUR)), panel=held) == []
    assert kinds(item(in_the_pot(NOW + MINUTE), mixed_at=POT_MIXED), panel=held) == ["pot about to go"]


def test_an_answer_that_is_too_old_asks_for_nothing() -> None:
    old = item(recoat(NOW + 30 * MINUTE, NOW + HOUR), good_until=NOW)
    assert kinds(old) == []


def night(*likely: float, closes_at: int | None = None, start: int = EVENING) -> Night:
    t = tuple(start + n * 15 * MINUTE for n in range(len(likely)))
    return Night(t, likely, likely, likely, (), 3.0, None, closes_at, closes_at)


def cooling(low: float, at: int = EVENING) -> Assessment:
    """From 15 degC down to `low` within three hours, and three hours so; its card needs 10."""
    falls = tuple(15.0 + (low - 15.0) * min(n, 12) / 12 for n in range(24))
    return item(waiting(at), at, night=night(*falls, start=at), panel_C=15.0, good_until=at + 26 * HOUR)


def test_too_cold_tonight_is_said_between_noon_and_ten_and_stands_until_the_morning() -> None:
    assert cold_tonight(cooling(6.4), EVENING, ZONE) == (6.0, True)
    assert cold_tonight(cooling(12.0), EVENING, ZONE) is None
    late = utc("2026-01-10 20:36")
    assert cold_tonight(cooling(6.4, late), late, ZONE) == (6.0, False), "told by 22:00 or not at all"
    just = replace(cooling(6.4, late), mixed_at=late - 10 * MINUTE)
    assert cold_tonight(just, late, ZONE) == (6.0, True), "who has just mixed is awake"
    morning = utc("2026-01-11 07:30")
    assert cold_tonight(cooling(6.4, morning), morning, ZONE) is None


def test_a_night_that_comes_near_the_limit_keeps_what_was_said_and_says_nothing_new() -> None:
    """Deadband of 1 K: raised below 10 degC, away at 11, and nothing in between."""
    assert cold_tonight(cooling(10.5), EVENING, ZONE) == (10.0, False)
    assert cold_tonight(cooling(11.0), EVENING, ZONE) is None
    states = AlarmStates()
    for minute in range(180):
        at = EVENING + minute * MINUTE
        low = 9.4 if minute < 30 else (9.9 if minute % 2 else 10.4)
        states.update(of_panel(cooling(low, at), None, at, ZONE), at)
    assert [alarm.kind for alarm in states.active] == ["too cold tonight"]
    assert states.active[0].raised_at == EVENING


@pytest.mark.parametrize("state", [State.SANDABLE, State.DEMOULDABLE, State.FULLY_CURED])
def test_a_coat_that_is_done_is_hurt_by_no_cold_night(state: State) -> None:
    done = replace(cooling(2.0), verdict=Verdict(state, Kind.GO, Mark.TEETH, Say("sandable"), rank=5))
    assert cold_tonight(done, EVENING, ZONE) is None


def test_a_margin_that_closes_is_told_of_while_a_cover_still_helps() -> None:
    def young(margin_K: float, closes_in_h: float, tack_free_in_h: float = 8.0) -> Assessment:
        free = Passing("tack_free", NOW, NOW, NOW + round(tack_free_in_h * HOUR), 0.0)
        ahead = night(12.0, closes_at=NOW + round(closes_in_h * HOUR), start=NOW)
        return item(waiting(NOW), night=ahead, margin_K=margin_K, milestones=(free,))

    assert closing(young(5.2, 1.5), NOW) == (5.0, True)
    assert closing(young(5.2, 2.5), NOW) == (5.0, False), "within the deadband it only keeps what was said"
    assert closing(young(5.2, 3.5), NOW) is None
    assert closing(young(2.9, 0.0), NOW) is None, "closed: now only washing helps"
    assert closing(young(5.2, 1.5, tack_free_in_h=1.0), NOW) is None, "tack-free before it closes"


def test_exposure_is_told_of_only_when_it_can_be_washed() -> None:
    film = Film("wet", 3.0, -0.8, NOW - HOUR, NOW - 2 * HOUR, NOW - HOUR, None)
    tacky = replace(item(waiting(NOW)), film=film)
    assert "blush exposure" not in kinds(tacky)
    wash = Verdict(State.FIRM, Kind.CARE, Mark.DROP, Say("wash_wet"), rank=3)
    assert kinds(replace(tacky, verdict=wash)) == ["blush exposure"]


class Silent:
    """A follower that heard nothing from any probe for an hour."""

    sites: tuple[SiteState, ...] = ()
    site_of: Mapping[str, str] = {}

    def heard(self, probe: str) -> int:
        return NOW - HOUR

    def doubts(self, probe: str) -> list[object]:
        return []

    def unusable(self, probe: str, at: int) -> None:
        return None


def test_a_silent_probe_names_its_panels_and_is_urgent_only_over_a_young_film() -> None:
    probes = {"S1": ProbeFacts("S1", "shed", "surface", 60.0, 0.8)}
    both = {"lid-4": panel(), "rib-1": replace(panel(), id="rib-1", name="Rib 1")}
    young = item(waiting(NOW), milestones=(Passing("tack_free", NOW, NOW, NOW + HOUR, 0.0),))
    [one] = [so for so in conditions([young], probes, Silent(), NOW, ZONE, both) if so.probe]  # type: ignore[arg-type]
    assert (one.kind, one.panels, one.urgent) == ("probe silent", ("Lid 4", "Rib 1"), True)
    firm = replace(young, milestones=(Passing("tack_free", NOW, NOW, NOW - HOUR, 1.0),))
    [one] = [so for so in conditions([firm], probes, Silent(), NOW, ZONE, both) if so.probe]  # type: ignore[arg-type]
    assert not one.urgent


def test_a_panels_own_probe_is_told_before_those_of_the_air_and_of_the_bottles() -> None:
    """By what their silence costs, not by name: A1 and B1 come first in the alphabet, and in readings.db."""
    probes = {
        id: ProbeFacts(id, "shed", place, 60.0, 0.8)
        for id, place in (("A1", "air"), ("B1", "bottles"), ("S1", "surface"), ("S2", "surface"))
    }
    so = conditions([], probes, Silent(), NOW, ZONE, {"lid-4": panel()})  # type: ignore[arg-type]
    assert [one.probe for one in so] == ["S1", "S2", "A1", "B1"]
    told = AlarmStates().update(so, NOW)
    assert [alarm.probe for alarm in told] == ["S1", "S2", "A1", "B1"]


def test_every_kind_says_what_to_do_and_what_may_be_asked_for_has_a_name() -> None:
    assert set(ACTS) == set(KINDS)
    assert set(KIND_NAMES) == {
        name for name, kind in KINDS.items() if kind.wakes in (Wakes.SUGGESTED, Wakes.ASKED)
    }
    assert [name for name, kind in KINDS.items() if kind.wakes is Wakes.ALWAYS] == ["pot about to go"]


def test_a_cold_panel_that_is_to_be_washed_first_is_not_asked_to_be_warmed_first() -> None:
    """As its page says: warmth would bake in what water takes off."""
    flags = frozenset({Flag.STOPPED_BY_COLD, Flag.WASH_FIRST})
    for key, said in (("wash_wet", "alarm_stopped_wash"), ("wash_later", "alarm_stopped")):
        wet = Verdict(State.FIRM, Kind.CARE, Mark.DROP, Say(key), flags=flags, rank=3)
        cold = [one.say.key for one in of_panel(item(wet), None, NOW, ZONE) if one.kind == "too cold"]
        assert cold == [said]


def test_what_is_hard_from_cold_is_warmed_to_where_its_page_says_that_it_cures() -> None:
    why = (Say("why_warmed", {"warm_C": 20.0, "do": "sand", "warmed_h": 9.0}),)
    flags = frozenset({Flag.STOPPED_BY_COLD})
    hard = Verdict(State.FIRM, Kind.CARE, Mark.KNEE, Say("hard_not_cured"), why, None, flags, rank=4)
    cold = [one.say for one in of_panel(item(hard), None, NOW, ZONE) if one.kind == "too cold"]
    assert [say.values["move_C"] for say in cold] == [20.0]
    unsaid = replace(hard, why=())
    cold = [one.say for one in of_panel(item(unsaid), None, NOW, ZONE) if one.kind == "too cold"]
    assert [say.values["move_C"] for say in cold] == [10.0], (
        "the card's minimum, where nothing better is known"
    )
