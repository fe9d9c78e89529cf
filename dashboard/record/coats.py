"""Each coat of a record as names and values, and its pots as a table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from dashboard.record.results import CoatResult, FilmMet, Numbers, Passed, Poured, Results
from dashboard.record.used_probes import Table
from dashboard.record.wording import Wording, number, percent
from dashboard.words import RECORD
from model.resin_card import ResinCard

Rows = tuple[tuple[str, str], ...]
NEAR_K = 3.0
"""ISO 8502-4's least margin, which the film's hours are counted against."""


def coat_rows(
    results: Results, cards: Mapping[str, ResinCard], say: Wording
) -> tuple[Table, list[tuple[str, Rows, frozenset[str]]]]:
    """The pots' table, and for each coat its title, its rows, and the names of those to print bold."""
    pots = [
        _pot(coat, number_, pot, say)
        for coat in results.coats
        for number_, pot in enumerate(coat.pots, start=1)
    ]
    blocks = []
    for coat in results.coats:
        rows = tuple(_rows(coat, cards.get(coat.card), say))
        bold = {RECORD["gaps"]} if coat.numbers and coat.numbers.gaps else set()
        bold |= {name for name, _ in rows if coat.unknown and name == RECORD["unmeasured"]}
        title = RECORD["coat_of"].format(n=coat.number, kind=coat.kind)
        blocks.append((title, rows, frozenset(bold)))
    return tuple(pots), blocks


def _rows(coat: CoatResult, card: ResinCard | None, say: Wording) -> Iterator[tuple[str, str]]:
    yield RECORD["resin_cards"], card.title if card else coat.card
    yield RECORD["mixed"], say.at(coat.mixed_at)
    yield RECORD["applied_at"], say.at(coat.applied_at)
    if coat.resin_lot or coat.hardener_lot:
        lots = {
            "resin": coat.resin_lot or RECORD["not_said"],
            "hardener": coat.hardener_lot or RECORD["not_said"],
        }
        yield RECORD["lots"], RECORD["lot_of"].format(**lots)
    if coat.taught_by:
        yield RECORD["taught_by"], ", ".join(coat.taught_by)
    if coat.covered_at is not None:
        yield RECORD["covered"], say.at(coat.covered_at)
    if coat.numbers is None:
        why = RECORD["no_card_text" if coat.unknown == "no card" else "no_readings_text"]
        yield RECORD["unmeasured"], RECORD["nothing_known"].format(n=coat.number, why=why)
        return
    yield from _numbers(coat.numbers, say)


def _numbers(of: Numbers, say: Wording) -> Iterator[tuple[str, str]]:
    yield RECORD["counted"], say.at(of.begun)
    yield (
        RECORD["hours"],
        RECORD["hours_of"].format(measured=number(of.measured_h), missing=number(of.missing_h)),
    )
    if of.gaps:
        lines = [
            RECORD["gap_line"].format(start=say.at(begin), end=say.at(end), span=say.span(begin, end))
            for begin, end in of.gaps
        ]
        yield RECORD["gaps"], "; ".join(lines)
    yield RECORD["panel_range"], say.between(say.temperature(of.coldest_C), say.temperature(of.warmest_C))
    fahrenheit = say.view.unit == "degF"
    hours = number(of.temperature_time_factor_Ch * (1.8 if fahrenheit else 1.0), 1)
    datum = say.view.temperature(of.datum_C)
    yield RECORD["degree_hours"].format(datum=datum), f"{hours} {'°F' if fahrenheit else '°C'} h"
    yield (
        RECORD["age_exact"].format(reference=say.view.temperature(of.reference_C)),
        RECORD["age_exact_of"].format(
            exact=number(of.equivalent_age_h),
            mean=number(of.equivalent_age_interval_mean_h),
            energy=number(of.activation_energy_J_mol / 1000.0, 1),
        ),
    )
    low, middle, high = (percent(value) for value in of.conversion)
    cure = RECORD["range_of"].format(low=low, middle=middle, high=high, card=percent(of.conversion_card))
    yield RECORD["conversion"], cure
    yield (
        RECORD["tg_range"],
        say.between(say.temperature(of.glass_transition_C[0]), say.temperature(of.glass_transition_C[2])),
    )
    yield RECORD["rate_range"], say.between(number(of.rate[0]), number(of.rate[2]))
    yield from _film(of.film, say)
    if of.passed:
        yield RECORD["passed_by"], "; ".join(text for item in of.passed if (text := _passed(item, say)))
    if of.thumb_tests:
        yield RECORD["felt"], RECORD["felt_of"].format(n=of.thumb_tests, against=of.disagree)


def _film(met: FilmMet, say: Wording) -> Iterator[tuple[str, str]]:
    margin = RECORD["margin_unknown"]
    if met.least_margin_K is not None and met.least_margin_at is not None:
        margin = RECORD["margin_of"].format(
            margin=say.difference(met.least_margin_K), at=say.at(met.least_margin_at)
        )
    yield RECORD["least_margin"], margin
    if met.level is None:
        yield RECORD["film_met"], RECORD["film_unknown"]
        return
    text = RECORD["film_level"].format(
        level=met.level,
        exposure=number(met.exposure_h),
        close=number(met.under_3K_h),
        limit=say.difference(NEAR_K),
        unknown=number(met.unknown_h),
    )
    if met.wet_from is not None and met.wet_to is not None:
        text += "; " + RECORD["film_wet"].format(start=say.at(met.wet_from), end=say.at(met.wet_to))
    if met.washed_at is not None:
        text += "; " + RECORD["washed_on"].format(at=say.at(met.washed_at))
    yield RECORD["film_met"], text


def _passed(item: Passed, say: Wording) -> str:
    name = RECORD[f"name_{item.name}"]
    if item.safe is not None and item.likely is not None:
        return RECORD["passed_safe"].format(name=name, safe=say.at(item.safe), at=say.at(item.likely))
    return (
        RECORD["passed_likely"].format(name=name, at=say.at(item.likely)) if item.likely is not None else ""
    )


def _pot(coat: CoatResult, index: int, pot: Poured, say: Wording) -> tuple[str, ...]:
    def grams(value: float | None) -> str:
        return RECORD["not_weighed"] if value is None else number(value, 1)

    off = RECORD["not_weighed"]
    if pot.off_percent is not None:
        off = f"{number(pot.off_percent, 1)} %"
        if not pot.in_ratio:
            off += f", {RECORD['out_of_ratio']}"
    stirred = RECORD["not_said"] if pot.stirred is None else RECORD["yes" if pot.stirred else "no"]
    bottles = RECORD["not_said"] if pot.bottles_C is None else say.view.temperature(pot.bottles_C)
    return (
        f"{coat.number}.{index}", say.at(pot.mixed_at), grams(pot.resin_g), grams(pot.hardener_g), off, stirred,
        pot.vessel or RECORD["not_said"], bottles,
    )  # fmt: skip
