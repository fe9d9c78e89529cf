"""Before you mix and the mix, by address: the page and the API say the same, and a bookmark means what it said."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.clock import SteppedClock
from collector.reading import Quantity, Reading
from dashboard.measures import FIELDS, cloth, mass, thickness, typed, volume, weighed
from dashboard.mix_asked import AskError, Given, mix_of
from tests.browser.fake_shop import HOUR, MINUTE, NOW, FakeShop, answer, morning, open_shop, recoat
from tests.dashboard.client import Client, new_id

TIE = "\u00a0"


LATER = NOW + 4 * HOUR


@pytest.fixture
def mild(tmp_path: Path) -> Iterator[FakeShop]:
    """A shop in which S2 and the air beside it are at 18 degC for three hours, the air at 55 %."""
    shop = open_shop(tmp_path, SteppedClock(LATER), heard=True)
    shop.read(
        *(
            Reading(probe, what, value, at, at)
            for probe, what, value in (
                ("S2", Quantity.TEMPERATURE, 18.0),
                ("A1", Quantity.TEMPERATURE, 18.0),
                ("A1", Quantity.RELATIVE_HUMIDITY, 55.0),
            )
            for at in range(LATER - 3 * HOUR, LATER + 1, MINUTE // 2)
        )
    )
    shop.save(*morning(LATER))
    yield shop
    shop.close()


@pytest.fixture
def client(mild: FakeShop) -> Client:
    return Client(mild.app)


def text(page: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page))).replace(TIE, " ")


HERE = {"spot": "probe:S2", "card": "invented-25min", "onto": "other"}


def ask(client: Client, path: str, **more: object) -> str:
    got = client.get(f"{path}?{urlencode(HERE | more, doseq=True)}")
    assert got.status_code == 200, got.text
    return text(got.text)


def test_page_and_api_give_the_same_answer(client: Client) -> None:
    got = client.get("/api/mix?" + urlencode(HERE)).json()
    assert got["answer"] == "mix now"
    assert len(got["hours"]) == 25
    page = ask(client, "/mix")
    assert got["headline"] in page
    for check in got["checks"]:
        assert check["say"].replace(TIE, " ") in page


def test_without_any_words_the_first_panel_and_its_card_are_asked_for(client: Client) -> None:
    got = client.get("/api/mix").json()
    assert (got["spot"], got["card"]) == ("panel:skiff-deck-2", "invented-25min")


def test_a_panel_whose_film_waits_says_what_the_panel_says(mild: FakeShop, client: Client) -> None:
    """No other answer than the round's; one that is past its time is none."""
    where = {"spot": "panel:lid-4"}
    got = client.get("/api/mix?" + urlencode(where)).json()
    assert got["answer"] is None, "its probe lay in ice and is silent"
    assert got["headline"].startswith("Not known: S1 silent")
    s1 = (Reading("S1", Quantity.TEMPERATURE, 18.0, at, at) for at in range(LATER - HOUR, LATER + 1, MINUTE))
    mild.read(*s1)
    got = client.get("/api/mix?" + urlencode(where)).json()
    assert got["answer"] == "not yet"
    assert got["headline"] == client.get("/api/panels/lid-4").json()["strip"]["headline"]
    mild.save(answer("lid-4", "Lid 4", recoat(LATER + HOUR, LATER + 2 * HOUR), LATER))
    assert client.get("/api/mix?" + urlencode(where)).json()["answer"] == "mix now"
    mild.save(answer("lid-4", "Lid 4", recoat(LATER + HOUR, LATER + 2 * HOUR), LATER - HOUR))
    got = client.get("/api/mix?" + urlencode(where)).json()
    assert (got["answer"], got["headline"]) == (None, "Not known: not worked out yet")


def test_a_silent_probe_is_never_mix_now(mild: FakeShop, client: Client) -> None:
    assert client.get("/api/mix?" + urlencode(HERE)).json()["answer"] == "mix now"
    mild.clock.at += 3 * MINUTE  # type: ignore[attr-defined]
    assert client.get("/api/mix?" + urlencode(HERE)).json()["answer"] is None
    assert "Not known: S2 silent since" in ask(client, "/mix")


@pytest.mark.parametrize(
    ("more", "status"),
    [({"spot": "panel:nowhere"}, 404), ({"card": "nope"}, 404), ({"bottles_C": "warm"}, 422), ({"onto": "sky"}, 422)],
)  # fmt: skip
def test_what_is_not_there_or_makes_no_sense_is_said(
    client: Client, more: dict[str, str], status: int
) -> None:
    got = client.get("/api/mix?" + urlencode(HERE | more))
    assert got.status_code == status
    assert got.json()["error"]["what"]


def test_a_slip_of_the_pen_leaves_the_page_standing(client: Client) -> None:
    page = ask(client, "/mix", bottles_C="99")
    assert "Not worked out: bottles_C: '99' is not a number from -10 to 60 °C." in page
    assert "bottles_C is given twice" in ask(client, "/mix", bottles_C="20", bottles_F="70").replace(
        "bottles is given twice", "bottles_C is given twice"
    )


def test_a_shop_without_panels_and_probes_knows_of_no_hour(tmp_path: Path) -> None:
    shop = open_shop(tmp_path, filled=False)
    try:
        got = Client(shop.app).get("/mix")
        assert got.status_code == 200
    finally:
        shop.close()


def test_page_and_api_weigh_the_same(client: Client) -> None:
    """Two plies of 300 g/m2 over 2 m2: 1263 g and a roller; what is asked in ft2 and oz/yd2 is the same mix."""
    job = {"area_m2": "2", "cloth_gm2": "300", "plies": "2", "bottles_C": "20"}
    got = client.get("/api/mix/pots?" + urlencode(HERE | job)).json()
    assert got["now"]["mixed_g"] == pytest.approx([(1200.0 + 50.0) / 0.95, (1200.0 + 100.0) / 0.95])
    page = ask(client, "/mix/pots", **job)
    assert (
        f"{got['now']['pots']} pots of {got['now']['each']['resin_g'] + got['now']['each']['hardener_g']:.0f} g"
        in page
    )
    assert "left standing in a cup can smoke at" in page
    job = {"area_ft2": f"{2 / 0.3048**2:.6f}", "cloth_ozyd2": f"{300 / 33.9057474748:.6f}", "plies": "2",
           "bottles_F": "68"}  # fmt: skip
    other = client.get("/api/mix/pots?" + urlencode(HERE | job)).json()
    assert other["now"]["mixed_g"] == pytest.approx(got["now"]["mixed_g"], rel=1e-6)
    assert other["now"]["pots"] == got["now"]["pots"]
    assert client.get("/api/mix/pots?" + urlencode(HERE)).status_code == 422


def test_the_countdown_uses_the_pots_own_mass_vessel_and_bottles(mild: FakeShop, client: Client) -> None:
    """More is never longer, a tray never shorter than a cup, warm bottles never longer; unweighed is a large cup."""
    for probe in ("S1", "A1"):
        mild.read(
            *(
                Reading(probe, Quantity.TEMPERATURE, 12.0, at, at)
                for at in range(LATER - HOUR + 1, LATER, MINUTE)
            )
        )
    pots: list[dict[str, object]] = [
        {},
        {"resin_g": 312, "hardener_g": 88, "vessel": "cup", "bottles_C": 22},
        {"resin_g": 156, "hardener_g": 44, "vessel": "cup", "bottles_C": 22},
        {"resin_g": 156, "hardener_g": 44, "vessel": "cup", "bottles_C": 15},
        {"resin_g": 156, "hardener_g": 44, "vessel": "tray", "bottles_C": 15},
    ]
    times = []
    for pot in pots:
        body = {"card": "invented-25min", "pot": pot or None}
        told = {"id": new_id(), "kind": "coat mixed", "panel": "box-a", "at": LATER, "body": body}
        assert client.post("/api/events", told).status_code == 200
        got = client.get("/api/panels/box-a/pot").json()
        assert got["mixed_at"] == LATER
        assert got["pour_by"] < got["usable_at"]
        times.append(got["pour_by"])
        client.post(
            "/api/events", {"id": new_id(), "kind": "withdrawn", "panel": "box-a", "event": told["id"]}
        )
    assert times == sorted(times)
    assert times[0] < times[-1]


def test_a_preference_takes_its_own_words_only(client: Client) -> None:
    told = {"id": new_id(), "kind": "preference", "key": "measures"}
    assert client.post("/api/events", told | {"value": "degF"}).status_code == 422
    assert "lb" not in ask(client, "/mix/pots", amount_g="2000")
    assert client.post("/api/events", told | {"value": "US"}).json()["said"].endswith("lb, ft²")
    page = ask(client, "/mix/pots", amount_g="2000")
    assert "oz" in page
    assert "Area, ft²" in page


@pytest.mark.parametrize("quantity", FIELDS)
@given(thousandths=st.integers(1, 2_000_000))
def test_what_was_typed_comes_back_in_either_system(quantity: str, thousandths: int) -> None:
    """To three decimals, as often as the page is sent: what is kept is SI."""
    for field in FIELDS[quantity].values():
        once = f"{thousandths / 1000:g}"
        assert typed(field.to_si(float(once)), field) == once


@given(st.floats(20.0, 3000.0), st.floats(0.1, 1.0), st.floats(1.0, 5.0))
def test_the_scale_shows_weights_that_are_in_ratio_and_a_tolerance_cut_inwards(
    resin_g: float, ratio: float, tolerance: float
) -> None:
    """As printed, in both systems: the hardener belongs to the printed resin within half a step of the scale."""
    for system, step_g in (("metric", 0.1), ("US", 0.01 * 28.349523125)):
        got = weighed(resin_g, ratio, tolerance, system)
        resin, hardener, high = (
            float(part.partition(TIE)[0]) for part in (got.resin, got.hardener, got.high)
        )
        low = float(got.low)
        exact, band = resin * ratio, resin * ratio * tolerance / 100.0
        assert exact - band - 1e-6 <= low
        assert high <= exact + band + 1e-6
        if band >= 2.0 * step_g:
            assert low <= hardener <= high


def test_weights_and_measures_as_people_write_them() -> None:
    """1 lb 454 g, 12 oz/yd2 407 g/m2, 8 fl oz 237 ml (common practice, no source)."""
    told = [mass(345.2, "metric"), mass(1852.0, "metric"), mass(453.59237, "US"), mass(100.0, "US")]
    assert told == [f"345{TIE}g", f"1.85{TIE}kg", f"1{TIE}lb{TIE}0.0{TIE}oz", f"3.5{TIE}oz"]
    assert cloth(406.9, "US") == f"12.0{TIE}oz/yd²"
    assert volume(236.6, "US") == f"8.0{TIE}fl{TIE}oz"
    assert thickness(2.54, "US") == f"0.10{TIE}in"


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ([("area_m2", "0")], "area_m2"),
        ([("area_m2", "two")], "area_m2"),
        ([("area_ft2", "9999")], "ft²"),
        ([("cloth_gm2", "5")], "cloth_gm2"),
        ([("cloth_gm2", "300"), ("plies", "0")], "plies"),
        ([("cloth_gm2", "300"), ("weave", "silk")], "woven, stitched mat, chopped mat"),
        ([("vessel", "bucket")], "cup, tray"),
        ([("amount_g", "nan")], "amount_g"),
        ([("fills", "1.5")], "fills"),
        ([("cloth_gm2", "300")] * 9, "at most 8"),
        ([("amount_g", "300"), *[("plies", "1")] * 9], "plies: 9 lines"),
        ([("amount_g", "300"), ("plies", "many")], "plies"),
        ([("cloth_gm2", "300"), ("cloth_ozyd2", "9")], "twice, as cloth_gm2 and cloth_ozyd2"),
    ],
)
def test_a_mix_that_makes_no_sense_is_refused_with_what_is_allowed(
    given: list[tuple[str, str]], says: str
) -> None:
    with pytest.raises(AskError, match=re.escape(says)):
        mix_of(Given(given))
