"""A resin card: what a technical data sheet says about one resin and hardener, checked.

The caller reads the TOML file and adds file and line to a CardError; here only the parsed mapping is seen.
Every name that holds a measured number ends in its unit, so a unit cannot be left out unnoticed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from model.card_table import CardError, Table
from model.degree_hours import R_J_MOL_K
from model.film_times import CLOSING, Film, Milestone, Span
from model.units import ZERO_C_K

__all__ = [
    "CLOSING",
    "CardError",
    "Column",
    "Film",
    "Milestone",
    "Mix",
    "Pot",
    "ResinCard",
    "Span",
    "parse_card",
]


@dataclass(frozen=True)
class Column:
    """What the sheet says of the same film at another temperature, degC: times in h, as far as it gives them."""

    temperature_C: float
    times: tuple[tuple[Milestone, Span], ...]

    def hours(self, milestone: Milestone) -> float | None:
        """The time taken for `milestone`, h, by the same rule as Film.hours(); None if not given here."""
        span = dict(self.times).get(milestone)
        if span is None:
            return None
        return span.low if milestone in CLOSING else span.middle


@dataclass(frozen=True)
class Pot:
    """Pot life: so many minutes for this mass mixed at this temperature."""

    mass_g: float
    temperature_C: float
    life_min: float


@dataclass(frozen=True)
class Mix:
    """Parts of resin and hardener, by weight or by volume; tolerance as a share of the hardener, percent.

    Densities in g/cm3 of resin, hardener and the fresh mix.
    """

    by_volume: bool
    resin_parts: float
    hardener_parts: float
    tolerance_percent: float
    resin_density: float
    hardener_density: float

    @property
    def hardener_per_resin_by_weight(self) -> float:
        """Grams of hardener for a gram of resin."""
        ratio = self.hardener_parts / self.resin_parts
        return ratio * self.hardener_density / self.resin_density if self.by_volume else ratio

    @property
    def mixed_density(self) -> float:
        """g/cm3, volumes taken to add."""
        ratio = self.hardener_per_resin_by_weight
        return (1.0 + ratio) / (1.0 / self.resin_density + ratio / self.hardener_density)


@dataclass(frozen=True)
class ResinCard:
    """One resin with one hardener.

    times_from      "mixing" or "application": where the sheet's film times begin
    blush           susceptibility: "low", "medium" or "high"
    activation_energy_J_mol, Tg_inf_C, heat_J_g   None: not on the sheet, the model's own default is used
    invented        True: an example, no product's data; it widens the range and caps the verdict
    columns         the sheet's times at other temperatures: those before gel give the activation energy
    hardness        least hardness near 20 degC for ("demould" or "sign off", scale), as far as the sheet gives it
    digest          SHA-256 of the text it was read from, hexadecimal; "" if nobody said
    """

    id: str
    title: str
    invented: bool
    source: str
    reference_C: float
    times_from: str
    minimum_C: float
    maximum_C: float
    blush: str
    pot: Pot
    film: Film
    mix: Mix
    activation_energy_J_mol: float | None = None
    Tg_inf_C: float | None = None
    heat_J_g: float | None = None
    columns: tuple[Column, ...] = ()
    hardness: tuple[tuple[tuple[str, str], float], ...] = ()
    digest: str = ""


def parse_card(raw: Mapping[str, Any]) -> ResinCard:
    """The card in a parsed TOML document. Raises CardError naming the key, what is allowed and what to do."""
    card = Table(raw, (), _TOP)
    pot, film, mix, kinetics = (card.table(name, keys) for name, keys in _TABLES.items())
    reference = card.number("reference_temperature_degC", -20.0, 60.0)
    minimum = card.number("minimum_temperature_degC", -20.0, 60.0)
    maximum = card.number("maximum_temperature_degC", -20.0, 80.0)
    if not minimum <= reference <= maximum:
        raise CardError(
            ("reference_temperature_degC",),
            f"{reference:g} must lie between minimum_temperature_degC ({minimum:g}) and "
            f"maximum_temperature_degC ({maximum:g})",
        )
    energy = kinetics.optional("activation_energy_kJ_per_mol", *_ENERGY_kJ)
    times = _film(film)
    return ResinCard(
        id=card.text("id"),
        title=card.text("title"),
        invented=card.flag("invented"),
        source=card.text("source"),
        reference_C=reference,
        times_from=card.word("times_count_from", ("mixing", "application")),
        minimum_C=minimum,
        maximum_C=maximum,
        blush=card.word("blush_susceptibility", ("low", "medium", "high")),
        pot=Pot(
            pot.number("mass_g", 1.0, 1e5),
            pot.number("temperature_degC", -20.0, 60.0),
            pot.number("life_min", 1.0, 1440.0),
        ),
        film=times,
        mix=_mix(mix),
        activation_energy_J_mol=None if energy is None else 1e3 * energy,
        Tg_inf_C=kinetics.optional("full_cure_Tg_degC", 30.0, 250.0),
        heat_J_g=kinetics.optional("heat_of_reaction_J_per_g", 50.0, 1000.0),
        columns=_columns(card, times, reference),
        hardness=_hardness(card),
    )


_TOP = (
    "id",
    "title",
    "invented",
    "source",
    "reference_temperature_degC",
    "times_count_from",
    "minimum_temperature_degC",
    "maximum_temperature_degC",
    "blush_susceptibility",
    "pot",
    "film",
    "film_at",
    "mix",
    "kinetics",
    "hardness",
)
HARDNESS = {
    "demould_shore_D": ("demould", "Shore D"),
    "demould_shore_A": ("demould", "Shore A"),
    "demould_barcol": ("demould", "Barcol"),
    "full_cure_shore_D": ("sign off", "Shore D"),
    "full_cure_shore_A": ("sign off", "Shore A"),
    "full_cure_barcol": ("sign off", "Barcol"),
}
_FILM_KEYS = {"cured": "full_cure_h"} | {
    item.name: f"{item.name}_h" for item in fields(Film) if item.name != "cured"
}
_TABLES: dict[str, tuple[str, ...]] = {
    "pot": ("mass_g", "temperature_degC", "life_min"),
    "film": tuple(_FILM_KEYS.values()),
    "mix": (
        "by",
        "resin_parts",
        "hardener_parts",
        "tolerance_percent",
        "resin_density_g_per_cm3",
        "hardener_density_g_per_cm3",
    ),
    "kinetics": ("activation_energy_kJ_per_mol", "full_cure_Tg_degC", "heat_of_reaction_J_per_g"),
}
_ORDERS = (
    ("working", "recoat_from"),
    ("recoat_from", "tack_free"),
    ("recoat_from", "recoat_until"),
    ("recoat_from", "trim_from"),
    ("recoat_from", "trim_until"),
    ("trim_from", "trim_until"),
    ("recoat_from", "carve_from"),
    ("carve_from", "carve_until"),
    ("carve_until", "cured"),
    ("recoat_from", "tape_until"),
    ("recoat_from", "peel_ply_off"),
    ("recoat_from", "clamps_off"),
    # A joint is clear of its clamps before a part is fit to leave its mould, never after full cure.
    ("clamps_off", "cured"),
    ("tack_free", "sand"),
    ("recoat_from", "sand"),
    ("sand", "demould"),
    # Sheets differ on whether the window shuts before sanding opens; none bonds past demoulding.
    ("recoat_until", "demould"),
    ("trim_until", "demould"),
    ("demould", "cured"),
)


def _film(table: Table) -> Film:
    spans = {
        name: None if name in _OPTIONAL_SPANS and key not in table else Span(*table.range(key, 0.01, 2000.0))
        for name, key in _FILM_KEYS.items()
    }
    for earlier, later in _ORDERS:
        first, second = spans[earlier], spans[later]
        if first and second and (first.low > second.low or first.high > second.high):
            raise CardError(
                ("film", _FILM_KEYS[later]),
                f"impossible order: {_FILM_KEYS[later]} ({_words(second)}) comes before "
                f"{_FILM_KEYS[earlier]} ({_words(first)}); check both against the sheet",
            )
    opens, shuts = spans["recoat_from"], spans["recoat_until"]
    if opens and shuts and opens.middle >= shuts.low:
        raise CardError(
            ("film", "recoat_until_h"),
            f"the recoat window never opens: it would shut at {shuts.low:g} h, before {opens.middle:g} h",
        )
    return Film(**spans)  # type: ignore[arg-type]  # required spans were required above


_OPTIONAL_SPANS = tuple(item.name for item in fields(Film) if item.default is None)

BEFORE_GEL = (Milestone.WORKING, Milestone.RECOAT_FROM)
"""Milestones that come no later than the gel point: they alone follow one activation energy."""
LEAST_STEP_K = 2.0
"""Columns nearer together than this say more about rounding than about temperature."""
_ENERGY_kJ = (20.0, 120.0)


def _columns(card: Table, film: Film, reference_C: float) -> tuple[Column, ...]:
    """The [[film_at]] tables, coldest first."""
    columns: list[Column] = []
    for table in card.tables("film_at", ("temperature_degC", *_FILM_KEYS.values())):
        temperature = table.number("temperature_degC", -20.0, 60.0)
        others = (reference_C, *(column.temperature_C for column in columns))
        if any(abs(temperature - other) < LEAST_STEP_K for other in others):
            raise table.wrong(
                "temperature_degC",
                f"{temperature:g} is within {LEAST_STEP_K:g} degC of another column or of "
                "reference_temperature_degC: give each temperature once",
            )
        times = tuple(
            (Milestone(name), Span(*table.range(key, 0.01, 2000.0)))
            for name, key in _FILM_KEYS.items()
            if key in table
        )
        columns.append(Column(temperature, times))
        _check_energy(table, columns[-1], film, reference_C)
    return tuple(sorted(columns, key=lambda column: column.temperature_C))


def _check_energy(table: Table, column: Column, film: Film, reference_C: float) -> None:
    """A column before gel that no resin could have is a slip of the pen."""
    for milestone in BEFORE_GEL:
        here, there = column.hours(milestone), film.hours(milestone)
        if here is None or there is None:
            continue
        step = 1.0 / (column.temperature_C + ZERO_C_K) - 1.0 / (reference_C + ZERO_C_K)
        energy = 1e-3 * R_J_MOL_K * math.log(here / there) / step
        if not _ENERGY_kJ[0] <= energy <= _ENERGY_kJ[1]:
            raise table.wrong(
                _FILM_KEYS[milestone.value],
                f"{here:g} h at {column.temperature_C:g} degC against {there:g} h at {reference_C:g} degC would "
                f"mean an activation energy of {energy:.0f} kJ/mol; allowed: {_ENERGY_kJ[0]:g} to "
                f"{_ENERGY_kJ[1]:g}. Check both against the sheet",
            )


def _words(span: Span) -> str:
    return f"{span.low:g}" if span.low == span.high else f"{span.low:g} to {span.high:g}"


def _hardness(card: Table) -> tuple[tuple[tuple[str, str], float], ...]:
    table = card.table("hardness", HARDNESS)
    return tuple((what, table.number(key, 1.0, 100.0)) for key, what in HARDNESS.items() if key in table)


def _mix(table: Table) -> Mix:
    return Mix(
        by_volume=table.word("by", ("weight", "volume")) == "volume",
        resin_parts=table.number("resin_parts", 0.01, 1e4),
        hardener_parts=table.number("hardener_parts", 0.01, 1e4),
        tolerance_percent=table.number("tolerance_percent", 0.0, 20.0),
        resin_density=table.number("resin_density_g_per_cm3", 0.7, 2.5),
        hardener_density=table.number("hardener_density_g_per_cm3", 0.7, 2.5),
    )
