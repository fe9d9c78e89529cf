"""A dashboard over two sites: the Probes page and watch, while a site lags, is cut off, and comes back."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from collector.reading import Quantity
from collector.store.time_series.asking import Unanswered
from dashboard.app import create_app
from dashboard.cards import CardShelf
from dashboard.display import View
from dashboard.logbook import Logbook, LogbookReader
from dashboard.panel import Event
from dashboard.watch import Watch
from dashboard.watch_store import WatchReader, WatchWriter
from model.verdict import State
from tests.collector.store.suite.site import T0
from tests.collector.store.suite.watchstand import Watchstand
from tests.dashboard.client import Client
from tests.dashboard.few_members import few_members as few_members

ZONE = "Europe/Oslo"


class Office(Watchstand):
    """With a panel on north's probe, coated at T0, watch and the pages."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        shelf, data = CardShelf(None), folder / "office"
        self.logbook = Logbook(data / "shop.db", shelf.names).open()
        about = {"name": "Lid 4", "zone": "north · shed", "surface_probe": "north:S1", "air_probe": None}
        self._log("panel registered", **about, substrate="wood")
        self._log("coat mixed", card="invented-25min", applied_at=T0, kind="laminate")
        self.store = WatchWriter(data / "watch.db")
        reader = LogbookReader(data / "shop.db")
        self.seen = WatchReader(data / "watch.db", reader)
        self.watch = Watch(self.served, reader, shelf, self.store, self.clock, ZoneInfo(ZONE))
        app = create_app(
            watched=self.seen, logbook=self.logbook, probes=lambda: self.served.open().probes(), cards=shelf.names,
            clock=self.clock, site="All halls", time_zone=ZONE, readings=self.served, data=data,
            told=("Kim",),
        )  # fmt: skip
        self.client = Client(app)
        self._minute = 0

    def _log(self, what: str, **body: object) -> None:
        self.logbook.append(Event(what, T0, T0, "Kim", what, "lid-4", body))

    def minutes(self, n: int, *, north: bool = True, behind: int = 0) -> None:
        """So many, one after another: the sites measure and send each, unless north is cut off."""
        for _ in range(n):
            self._minute += 1
            self.later(60)
            for site in self.sites:
                site.commit([self._minute])
                if site.name != "north" or north:
                    site.beat(behind) if behind else site.send()
            self.watch.round()

    def state(self) -> State:  # type: ignore[override]
        answer = self.seen.assessment("lid-4")
        assert answer is not None
        return State.NOT_KNOWN if answer.is_old(self.clock.now()) else answer.verdict.state

    def told(self) -> tuple[str, str]:
        """What is said of the panel, and the first reason."""
        answer = self.seen.assessment("lid-4")
        assert answer is not None
        return answer.verdict.headline.key, answer.verdict.why[0].key

    def standing(self) -> list[str]:
        """Kinds of alarms that last, but of the probe that the other site has never heard."""
        lasting = [alarm for alarm in self.seen.alarms() if alarm.returned_at is None]
        return [alarm.kind for alarm in lasting if alarm.probe != "south:A 1"]

    def page(self) -> str:
        return self.client.get("/more/probes").text.replace("\u00a0", " ")

    def close(self) -> None:
        for site in self.sites:
            site.close()
        self.logbook.close()
        self.store.close()


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Office]:
    one = Office(tmp_path)
    yield one
    one.close()


def test_where_there_are_sites_one_may_choose_to_be_woken_for_them(office: Office) -> None:
    page = office.client.get("/more/notices").text
    assert 'type="checkbox" name="wake" value="site unheard" checked' in page
    assert 'type="checkbox" name="wake" value="site lags" checked' in page


def test_a_cut_sites_panel_is_not_known_until_it_is_back_and_then_as_if_it_had_never_been_cut(
    office: Office,
) -> None:
    office.minutes(6)
    assert office.state() is not State.NOT_KNOWN
    assert "site unheard" not in office.standing()
    office.minutes(6, north=False)
    assert office.state() is State.NOT_KNOWN
    assert office.standing() == ["site unheard"], "and none for each of its probes"
    assert "Not heard since" in office.page()
    assert "nothing from its site since" in office.page()
    assert office.told() == ("silent_site", "why_silent_site"), "its network is to be seen to, not a battery"
    strip = office.client.get("/").text
    assert "north not heard since" in strip.replace("\u00a0", " ")
    assert "See site" in strip
    office.minutes(4)
    assert office.state() is not State.NOT_KNOWN
    answer = office.seen.assessment("lid-4")
    assert answer is not None
    assert answer.gaps == ()
    assert answer.missing_h == 0.0
    assert office.standing() == ["probe silent"], "of the probe that was never heard there, as before"


def test_a_lagging_site_is_told_as_one_and_the_page_and_the_api_say_how_far_behind(office: Office) -> None:
    office.minutes(5)
    office.minutes(6, behind=9)
    assert office.standing() == ["site lags", "site lags"], "each site, and none for each of its probes"
    assert office.state() is State.NOT_KNOWN
    assert office.told() == ("silent_late", "why_silent_late")
    assert "Sends late: 9 batches wait there since" in office.page()
    told = office.client.get("/api/probes").json()
    assert {site["name"]: site["behind"] for site in told["sites"]} == {"north": 9, "south": 9}
    assert told["all_held"] is False


def test_a_site_that_is_back_and_still_sends_what_it_kept_has_no_silent_probes(office: Office) -> None:
    """Its heartbeat is there before all that it recorded meanwhile: what its probes said is on the way."""
    office.minutes(6)
    office.minutes(8, north=False)
    office.minutes(1, behind=7)
    assert "probe silent" not in office.standing()
    assert office.state() is State.NOT_KNOWN
    office.minutes(3)
    assert office.state() is not State.NOT_KNOWN
    assert office.standing() == ["probe silent"], "of the probe that was never heard there, as before"


def test_a_panel_of_a_site_of_which_nothing_is_believed_says_so(office: Office) -> None:
    """Two computers send under its name, in turns."""
    office.minutes(5)
    for by in (901, 902, 901, 902):
        office.sites[0].by = by
        office.minutes(1)
    assert office.state() is State.NOT_KNOWN
    assert office.told() == ("silent_doubted", "why_silent_doubted"), "not that its probe was never heard"
    assert office.standing() == ["site unheard"]
    [alarm] = [alarm for alarm in office.seen.alarms() if alarm.kind == "site unheard"]
    assert alarm.panels == ("Lid 4",)


def test_a_server_that_is_away_is_told_instead_of_probes_that_would_seem_never_heard(office: Office) -> None:
    office.minutes(5)
    office.engine.error = Unanswered("http://10.0.0.5:8086 does not answer: refused")
    office.minutes(6)
    assert office.state() is State.NOT_KNOWN
    assert office.standing() == ["site unheard"]
    assert office.told() == ("silent_server", "why_silent_server_early")
    page = office.page()
    assert "See to the time-series server: it does not answer." in page
    assert "http://10.0.0.5:8086 does not answer: refused" in page
    assert "never heard" not in page
    assert "Collect has not started" not in page
    office.engine.error = None
    office.minutes(4)
    assert office.state() is not State.NOT_KNOWN


def test_after_the_server_was_away_no_site_is_blamed_before_it_could_have_come_back(office: Office) -> None:
    """Else each of a hundred sites would ring whenever one server was started anew."""
    office.minutes(6)
    office.engine.error = Unanswered("http://10.0.0.5:8086 does not answer: refused")
    office.minutes(6, north=False)
    office.engine.error = None

    def blamed() -> list[str]:
        lasting = [alarm for alarm in office.seen.alarms() if alarm.returned_at is None]
        return [str(alarm.say.values["site"]) for alarm in lasting if alarm.say.key == "alarm_site_cut"]

    office.minutes(2, north=False)
    assert blamed() == []
    assert office.state() is State.NOT_KNOWN
    office.minutes(4, north=False)
    assert blamed() == ["north"]


def test_a_server_that_does_not_answer_for_a_minute_changes_no_answer_that_still_holds(
    office: Office,
) -> None:
    office.minutes(5)
    before = office.seen.assessment("lid-4")
    assert before is not None
    office.engine.error = Unanswered("http://10.0.0.5:8086 does not answer: slow")
    office.minutes(1)
    assert office.seen.assessment("lid-4") == before
    assert office.state() is not State.NOT_KNOWN
    assert office.watch.waiting == 0, "nothing is asked for without a pause"
    office.minutes(5)
    assert office.state() is State.NOT_KNOWN


def test_a_server_that_falls_silent_between_two_questions_rings_all_the_same(office: Office) -> None:
    """What has arrived was seen, and cannot be read any more."""
    office.minutes(5)
    for site in office.sites:
        site.commit([6])
        site.send()
    office.look()
    office.engine.error = Unanswered("http://10.0.0.5:8086 does not answer: slow")
    office.minutes(6)
    assert office.state() is State.NOT_KNOWN
    assert office.standing() == ["site unheard"]


def test_a_server_that_shows_heartbeats_but_no_readings_is_told_as_away(office: Office) -> None:
    """As one whose long answers take too long: of a site whose readings cannot be read its heartbeat says nothing."""
    office.minutes(5)
    office.engine.error, office.engine.of = (
        Unanswered("http://10.0.0.5:8086 does not answer: slow"),
        "reading",
    )
    office.minutes(6)
    assert office.state() is State.NOT_KNOWN
    assert office.standing() == ["site unheard"], "and none for each of its probes"
    assert "See to the time-series server: it does not answer." in office.page()
    office.engine.error = None
    office.minutes(4)
    assert office.state() is not State.NOT_KNOWN
    assert "site unheard" not in office.standing()


def spoil(office: Office, minutes: range) -> None:
    """What north's S1 measures in those minutes after T0 stands on the server as a number that no probe has sent."""
    write = office.engine.write

    def spoilt(lines: Sequence[str]) -> None:
        bad = tuple(f" {T0 + minute * 60_000}" for minute in minutes)
        write([
            re.sub(r"value=[^,]*", "value=1e300", line)
            if line.startswith("reading,site=north,probe=S1,") and line.endswith(bad) else line
            for line in lines
        ])  # fmt: skip

    office.engine.write = spoilt  # type: ignore[method-assign]


def test_one_reading_that_makes_no_sense_is_a_gap_and_told_and_all_else_goes_on(office: Office) -> None:
    spoil(office, range(4, 5))
    office.minutes(9)
    with closing(office.served.open()) as reader:
        north, south = (
            reader.samples(f"{site}:S1", Quantity.TEMPERATURE, 0, 2**60) for site in ("north", "south")
        )
    assert [(at - T0) // 60_000 for at in north[0].tolist()] == [1, 2, 3, 5, 6, 7, 8, 9]
    assert len(south[0]) == 9
    assert office.state() is not State.NOT_KNOWN
    at = View(ZoneInfo(ZONE), "degC", T0).clock(T0 + 4 * 60_000)
    told = f"Rows of it on the server that make no sense are left out: 1, the last of S1 temperature, {at}."
    assert told in office.page()
    [north_told, south_told] = office.client.get("/api/probes").json()["sites"]
    assert north_told["left_out"] == {"n": 1, "of": "S1 temperature", "at": T0 + 4 * 60_000}
    assert south_told["left_out"]["n"] == 0


def test_a_panel_whose_readings_make_no_sense_is_not_known_as_if_its_probe_were_silent(
    office: Office,
) -> None:
    spoil(office, range(6, 100))
    office.minutes(5)
    assert office.state() is not State.NOT_KNOWN
    office.minutes(7)
    assert office.state() is State.NOT_KNOWN
    assert "site unheard" not in office.standing(), "it is heard, and the other site with it"
    assert "north:S1" in {one.probe for one in office.seen.alarms() if one.kind == "probe silent"}


def test_probes_of_the_same_name_stand_on_one_page_and_what_only_each_site_has_is_said(
    office: Office,
) -> None:
    office.minutes(5)
    page = office.page()
    assert "north:S1" in page
    assert "south:S1" in page
    assert "stand on the Probes page of each site" in page
