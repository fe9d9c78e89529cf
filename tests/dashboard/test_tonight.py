"""Tonight by page and API: the same numbers, "not known" where nothing is known, and what to do before leaving."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dashboard import night_chart, tonight
from dashboard.asked import NotAsked
from dashboard.assessment import Passing
from dashboard.forecast_file import ForecastFile
from dashboard.panel import Panel
from dashboard.supposing import Busy, Supposing
from dashboard.words import CAUTIONS, LABELS
from model.decide import not_known
from model.resin_card import Milestone
from model.verdict import Say
from tests.browser.fake_shop import utc
from tests.dashboard.client import Client
from tests.dashboard.night_shop import HOUR, MINUTE, NOW, NightShop, open_night
from tests.dashboard.test_asked import ask, view


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NightShop]:
    """20:07 on a winter evening; nobody changes it."""
    shop = open_night(tmp_path_factory.mktemp("evening"))
    yield shop
    shop.close()


@pytest.fixture
def client(evening: NightShop) -> Client:
    return Client(evening.app)


def api(client: Client, path: str) -> Any:
    return client.get(f"/api{path}").json()


def test_the_coldest_hour_is_that_of_the_outlook_and_lies_in_the_night(evening: NightShop) -> None:
    item = evening.item("plug-7")
    assert item.night is not None
    found = tonight.coldest(item.night, view())
    assert found is not None
    hours = [
        sum(item.night.likely_C[i : i + 4]) / 4
        for i, at in enumerate(item.night.t)
        if utc("2026-11-25 17:00") <= at <= utc("2026-11-26 06:00") and i + 4 <= len(item.night.t)
    ]
    assert found.likely_C == min(hours)
    assert found.end - found.begin == HOUR
    assert utc("2026-11-26 02:00") < found.middle < utc("2026-11-26 04:30")


def test_too_cold_is_said_before_ten_with_the_minute_at_which_it_stops(
    client: Client, evening: NightShop
) -> None:
    """By page, API and round alike; the minute is the outlook's."""
    item = evening.item("plug-7")
    assert item.night is not None
    assert item.night.cold_at is not None
    said = view().sentence(tonight.headline(item, view()))  # type: ignore[arg-type]
    assert re.fullmatch(r"Too cold tonight: it will stop curing at 2\d:\d\d", said)
    assert api(client, "/panels/plug-7/tonight")["headline"] == said
    for page in ("/tonight", "/tonight/plug-7"):
        assert said in client.get(page).text
    assert said in client.get("/").text, "the evening round says it, too"
    i = item.night.t.index(max(t for t in item.night.t if t <= item.night.cold_at))
    assert item.night.likely_C[i] >= 10.0 > item.night.likely_C[i + 1]


def test_a_card_for_the_cold_is_not_warned_of(evening: NightShop) -> None:
    assert tonight.too_cold(evening.item("lid-4"), view()) is None
    assert tonight.too_cold(evening.item("deck-2"), view()) is None


def test_milestones_are_told_from_the_safe_side(client: Client, evening: NightShop) -> None:
    """Rounded as headlines are: "from" up, "by" down; the numbers are watch's."""
    item, told = evening.item("plug-7"), api(client, "/panels/plug-7/tonight")
    stored = {one.name: one for one in item.milestones}
    assert {one["name"]: one["late"] for one in told["milestones"]} == {
        name: one.late for name, one in stored.items()
    }
    free = stored["tack_free"].late
    assert free is not None
    clock = view().clock(view().rounded(free, "free_from"))
    assert any(line.startswith(f"Tack-free from {clock}") for line in told["times"])
    assert view().rounded(free, "free_from") >= free
    assert stored["sand"].late is None, "in this cold it lies beyond two days"
    assert "Sand: not within two days at this temperature." in told["times"]


def test_what_is_not_known_is_said_and_nothing_can_be_supposed(client: Client) -> None:
    told = api(client, "/panels/rib-1/tonight")
    assert told["headline"].startswith("Not known: S3 silent since")
    assert (told["night"], told["milestones"], told["known"]) == (None, [], False)
    page = client.get("/tonight/rib-1?hold=20").text
    assert 'id="what-if"' not in page
    assert "Instead of" not in page
    refused = client.get("/api/panels/rib-1/tonight/if?hold_C=20&to_ms=" + str(NOW + HOUR))
    assert refused.status_code == 409
    assert "Not known" in refused.json()["error"]["what"]


def test_an_answer_past_its_time_leaves_no_night(tmp_path: Path) -> None:
    shop = open_night(tmp_path)
    try:
        shop.clock.at += 30 * MINUTE
        client = Client(shop.app)
        assert api(client, "/panels/plug-7/tonight")["known"] is False
        page = client.get("/tonight/plug-7").text
        assert "Too cold tonight" not in page.split('class="stale"')[0]
        assert "<polygon" not in page
    finally:
        shop.close()


def heat(**more: Any) -> str:
    values = {"hold_C": 20, "from_ms": NOW + 10 * MINUTE, "to_ms": NOW + 6 * HOUR, **more}
    return "&".join(f"{key}={value}" for key, value in values.items())


def test_a_what_if_says_the_difference_and_stores_nothing(client: Client, evening: NightShop) -> None:
    before, count = evening.item("deck-2"), len(evening.logbook.events())
    told = api(client, f"/panels/deck-2/tonight/if?{heat(hold_C=28)}")
    assert told["if_so"]["sand"] < told["as_it_is"]["sand"]
    assert any(re.match(r"Sand at .* instead of .*\.", line) for line in told["said"])
    stored = {one.name: one for one in before.milestones}
    assert told["as_it_is"]["sand"] == stored["sand"].late
    assert told["as_it_is"]["recoat_until"] == stored["recoat_until"].early
    assert evening.item("deck-2") == before
    assert len(evening.logbook.events()) == count
    page = client.get("/tonight/deck-2?hold=28&from=20:17&to=02:07").text
    assert LABELS["if_note"] in page
    assert any(line in page for line in told["said"] if line.startswith("Sand at"))
    assert 'polyline class="supposed"' in page
    assert client.get("/tonight/deck-2").text.count('polyline class="supposed"') == 0


def test_a_night_told_without_a_forecast_says_how_to_get_one(client: Client) -> None:
    page = client.get("/tonight/deck-2").text
    assert LABELS["past_nights"] in page
    href = re.search(r'href="(/help/[^"]+)">' + re.escape(LABELS["forecast_how"]), page)
    assert href is not None
    assert client.get(href[1]).status_code == 200


def test_least_heat_by_page_and_api_is_one_answer(client: Client) -> None:
    by = utc("2026-11-26 07:00")
    told = api(
        client,
        f"/panels/deck-2/tonight/if?least=true&until=sand&by_ms={by}&from_ms={NOW + 8 * MINUTE}&to_ms={by}",
    )
    hold = told["least"]["hold_C"]
    assert hold is not None
    page = client.get("/tonight/deck-2?ask=least&from=20:15&to=08:00&by=08:00").text
    assert f"Hold {hold} °C from 20:15".replace(" °", "\u00a0°") in page
    assert told["unattended"] is True
    assert CAUTIONS["heater"] in page


def test_not_by_then_is_an_answer_and_says_the_best(client: Client) -> None:
    page = client.get("/tonight/plug-7?ask=least&by=23:00&from=20:15&to=22:00").text
    assert "Not by 23:00" in page
    assert re.search(r"The best that .* held from 20:15 to 22:00 can do: sand from", page)


def test_heat_in_attended_hours_is_proposed_and_the_caution_stands_where_it_runs_alone(
    client: Client,
) -> None:
    """Attended until the shop's hour of leaving, 22:00; the words of the caution are those of the record."""
    attended = client.get("/tonight/deck-2?hold=25").text
    assert 'name="to" type="text" value="22:00"' in attended
    assert CAUTIONS["heater"] not in attended
    assert CAUTIONS["burner"] in attended
    assert CAUTIONS["heater"] in client.get("/tonight/deck-2?hold=25&to=23:00").text


@pytest.mark.parametrize(
    "asked",
    [{"hold": "warm"}, {"hold": "200"}, {"hold": "20", "to": "noon"}, {"rise": "40"}, {"card": "dear"},
     {"until": "gold"}, {"by": "25:00"}, {"hold": "nan"}],
)  # fmt: skip
def test_nonsense_is_refused_in_words_and_the_page_stands(asked: dict[str, str], client: Client) -> None:
    with pytest.raises(NotAsked) as error:
        ask(**asked)
    assert str(error.value) in LABELS.values() or "between" in str(error.value) or "rise" in str(error.value)
    query = "&".join(f"{key}={value}" for key, value in asked.items())
    page = client.get(f"/tonight/plug-7?{query}")
    assert page.status_code == 200
    assert str(error.value) in page.text.replace("&#39;", "'")


def test_the_chart_and_its_table_hold_the_outlooks_numbers(evening: NightShop) -> None:
    """Points are put back onto the axis: within a tenth of a unit, or what it is worth in degrees."""
    item = evening.item("plug-7")
    assert item.night is not None
    drawn = night_chart.chart(item, view())
    assert drawn is not None
    points = [tuple(map(float, pair.split(","))) for pair in drawn.likely.split()]
    assert drawn.unit.text == "°C"
    assert drawn.unit.y < min(name.y for name in drawn.degrees) - 8.0, "above the highest number"
    degrees = [(float(name.text), name.y - 4.0) for name in drawn.degrees]
    (one, y1), (two, y2) = degrees[0], degrees[-1]
    back = [one + (y - y1) * (two - one) / (y2 - y1) for _, y in points]
    assert back == pytest.approx(item.night.likely_C[: len(back)], abs=0.05)
    assert drawn.minimum_y is not None
    rows = night_chart.table(item, view())
    assert rows[0].likely == view().temperature(item.night.likely_C[0])
    assert rows[4].low == view().temperature(item.night.low_C[16])
    assert points[-1][0] == pytest.approx(night_chart.RIGHT)


def test_two_questions_at_once_are_worked_out_one_after_the_other_and_the_same_only_once(
    evening: NightShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from dashboard import supposing
    from dashboard.facts import Facts

    panel, item, asked = evening.logbook.panels()["deck-2"], evening.item("deck-2"), ask(hold="25")
    calls: list[int] = []

    def facts_of(panel: Panel, at: int) -> Facts:
        calls.append(at)
        with pytest.raises(Busy):  # a second one, while this one is being worked out
            desk.ask(panel, item, ask(hold="26"))
        return evening.facts(panel, at)

    monkeypatch.setattr(supposing, "WAIT_S", 0.01)
    desk = Supposing(facts_of, evening.card)
    first, again = desk.ask(panel, item, asked), desk.ask(panel, item, asked)
    assert first is again
    assert calls == [item.at]


def test_a_past_film_needs_no_cover(evening: NightShop) -> None:
    item = evening.item("lid-4")
    assert item.night is not None
    assert item.night.closes_by is not None
    assert tonight.exposed(item, view()) is False
    free = tonight.passing(item, Milestone.TACK_FREE)
    assert free is not None
    young = replace(item, milestones=(replace(free, passed=0.0, late=None),))
    assert tonight.exposed(young, view()) is True


def test_a_mix_that_is_suspected_has_a_night_but_no_times_and_no_what_if(
    evening: NightShop, tmp_path: Path
) -> None:
    """Waiting will not cure it, so nothing is supposed and no time is given; the temperatures stand."""
    shop = open_night(tmp_path)
    try:
        item = shop.item("plug-7")
        verdict = not_known(Say("suspect_mix"), (Say("why_suspect_mix", {"passed_at": NOW - HOUR}),))
        shop.store.save([replace(item, verdict=verdict)], [])
        client = Client(shop.app)
        told = api(client, "/panels/plug-7/tonight")
        assert told["headline"].startswith("Coldest hour about")
        assert told["times"] == [
            "Suspect the mix: waiting will not cure it. Slow end passed at 19:07, yet it is still soft."
        ]
        assert 'id="what-if"' not in client.get("/tonight/plug-7").text
        assert client.get(f"/api/panels/plug-7/tonight/if?{heat()}").status_code == 409
    finally:
        shop.close()


def test_ply_and_clamps_are_waited_for_only_where_they_hold_the_coat(evening: NightShop) -> None:
    panel = evening.logbook.panels()["plug-7"]
    assert panel.newest is not None
    under = replace(panel, coats=(replace(panel.newest, peel_ply=True),))
    glued = replace(panel, coats=(replace(panel.newest, kind="glue line"),))
    assert Milestone.PEEL_PLY_OFF not in tonight.shown(panel)
    assert Milestone.PEEL_PLY_OFF in tonight.shown(under)
    assert Milestone.CLAMPS_OFF in tonight.shown(glued)
    assert Milestone.CLAMPS_OFF not in tonight.shown(replace(glued, clamps_off_at=NOW))


def outdoors_csv(path: Path, made: int, colder_K: float = 0.0) -> ForecastFile:
    """A forecast as some program of the shop's writes it: five days gone by, a day and a half to come."""
    rows = ["time,air [degC]"]
    for hour in range(-120, 36):
        at = datetime.fromtimestamp((NOW + hour * HOUR) / 1000, UTC)
        air = 5.0 + 5.0 * math.cos((hour + 7.0) * math.pi / 12.0) - (colder_K if hour > 0 else 0.0)
        rows.append(f"{at.isoformat()},{air:.2f}")
    path.write_text("\n".join(rows), encoding="utf-8")
    os.utime(path, ns=(made * 1_000_000, made * 1_000_000))
    return ForecastFile(path)


def test_a_forecast_file_changes_headline_tonight_and_what_if_alike(tmp_path: Path) -> None:
    """watch and serve read the same file; its age is shown."""
    found = {}
    for name, colder in (("mild", 0.0), ("hard", 8.0)):
        folder = tmp_path / name
        folder.mkdir()
        shop = open_night(folder, forecast=outdoors_csv(folder / "out.csv", NOW - HOUR, colder))
        try:
            item, client = shop.item("deck-2"), Client(shop.app)
            cold = shop.item("plug-7").night
            assert cold is not None
            found[name] = min(cold.likely_C)
            told = api(client, f"/panels/deck-2/tonight/if?{heat(hold_C=28)}")
            stored = {one.name: one for one in item.milestones}
            safe = {name: told["as_it_is"][name] for name in ("tack_free", "recoat_from", "sand")}
            assert safe == {name: stored[name].late for name in safe}
            assert safe["tack_free"] is not None
            assert "Weather forecast of 19:07" in client.get("/tonight/deck-2").text
        finally:
            shop.close()
    assert found["hard"] < found["mild"] - 1.0


def test_a_stale_or_broken_forecast_is_said_and_past_nights_are_used(
    tmp_path: Path, evening: NightShop
) -> None:
    for name in ("stale", "broken"):
        folder = tmp_path / name
        folder.mkdir()
        file = outdoors_csv(folder / "out.csv", NOW - 20 * HOUR)
        if name == "broken":
            file.path.write_text("time,air [degC]\nsoon,cold\n", encoding="utf-8")
        shop = open_night(folder, forecast=file)
        try:
            night, own = shop.item("plug-7").night, evening.item("plug-7").night
            assert night is not None
            assert own is not None
            assert night.likely_C == own.likely_C
            page = Client(shop.app).get("/tonight/plug-7").text
            assert "Forecast not used" in page
            assert ("too old" if name == "stale" else "out.csv:2: time:") in page
        finally:
            shop.close()


def test_what_likely_lies_ahead_is_not_said_to_be_over_nor_what_likely_is_over_to_come(
    evening: NightShop,
) -> None:
    """The window's safe end has passed and its likely one has not; for sanding it is the other way round."""
    item, panel = evening.item("plug-7"), evening.logbook.panels()["plug-7"]
    shuts = Passing("recoat_until", item.at - HOUR, item.at + HOUR, item.at + 3 * HOUR, 0.2)
    sand = Passing("sand", item.at - 3 * HOUR, item.at - HOUR, item.at + HOUR, 0.7)

    def said(*milestones: Passing) -> list[str]:
        return [say.key for say in tonight.time_lines(panel, replace(item, milestones=milestones), view())]

    assert said(shuts, sand) == ["shuts_unsure", "sand_slow"]
    over = replace(shuts, likely=item.at - 1)
    assert said(over, replace(sand, likely=item.at + 1)) == ["shuts_past", "sand_not_yet"]
