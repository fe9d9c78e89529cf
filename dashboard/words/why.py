"""Words of "Why": the grounds of an answer, its range, and what would change it; part of words.KEYS, by its rules."""

from __future__ import annotations

WHY_GUARDS: dict[str, str] = {
    "guard_mix": "A coat is safe only if every check holds until the film can no longer be hurt.",
    "guard_pot": "Told at the quick end: what is left in the pot later lumps, or heats itself.",
    "guard_work": "Told at the quick end: who rolls a film that gels tears it.",
    "guard_open": "Told at the slow end: earlier the roller drags a film about that is still liquid below.",
    "guard_thumb": "No clock can tell here: it may open later than it may shut. A thumb can.",
    "guard_shut": "Told at the quick end: later a coat may lie on a film that takes none, and nobody sees it.",
    "guard_missed": "Past the quick end a coat may not bond, and that does not show until it peels.",
    "guard_tack": "Told at the slow end: a tacky film cannot be washed, only smeared.",
    "guard_wash": "A coat over blush peels. Nobody sees blush in the air's numbers, so the wash decides.",
    "guard_sand": "Told at the slow end: earlier it gums the paper, and half-cured dust is worse.",
    "guard_sanded": "The slow end has passed: nearly every coat like this sands by then.",
    "guard_demould": "The slow end has passed, and what demoulding asks for is there. It softens when it gets warm.",
    "guard_cured": "The slow end has passed, and somebody granted demoulding. The record supports it; a name decides.",
    "guard_glass": "It is hard from cold, not from cure: thumb and hardness tester measure glass.",
    "guard_cold": "So cold, waiting brings nothing: hours below the card's minimum prove nothing.",
    "guard_gap": "Hours without readings count as the coldest they can have been.",
    "guard_trim": "A knife's window is short. Trying early costs nothing, coming late costs a grinder.",
    "guard_tape": "Pulled too late, tape tears or lifts the edge.",
    "guard_carve": "A rasp's window is short; later it has to be sanded.",
    "guard_clamps": "Told at the slow end, and for the hottest of the next two days: a joint creeps while it is soft.",
    "guard_ply": "Told at the slow end: pulled early, the ply lifts the film.",
    "guard_held": "A person put it on hold. No temperature releases it.",
    "guard_unknown": "An older answer may be wrong on the dangerous side by now: so none is given.",
    "guard_mix_fault": "No time holds for such a mix, so none is given.",
    "guard_over": "Nothing is worked out for it any more.",
}
"""Why that end of the range counts, and not an earlier or a later time."""

WHY_CHANGES: dict[str, str] = {
    "change_thumb": "A thumb test moves it at once.",
    "change_feel": "A new thumb test settles it.",
    "change_warm": "Warmth brings it nearer: Tonight works out how much.",
    "change_sooner": "Warmth shuts it sooner, cold later.",
    "change_hour": "Another hour may do: Mix has the next 24.",
    "change_pour": "A shallow tray keeps it usable longer. Log it as applied once it is on.",
    "change_wash": "A wash that is logged ends it.",
    "change_done": "Log it when it is done.",
    "change_tile": "A tile warmed to about {tile_C} and pressed with a nail tells cured from hard.",
    "change_probe": "The probe, heard and believed again. Until then your thumb.",
    "change_readings": "Readings that come late are taken in, and the gap closes.",
    "change_card": "The card, put right. Until then the data sheet itself.",
    "change_entry": "A wrong entry, corrected in the log, changes it at once.",
    "change_grant": "What Demould and Sign off ask for, and a name.",
    "change_release": "Release it, with a reason.",
    "change_clock": "The clock, set right. Until then your thumb.",
    "change_watch": "Watch, running. Until then your thumb.",
    "change_nothing": "Its log and its record stay readable.",
}

WHY_NUMBERS: dict[str, str] = {
    "number_panel": "Panel {panel_C}, reading of {read_at}.",
    "number_air": "Air {air_C}, {air_pc} humidity, dew point {dew_C}: margin {margin_K}.",
    "number_air_dry": "Air {air_C}; its moisture is not measured.",
    "number_hours": "{measured_h} of the coat's life measured, {missing_h} not.",
    "number_hours_all": "{measured_h} of the coat's life measured, none missing.",
    "number_none": "Nothing usable is measured now.",
    "number_last": "The last usable reading is of {read_at}.",
    "number_cure": "Cure {middle_pc}, range {low_pc} to {high_pc}.",
    "number_tg": "Glass transition likely {tg_C}, range {low_C} to {high_C}.",
    "number_age": "Equivalent age {age_h}: so long at {reference_C} would have done the same.",
    "number_margin": "Least margin while young {least_K}, at {least_at}.",
    "number_card": "Card {card} covers {minimum_C} to {maximum_C}.",
    "number_minimum": "Card {card} covers {minimum_C} and more.",
    "number_sheet": "Its sheet, at {reference_C}: {what} {sheet_h}.",
    "number_sheet_range": "Its sheet, at {reference_C}: {what} {short_h} to {long_h}.",
    "number_likely": "{what}: likely {likely_at}.",
    "range_slow_far": "In 9 of 10 nights like this: not before {early_by}; the slow end is not within two days.",
    "range_far": "Not within two days at this temperature.",
}

WHY_LABELS: dict[str, str] = {
    "why_range": "Range",
    "why_end": "Why not earlier, why not later",
    "why_measured": "Measured",
    "why_worked_out": "Worked out",
    "why_on_card": "On the card",
    "why_would_change": "What would change it",
    "why_more": "How an answer is made",
}
