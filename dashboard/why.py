"""Why an answer is what it is, in plain words with the numbers of the assessment: made when the page is opened.

Nothing is worked out here: every number stands in the stored assessment, or on the card. Each headline that a panel
can have stands in GROUNDS; a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from dashboard.assessment import Assessment, Passing
from dashboard.display import View
from dashboard.words import LABELS, RECORD
from model.film_times import CLOSING, Milestone
from model.resin_card import ResinCard
from model.verdict import Flag, Kind, Say, State, Value

TILE_C = 20.0
"""How warm a tile is felt: a heated room (common practice, no source)."""
SHOWN_MISSING_H = 1 / 6


@dataclass(frozen=True)
class Part:
    """One heading of the page with its sentences."""

    title: str
    says: tuple[Say, ...]


@dataclass(frozen=True)
class Ground:
    """What a headline rests on.

    guard       why that end counts: not earlier, or not later
    changes     what would change the answer
    milestone   whose range it names; None: none
    """

    guard: str
    changes: tuple[str, ...]
    milestone: Milestone | None = None


_M = Milestone
_FELT, _WARMED = ("change_thumb", "change_warm"), ("change_warm", "change_thumb")
_UNHEARD = Ground("guard_unknown", ("change_probe",))
_APART = Ground("guard_unknown", ("change_site",))
_FAULT = Ground("guard_mix_fault", ("change_entry",))
_MIX = Ground("guard_mix", ("change_hour",))
GROUNDS: dict[str, Ground] = {
    "planned": _MIX,
    "wood_warming": _MIX,
    "burner": _MIX,
    "in_the_pot": Ground("guard_pot", ("change_pour",)),
    "workable": Ground("guard_work", _FELT, _M.WORKING),
    "setting": Ground("guard_open", _FELT, _M.RECOAT_FROM),
    "setting_thumb": Ground("guard_thumb", ("change_thumb",), _M.RECOAT_FROM),
    "setting_far": Ground("guard_cold", _WARMED, _M.RECOAT_FROM),
    "recoatable": Ground("guard_shut", ("change_sooner", "change_thumb"), _M.RECOAT_UNTIL),
    "recoatable_last": Ground("guard_shut", ("change_sooner", "change_thumb"), _M.RECOAT_UNTIL),
    "overlap": Ground("guard_thumb", ("change_thumb",), _M.RECOAT_UNTIL),
    "firm": Ground("guard_sand", _FELT, _M.SAND),
    "firm_far": Ground("guard_sand", _WARMED, _M.SAND),
    "sandable": Ground("guard_sanded", ("change_done", "change_thumb"), _M.SAND),
    "sandable_cold": Ground("guard_glass", ("change_warm", "change_tile"), _M.SAND),
    "sanded": Ground("guard_sanded", ("change_grant",), _M.SAND),
    "demouldable": Ground("guard_demould", ("change_done", "change_grant"), _M.DEMOULD),
    "fully_cured": Ground("guard_cured", ("change_grant",), _M.CURED),
    "closed": Ground("guard_over", ("change_nothing",)),
    "scrapped": Ground("guard_over", ("change_nothing", "change_entry")),
    "stopped_by_cold": Ground("guard_cold", ("change_warm",)),
    "hard_not_cured": Ground("guard_glass", ("change_warm", "change_tile"), _M.SAND),
    "wash_some": Ground("guard_wash", ("change_wash",)),
    "wash_heavy": Ground("guard_wash", ("change_wash",)),
    "wash_wet": Ground("guard_wash", ("change_wash",)),
    "wash_recoat": Ground("guard_shut", ("change_wash", "change_sooner"), _M.RECOAT_UNTIL),
    "wash_sand": Ground("guard_wash", ("change_wash",), _M.SAND),
    "wash_later": Ground("guard_tack", _FELT, _M.TACK_FREE),
    "window_missed": Ground("guard_missed", ("change_thumb",), _M.RECOAT_UNTIL),
    "gap": Ground("guard_gap", ("change_readings", "change_thumb"), _M.SAND),
    "disagreement": Ground("guard_unknown", ("change_feel", "change_entry")),
    "held": Ground("guard_held", ("change_release",)),
    "mix_off": _FAULT,
    "mix_unstirred": _FAULT,
    "mix_patchy": _FAULT,
    "suspect_mix": Ground("guard_mix_fault", ("change_tile", "change_entry")),
    "probe_suspect": _UNHEARD,
    "probe_silent": _UNHEARD,
    "silent_probe": _UNHEARD,
    "silent_site": _APART,
    "silent_late": _APART,
    "silent_server": _APART,
    "silent_doubted": _APART,
    "never_heard": _UNHEARD,
    "no_probe": _UNHEARD,
    "no_readings": _UNHEARD,
    "outside_card": Ground("guard_unknown", ("change_warm", "change_card")),
    "outside_card_hot": Ground("guard_unknown", ("change_feel", "change_card")),
    "no_card": Ground("guard_unknown", ("change_card",)),
    "clock_back": Ground("guard_unknown", ("change_clock", "change_entry")),
    "clock_gap": Ground("guard_unknown", ("change_clock",)),
    "failed": Ground("guard_unknown", ("change_watch",)),
    "too_old": Ground("guard_unknown", ("change_watch", "change_probe")),
    "watch_not_started": Ground("guard_unknown", ("change_watch",)),
    "not_worked_out": Ground("guard_unknown", ("change_watch",)),
    "head_tape_off": _UNHEARD,
    "head_swapped": _UNHEARD,
    "head_sunlit": _UNHEARD,
    "head_unsure": _UNHEARD,
    "head_sends_degF": _UNHEARD,
    "head_sends_degC": _UNHEARD,
    "trim": Ground("guard_trim", ("change_done", "change_thumb"), _M.TRIM_UNTIL),
    "trim_last": Ground("guard_trim", ("change_done",), _M.TRIM_UNTIL),
    "carve": Ground("guard_carve", ("change_done", "change_thumb"), _M.CARVE_UNTIL),
    "carve_last": Ground("guard_carve", ("change_done",), _M.CARVE_UNTIL),
    "tape": Ground("guard_tape", ("change_done",), _M.TAPE_UNTIL),
    "tape_last": Ground("guard_tape", ("change_done",), _M.TAPE_UNTIL),
    "joint_workable": Ground("guard_work", _FELT, _M.WORKING),
    "clamps_wait": Ground("guard_clamps", _WARMED, _M.CLAMPS_OFF),
    "clamps_far": Ground("guard_clamps", _WARMED, _M.CLAMPS_OFF),
    "clamps_off": Ground("guard_sanded", ("change_done",), _M.CLAMPS_OFF),
    "clamps_hard": Ground("guard_glass", ("change_warm", "change_tile"), _M.CLAMPS_OFF),
    "clamps_unproven": Ground("guard_clamps", ("change_tile", "change_card"), _M.CLAMPS_OFF),
    "ply_wait": Ground("guard_ply", _WARMED, _M.PEEL_PLY_OFF),
    "ply_far": Ground("guard_ply", _WARMED, _M.PEEL_PLY_OFF),
    "ply_pull": Ground("guard_sanded", ("change_done",), _M.PEEL_PLY_OFF),
    "ply_hard": Ground("guard_glass", ("change_warm", "change_tile"), _M.PEEL_PLY_OFF),
}
"""By a headline's key; those of Before you mix (mix_…, not_yet_…) rest on its checks: see ground_of()."""

FLAG_GUARDS: dict[Flag, str] = {
    Flag.STOPPED_BY_COLD: "guard_cold",
    Flag.HARD_NOT_CURED: "guard_glass",
    Flag.WASH_FIRST: "guard_wash",
    Flag.WINDOW_MISSED: "guard_missed",
    Flag.GAP: "guard_gap",
    Flag.SUSPECT_MIX: "guard_mix_fault",
    Flag.PROBE_SUSPECT: "guard_unknown",
    Flag.PROBE_SILENT: "guard_unknown",
    Flag.OUTSIDE_CARD: "guard_cold",
}
"""What a flag adds, whatever the headline."""


def ground_of(key: str) -> Ground:
    """Raises KeyError for a headline that no panel has."""
    return _MIX if key.startswith(("mix_now", "mix_if_", "not_yet_")) else GROUNDS[key]


def why(item: Assessment, card: ResinCard | None, view: View) -> tuple[Part, ...]:
    """All grounds of an answer that is still good, the nearest first; `card` as it is now, None if it is not there."""
    ground = ground_of(item.verdict.headline.key)
    tile: dict[str, Value] = {"tile_C": TILE_C}
    changes = (Say(key, tile if key == "change_tile" else {}) for key in ground.changes)
    parts = (
        ("why_range", _range(item, ground, view)),
        ("why_end", _guards(item, ground)),
        ("why_measured", _measured(item)),
        ("why_worked_out", _worked_out(item)),
        ("why_on_card", _on_card(item, card, ground.milestone)),
        ("why_would_change", changes),
    )
    made = (Part(LABELS[title], tuple(says)) for title, says in parts)
    return tuple(part for part in made if part.says)


def bare(key: str) -> tuple[Part, ...]:
    """The grounds of what a page says where there is no answer that is good, by the headline's key."""
    ground = ground_of(key)
    changes = tuple(Say(change) for change in ground.changes)
    return (Part(LABELS["why_end"], (Say(ground.guard),)), Part(LABELS["why_would_change"], changes))


def _range(item: Assessment, ground: Ground, view: View) -> Iterator[Say]:
    """Of what the headline waits for or runs out of, as long as its end lies ahead."""
    passing = next((one for one in item.milestones if one.name == ground.milestone), None)
    if passing is None or item.verdict.kind is Kind.NOT_KNOWN or _is_over(passing, item.at):
        return
    if passing.early is None:
        yield Say("range_far")
        return
    if passing.likely is not None and passing.likely > item.at:
        yield Say("number_likely", {"what": RECORD[f"name_{passing.name}"], "likely_at": passing.likely})
    if passing.late is None:
        yield Say("range_slow_far", {"early_by": passing.early})
    else:
        early, late = view.outward(passing.early, passing.late)
        yield Say("why_nights", {"early_by": early, "late_from": late})
    if is_wide(passing, item.at):
        yield Say("why_range_wide")


def _is_over(passing: Passing, at: int) -> bool:
    return passing.late is not None and passing.late <= at


def is_wide(passing: Passing, at: int) -> bool:
    """Whether the range is wider than half the wait for its safe end: then a thumb test is worth the walk."""
    if passing.early is None or passing.late is None:
        return True
    ends = passing.early if passing.name in CLOSING else passing.late
    return passing.late - passing.early > max(ends - at, 0) / 2


def _guards(item: Assessment, ground: Ground) -> Iterator[Say]:
    keys = [ground.guard, *(FLAG_GUARDS[flag] for flag in sorted(item.verdict.flags))]
    yield from (Say(key) for key in dict.fromkeys(keys))


def _measured(item: Assessment) -> Iterator[Say]:
    if item.panel_C is None or item.readings_to is None or item.verdict.kind is Kind.NOT_KNOWN:
        if item.verdict.state in (State.NOT_KNOWN, State.IN_THE_POT):
            yield Say("number_none")
        if item.readings_to is not None:
            yield Say("number_last", {"read_at": item.readings_to})
        return
    yield Say("number_panel", {"panel_C": item.panel_C, "read_at": item.readings_to})
    if item.air_C is not None:
        if item.air_RH is None or item.dew_point_C is None or item.margin_K is None:
            yield Say("number_air_dry", {"air_C": item.air_C})
        else:
            moist: dict[str, Value] = {"air_pc": item.air_RH, "dew_C": item.dew_point_C}
            yield Say("number_air", {"air_C": item.air_C, **moist, "margin_K": item.margin_K})
    missing: dict[str, Value] = {"missing_h": item.missing_h} if item.missing_h >= SHOWN_MISSING_H else {}
    key = "number_hours" if missing else "number_hours_all"
    yield Say(key, {"measured_h": item.measured_h, **missing})


def _worked_out(item: Assessment) -> Iterator[Say]:
    if item.verdict.kind is Kind.NOT_KNOWN:
        return
    if item.conversion is not None:
        low, middle, high = (100.0 * share for share in item.conversion)
        yield Say("number_cure", {"low_pc": low, "middle_pc": middle, "high_pc": high})
    if item.glass_transition_C is not None:
        coldest, likely, warmest = item.glass_transition_C
        yield Say("number_tg", {"low_C": coldest, "tg_C": likely, "high_C": warmest})
    if item.equivalent_age_h is not None and item.reference_C is not None:
        yield Say("number_age", {"age_h": item.equivalent_age_h, "reference_C": item.reference_C})
    film = item.film
    if film is not None and film.least_margin_K is not None and film.least_margin_at is not None:
        yield Say("number_margin", {"least_K": film.least_margin_K, "least_at": film.least_margin_at})


def _on_card(item: Assessment, card: ResinCard | None, milestone: Milestone | None) -> Iterator[Say]:
    if card is None or not item.card:
        if item.card and item.minimum_C is not None:
            yield Say("number_minimum", {"card": item.card, "minimum_C": item.minimum_C})
        return
    limits: dict[str, Value] = {"minimum_C": card.minimum_C, "maximum_C": card.maximum_C}
    yield Say("number_card", {"card": card.id, **limits})
    span = card.film.span(milestone) if milestone is not None else None
    if milestone is None or span is None:
        return
    said: dict[str, Value] = {"reference_C": card.reference_C, "what": RECORD[f"name_{milestone}"]}
    if span.low == span.high:
        yield Say("number_sheet", {**said, "sheet_h": span.low})
    else:
        yield Say("number_sheet_range", {**said, "short_h": span.low, "long_h": span.high})
