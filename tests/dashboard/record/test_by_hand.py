"""Every number on a record, worked out a second time from its raw rows by arithmetic of the test's own (by_hand.py)."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from dashboard.record.document import document, to_text
from dashboard.record.used import Used
from dashboard.record.work_out import work_out
from model.calibration import RATE_SD
from model.members import members
from tests.dashboard.record import by_hand
from tests.dashboard.record.night import CORRECTION, GAP, MINUTE, START, lived_through

HOUR = by_hand.HOUR
E, REFERENCE, FULL = 57_000.0, 20.0, 85.0
"""The card gives neither activation energy nor full Tg: the model's defaults, as its design states them."""
RECOAT_FROM, WORKING = 2.7, 1.6
YOUNG = 1.8 * RECOAT_FROM
HALF_WIDTH = 0.2
"""What the corrected probe may still be off by: its standard deviation is half of that."""
LAW = by_hand.Law()


@pytest.fixture(scope="module")
def record(made: dict[str, Any]) -> dict[str, Any]:
    """The record of the night, as JSON brings it back."""
    found: dict[str, Any] = json.loads(to_text(made))
    return found


@pytest.fixture(scope="module")
def untouched(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Any]]:
    """Of a night on which nobody laid a thumb on it: nothing weighs the range."""
    shop = lived_through(tmp_path_factory.mktemp("untouched"), felt=False)
    yield json.loads(to_text(document(shop.used())))
    shop.close()


@pytest.fixture(scope="module")
def surface(record: dict[str, Any]) -> list[by_hand.Row]:
    """S1 corrected by the entry's two points, from an hour before the first coat on."""
    rows = by_hand.rows_of(record, "S1", "temperature")
    points: Any = CORRECTION["points"]
    return by_hand.corrected(rows, START - 60 * MINUTE, points)


def coats(record: dict[str, Any]) -> list[dict[str, Any]]:
    return [coat["numbers"] for coat in record["results"]["coats"]]


def means(surface: list[by_hand.Row], begun: int, end: int) -> list[float]:
    return by_hand.minute_means(surface, begun, (end - begun) // MINUTE)


def test_degree_hours_ages_and_hours_are_those_of_the_raw_rows(
    record: dict[str, Any], surface: list[by_hand.Row]
) -> None:
    end = record["results"]["until"]
    assert len(coats(record)) == 2
    for numbers in coats(record):
        life = by_hand.joined(surface, numbers["begun"], end)
        assert numbers["temperature_time_factor_Ch"] == pytest.approx(
            by_hand.degree_hours(life, 0.0), rel=1e-9
        )
        assert numbers["activation_energy_J_mol"] == E
        assert numbers["equivalent_age_h"] == pytest.approx(
            by_hand.equivalent_age(life, E, REFERENCE), rel=1e-9
        )
        holes = by_hand.gaps(surface, numbers["begun"], end)
        assert holes == [(START + GAP[0] * MINUTE, START + GAP[1] * MINUTE)]
        assert [tuple(gap) for gap in numbers["gaps"]] == holes
        missing = sum(b - a for a, b in holes) / HOUR
        assert numbers["missing_h"] == pytest.approx(missing)
        assert numbers["measured_h"] == pytest.approx((end - numbers["begun"]) / HOUR - missing)
    assert record["results"]["missing_h"] == pytest.approx(2.0)
    assert record["results"]["moisture_missing_h"] == pytest.approx(2.0)


def test_the_interval_mean_is_the_tables_rule(record: dict[str, Any], surface: list[by_hand.Row]) -> None:
    numbers = coats(record)[0]
    life = by_hand.joined(surface, numbers["begun"], record["results"]["until"])
    total = sum(
        (b - a) / HOUR * by_hand.arrhenius((va + vb) / 2, E, REFERENCE)
        for (a, va), (b, vb) in itertools.pairwise(life)
        if b - a <= 300_000
    )
    assert numbers["equivalent_age_interval_mean_h"] == pytest.approx(total, rel=1e-9)


def test_the_cards_own_cure_is_that_of_runge_kutta(
    record: dict[str, Any], surface: list[by_hand.Row]
) -> None:
    """Within 5e-5 of conversion: what the product's own steps may be off by."""
    end = record["results"]["until"] // MINUTE * MINUTE
    k = float(by_hand.rate_constant(LAW, RECOAT_FROM, REFERENCE, np.array(FULL)))
    for numbers in coats(record):
        found = by_hand.cures(LAW, means(surface, numbers["begun"], end), 1 / 60, k, E, REFERENCE, FULL)[-1]
        assert numbers["conversion_card"] == pytest.approx(float(found), abs=5e-5)


def test_the_range_of_the_cure_its_age_and_its_tg_are_those_of_every_coat_in_it(
    untouched: dict[str, Any], surface: list[by_hand.Row]
) -> None:
    """Each of the 256 by itself, on the coldest, the middle and the hottest that the gap allows; nobody felt it."""
    numbers = coats(untouched)[0]
    end = untouched["results"]["until"] // MINUTE * MINUTE
    of = members(256, rate_sd=RATE_SD, probe_sd_K=HALF_WIDTH / 2)
    k = by_hand.rate_constant(LAW, RECOAT_FROM, REFERENCE, of.Tg_inf_C) * np.exp(of.ln_rate)
    for index, (side, q) in enumerate(((-1.0, 0.1), (0.0, 0.5), (1.0, 0.9))):
        path = by_hand.bounded(surface, side) if side else surface
        temperatures = means(path, numbers["begun"], end)
        cured = by_hand.cures(
            LAW, temperatures, 1 / 60, k, of.E_J_mol, REFERENCE, of.Tg_inf_C, of.probe_offset_K
        )
        assert numbers["conversion"][index] == pytest.approx(by_hand.quantile(cured[-1], q), abs=2e-4)
        hot = by_hand.transition(LAW, cured[-1], of.Tg_inf_C)
        assert numbers["glass_transition_C"][index] == pytest.approx(by_hand.quantile(hot, q), abs=0.05)
        age = np.exp(of.ln_rate) * sum(
            by_hand.arrhenius(T + of.probe_offset_K, of.E_J_mol, REFERENCE) / 60 for T in temperatures
        )
        assert numbers["age_h"][index] == pytest.approx(by_hand.quantile(age, q), rel=1e-9)
        assert numbers["rate"][index] == pytest.approx(by_hand.quantile(np.exp(of.ln_rate), q), rel=1e-9)
        if side == 0.0:
            opens = next(item for item in numbers["passed"] if item["name"] == "recoat_from")
            half = next(i for i, a in enumerate(cured) if np.count_nonzero(a >= LAW.gel) >= 128)
            assert abs(opens["likely"] - (numbers["begun"] + (half + 1) * MINUTE)) <= MINUTE


def test_below_the_datum_nothing_counts_and_its_crossing_is_exact(used: Used) -> None:
    """The same night 12 K colder goes through 0 degC twice."""
    series = tuple(
        replace(one, value=one.value - 12.0) if one.quantity.value == "temperature" else one
        for one in used.series
    )
    cold = json.loads(to_text(document(replace(used, series=series))))
    points: Any = CORRECTION["points"]
    rows = by_hand.corrected(by_hand.rows_of(cold, "S1", "temperature"), START - 60 * MINUTE, points)
    numbers = coats(cold)[0]
    life = by_hand.joined(rows, numbers["begun"], cold["results"]["until"])
    values = [value for _, value in life]
    assert min(values) < 0.0 < max(values)
    assert numbers["temperature_time_factor_Ch"] == pytest.approx(by_hand.degree_hours(life, 0.0), rel=1e-9)


def test_what_a_silent_probe_did_not_see_is_missing(used: Used) -> None:
    """Three hours later and no further reading: those are missing, and the cure stands where it was last known."""
    last = max(int(one.t[-1]) for one in used.series)
    before, later = work_out(used), work_out(replace(used, at=last + 3 * HOUR))
    assert later.gaps[-1] == (last, last + 3 * HOUR)
    assert later.missing_h == pytest.approx(2.0 + 3.0)
    assert later.moisture_missing_h == pytest.approx(2.0 + 3.0)
    for one, other in zip(before.coats, later.coats, strict=True):
        assert one.numbers is not None
        assert other.numbers is not None
        assert other.numbers.missing_h == pytest.approx(5.0)
        assert other.numbers.gaps[-1] == (last, last + 3 * HOUR)
        assert other.numbers.equivalent_age_h == pytest.approx(one.numbers.equivalent_age_h, abs=0.01)


def test_what_the_young_film_met_is_that_of_the_raw_rows(
    record: dict[str, Any], surface: list[by_hand.Row]
) -> None:
    """Minute by minute: dew point by Magnus from the means of the air's rows, the margin, its least, and the hours."""
    air = by_hand.rows_of(record, "A1", "temperature")
    humid = by_hand.rows_of(record, "A1", "relative_humidity")
    k = float(by_hand.rate_constant(LAW, RECOAT_FROM, REFERENCE, np.array(FULL)))
    first, second = record["results"]["coats"]
    assert first["numbers"]["film"]["until"] == first["covered_at"] == START + 199 * MINUTE
    assert second["numbers"]["film"]["washed_at"] == START + 1160 * MINUTE
    for coat in (first, second):
        numbers, met = coat["numbers"], coat["numbers"]["film"]
        begun, count = numbers["begun"], (met["until"] - numbers["begun"]) // MINUTE
        panel, warm, moist = (by_hand.minute_means(rows, begun, count) for rows in (surface, air, humid))
        cured = by_hand.cures(LAW, panel, 1 / 60, k, E, REFERENCE, FULL)
        free = next((item["likely"] for item in numbers["passed"] if item["name"] == "tack_free"), None)
        age, exposure, close, unknown, least = 0.0, 0.0, 0, 0, (99.0, 0)
        for i in range(count):
            age += float(by_hand.arrhenius(panel[i], E, REFERENCE)) / 60
            end = begun + (i + 1) * MINUTE
            applied = end > coat["applied_at"] or age >= WORKING
            if age > YOUNG or not applied or (met["washed_at"] is not None and end > met["washed_at"]):
                continue
            left = 1 - float(cured[i])
            if START + GAP[0] * MINUTE < end <= START + GAP[1] * MINUTE:
                unknown += 1
                exposure += left / 60
                continue
            dew = by_hand.dew_point(warm[i], moist[i])
            margin = panel[i] - dew
            least = min(least, (margin, begun + i * MINUTE))
            close += margin < 3.0 and (free is None or end <= free)
            rh = 100 * np.exp(17.62 * dew / (243.12 + dew) - 17.62 * panel[i] / (243.12 + panel[i]))
            exposure += min(max((float(rh) - 60) / 25, 0.0), 1.0) * left / 60
        assert met["least_margin_K"] == pytest.approx(least[0], abs=1e-9)
        assert met["least_margin_at"] == least[1]
        assert met["under_3K_h"] == pytest.approx(close / 60)
        assert met["unknown_h"] == pytest.approx(unknown / 60)
        assert met["exposure_h"] == pytest.approx(exposure, abs=1e-3)


def test_pots_are_held_against_the_cards_ratio(record: dict[str, Any]) -> None:
    """3 : 1 by volume with 1.15 and 0.97 g/cm3: 28.116 g of hardener for 100 g of resin."""
    first, second = (coat["pots"][0] for coat in record["results"]["coats"])
    asked = 310.0 / 3 * 0.97 / 1.15
    assert first["off_percent"] == pytest.approx(100 * (87.2 / asked - 1))
    assert first["in_ratio"]
    assert second["off_percent"] is None
    assert second["in_ratio"] is None


def test_the_warmest_and_the_coldest_are_measured_minutes(
    record: dict[str, Any], surface: list[by_hand.Row]
) -> None:
    numbers = coats(record)[0]
    end = record["results"]["until"] // MINUTE * MINUTE
    seen = [
        value for i, value in enumerate(means(surface, numbers["begun"], end)) if not GAP[0] <= i < GAP[1]
    ]
    assert numbers["coldest_C"] == pytest.approx(min(seen), abs=1e-9)
    assert numbers["warmest_C"] == pytest.approx(max(seen), abs=1e-9)


def test_a_flagged_reading_stands_on_the_record_and_is_not_used(record: dict[str, Any]) -> None:
    """A power-on value of 85 degC in the night: its row is there, the warmest minute is not it."""
    rows = record["used"]["series"][2]["rows"]
    assert [value for _, value, quality, _ in rows if quality] == [85.0]
    assert coats(record)[0]["warmest_C"] < 25.0
