"""Sites that are cut off, lag or run ahead ring once, by name, in the place of all their probes."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

from collector.reading import ProbeFacts
from collector.store.site_state import SiteState
from dashboard.alarms import AlarmStates, Condition
from dashboard.conditions import conditions
from dashboard.display import View
from dashboard.notice_words import sentences
from dashboard.panel import Panel
from dashboard.site_conditions import FIRST_MS
from dashboard.site_view import site_line, site_lines

NOW = 1_795_604_832_000
MINUTE = 60_000
VIEW = View(ZoneInfo("Europe/Oslo"), "degC", NOW)
HEARD = SiteState("north", heard_at=NOW - 20_000, arrived_at=NOW - 30_000, newest_at=NOW - 40_000, known=True)
PROBES = {
    name: ProbeFacts(name, "north · shed", "surface", 60.0, 0.8)
    for name in ("north:S1", "north:S2", "south:S1")
}


class Silent:
    """A follower of two sites, none of whose probes has spoken for an hour."""

    def __init__(self, *sites: SiteState) -> None:
        self.sites = sites
        self.site_of = {name: name.partition(":")[0] for name in PROBES}

    def heard(self, probe: str) -> int:
        return NOW - 60 * MINUTE

    def doubts(self, probe: str) -> list[object]:
        return []

    def unusable(self, probe: str, at: int) -> None:
        return None


def so(*sites: SiteState) -> list[Condition]:
    lid = Panel("lid", "Lid 4", "north · shed", "north:S1", None, "wood", ())
    return conditions([], PROBES, Silent(*sites), NOW, VIEW.zone, {"lid": lid})  # type: ignore[arg-type]


def cut(name: str, minutes: int = 10) -> SiteState:
    return SiteState(name, heard_at=NOW - minutes * MINUTE, known=True)


def test_a_cut_site_is_one_alarm_that_names_its_panels_and_its_probes_are_not_told_besides() -> None:
    found = so(cut("north"), SiteState("south", heard_at=NOW, known=True))
    assert [(one.kind, one.probe) for one in found] == [("site unheard", None), ("probe silent", "south:S1")]
    assert found[0].panels == ("Lid 4",)
    assert VIEW.sentence(found[0].say) == "See to the network of north: not heard since 11:57"


def test_a_silent_probe_at_a_site_that_is_heard_is_told_as_such() -> None:
    assert [one.probe for one in so(HEARD)] == ["north:S1", "north:S2", "south:S1"]


def test_two_cut_sites_are_two_occurrences_and_one_sentence() -> None:
    states = AlarmStates()
    alarms = states.update(so(cut("north"), cut("south")), NOW)
    assert [alarm.of for alarm in alarms] == ["north", "south"]
    assert sentences(alarms, VIEW) == ["See to the network of 2 sites: north, south"]
    again = AlarmStates(states.active)
    assert again.update(so(cut("north"), cut("south")), NOW + MINUTE) == []


def test_a_site_never_heard_rings_only_once_it_could_have_been() -> None:
    states = AlarmStates()
    never = so(SiteState("north"))[:1]
    assert states.update(never, NOW) == []
    [alarm] = states.update(never, NOW + FIRST_MS)
    assert VIEW.sentence(alarm.say) == "See to north: never heard"


def test_a_server_that_is_away_is_told_once_and_no_site_is_blamed() -> None:
    away = [SiteState(name, heard_at=NOW - 10 * MINUTE, why="refused") for name in ("north", "south")]
    [found] = [one for one in so(*away) if one.kind == "site unheard"]
    assert VIEW.sentence(found.say) == "See to the time-series server: it does not answer"
    assert [one for one in so(*away) if one.kind == "probe silent"] == []


def test_a_site_that_lags_and_one_whose_clock_runs_ahead_are_told_apart() -> None:
    lags = SiteState("north", heard_at=NOW, behind=40, lags_since=NOW - 15 * MINUTE, known=True)
    [late, *_] = so(lags)
    assert (late.kind, VIEW.sentence(late.say)) == ("site lags", "See why north sends late, since 11:52")
    [shared, *_] = so(SiteState("north", heard_at=NOW, shared=True, known=True))
    assert shared.kind == "site unheard"
    assert VIEW.sentence(shared.say) == "Rename both computers that send as north"
    ahead = SiteState("north", heard_at=NOW, ahead_ms=5 * MINUTE, known=True)
    [clock, *_] = so(ahead)
    assert VIEW.sentence(clock.say) == "Set the clock of north: it runs ahead"


def test_the_page_says_of_each_site_when_it_was_heard_and_first_what_is_wrong() -> None:
    fine = site_line(HEARD, VIEW)
    assert (fine.late, fine.head, fine.more) == (False, "Heard just now, readings to 12:06", ())
    gone = site_line(cut("north"), VIEW)
    assert (gone.late, gone.head) == (True, "Not heard since 11:57")
    assert gone.more[0].startswith("See to its power and network. Panels there are not known"), (
        "what to do, first"
    )
    lags = SiteState(
        "north", NOW, 40, NOW - 15 * MINUTE, arrived_at=NOW, newest_at=NOW - 20 * MINUTE, known=True
    )
    assert site_line(lags, VIEW).head == "Sends late: 40 batches wait there since 11:52."
    assert site_line(lags, VIEW).more[0] == "On its computer, coldshed check says why."
    assert site_line(lags, VIEW).more[-1] == "Heard just now, readings to 11:47"
    assert [line.name for line in site_lines([HEARD, replace(cut("south"), name="a")], VIEW)] == [
        "a",
        "north",
    ]
    old = SiteState("north", NOW, arrived_at=NOW, newest_at=NOW - 300 * MINUTE, known=True)
    assert site_line(old, VIEW).more == ("What came last is old: it was measured by 07:07.",)
    assert "nothing of it is believed" in site_line(SiteState("n", NOW, ahead_ms=9 * MINUTE), VIEW).head
    two = site_line(SiteState("n", NOW, shared=True), VIEW)
    assert (two.late, two.head) == (True, "Two computers send under this name: nothing of it is believed.")
    assert "one that neither had" in two.more[0] + two.more[1]
    assert site_line(SiteState("n"), VIEW).head == "Never heard"
