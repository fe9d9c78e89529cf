"""An invented night at two sites: one is cut off, or its forwarder lags. What rings first, and that nothing there is
shown as ready meanwhile."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache, partial

import pytest

from collector.store.site_state import SiteState
from dashboard import coat_course
from dashboard.alarm import Alarm
from model.calibration import card_members
from model.verdict import State
from tests.dashboard.alarm_nights import NAMES, Replay
from tests.dashboard.alarm_scene import HISTORY_DAYS, MINUTE, NOON, PANELS, PROBES, Scene, Shed, scenes

FEWER_MEMBERS = 64
"""When an alarm rings does not hang on the third digit of a range."""
COATED, TROUBLE, BACK, END, STEP = 100, 200, 370, 376, 10
"""Minutes since noon. In the warm room the coat is ready for the next one between TROUBLE and BACK."""
NORTH, SOUTH = PANELS[0], PANELS[2]


class TwoSites(Shed):
    """The shed is a site called north, the warm room is south. From TROUBLE to BACK nothing new comes from south."""

    def __init__(self, scene: Scene, cut: bool | None) -> None:
        super().__init__(scene)
        self._cut = cut
        self.site_of = {name: "north" if facts.zone == "shed" else "south" for name, facts in PROBES.items()}

    def at(self, minute: int) -> int:
        at, began = super().at(minute), NOON + TROUBLE * MINUTE
        north, south = (SiteState(name, heard_at=at, known=True) for name in ("north", "south"))
        if self._cut is not None and TROUBLE <= minute < BACK:
            south = (
                replace(south, heard_at=began) if self._cut else replace(south, behind=9, lags_since=began)
            )
        self.sites = north, south
        return at

    def _seen(self, probe: str) -> int:
        held = self._cut is not None and self.site_of[probe] == "south" and TROUBLE <= self.minute < BACK
        return HISTORY_DAYS * 1440 + TROUBLE + 1 if held else super()._seen(probe)


class TwoSitesReplay(Replay):
    """Notes what a page would show of each panel, minute by minute: headlines, "" for not known."""

    def __init__(self, scene: Scene, cut: bool | None) -> None:
        super().__init__(scene, STEP, shed=TwoSites(scene, cut))
        self._followed = NORTH, SOUTH
        self.shown: dict[str, dict[int, str]] = {NORTH[0]: {}, SOUTH[0]: {}}

    def _work_out(self, minute: int, at: int) -> None:
        super()._work_out(minute, at)
        for name, item in self._latest.items():
            known = not item.is_old(at) and item.verdict.state is not State.NOT_KNOWN
            self.shown[name][minute] = item.verdict.headline.key if known else ""


@pytest.fixture
def few_members(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(coat_course, "card_members", partial(card_members, n=FEWER_MEMBERS))
    # Kept apart: what few members say of a card must not be remembered for the tests after this one.
    monkeypatch.setattr(
        coat_course, "_calibrated", lru_cache(maxsize=64)(coat_course._calibrated.__wrapped__)
    )


def replayed(cut: bool | None) -> tuple[TwoSitesReplay, list[Alarm]]:
    """And what rang from TROUBLE on. cut: or lagging; None: no site is in trouble."""
    scene = next(scenes(401, 1))
    coats = {name: [(COATED, COATED + 5)] for name, _, _ in PANELS}
    replay = TwoSitesReplay(replace(scene, coats=coats, faults=[], away=(10_000, 0), killed=10_000), cut)
    outcome = replay.run(COATED, END)
    since = NOON + TROUBLE * MINUTE
    rung = sorted(outcome.alarms.values(), key=lambda alarm: alarm.raised_at)
    return replay, [alarm for alarm in rung if alarm.raised_at >= since]


@pytest.mark.usefixtures("few_members")
def test_a_site_in_trouble_rings_first_and_by_its_name_and_nothing_there_is_shown_as_ready() -> None:
    """The same night without trouble says that the coat there is ready for the next one, in the midst of it."""
    fine, _ = replayed(None)
    ready = [minute for minute, shown in fine.shown[SOUTH[0]].items() if shown == "recoatable"]
    assert TROUBLE + 10 < ready[0] < BACK - 10, "else nothing is shown here"
    for cut, kind in ((True, "site unheard"), (False, "site lags")):
        replay, rung = replayed(cut)
        of_south = [alarm for alarm in rung if alarm.panel != NORTH[0]]
        assert [alarm.kind for alarm in of_south if alarm.raised_at < NOON + BACK * MINUTE] == [kind]
        assert of_south[0].say.values["site"] == "south"
        assert of_south[0].panels == (SOUTH[0],)
        assert of_south[0].raised_at == NOON + (TROUBLE + 3) * MINUTE
        titles = [sent.made.title for sent in replay.outcome.sent if sent.minute >= TROUBLE]
        assert sum("south" in title for title in titles) == len(NAMES), "each is told once"
        shown = replay.shown[SOUTH[0]]
        assert {shown[minute] for minute in range(TROUBLE + 2 * STEP, BACK)} == {""}
        assert shown[END - 1] == fine.shown[SOUTH[0]][END - 1] == "recoatable"
        assert "" not in replay.shown[NORTH[0]].values(), "the other site is answered all the while"
