"""Words about probes that are not to be believed; part of words.KEYS, by its rules."""

from __future__ import annotations

DOUBT_HEADLINES: dict[str, str] = {
    "head_tape_off": "Not known: probe {probe} seems to have come off",
    "head_swapped": "Not known: probes {probe} and {other} seem swapped",
    "head_sunlit": "Not known: sun seems to shine on probe {probe}",
    "head_unsure": "Not known: probe {probe} may not be on its panel",
    "head_sends_degF": "Not known: probe {probe} seems to send Fahrenheit",
    "head_sends_degC": "Not known: probe {probe} seems to send Celsius",
}

DOUBT_WHYS: dict[str, str] = {
    "why_suspect_power_on": "Sent before it has measured. Test with thumb.",
    "why_suspect_disconnected": "Its sensor has come off or broken. Test with thumb.",
    "why_suspect_heated": "Its own heater is on. Test with thumb.",
    "why_suspect_stuck": "The same number too long. Test with thumb.",
    "why_suspect_range": "No shed is that hot or cold. Test with thumb.",
    "why_suspect_rate": "No panel changes that fast. Test with thumb.",
    "why_doubt_tape_off": "It follows the air, {near_K} from it. Tape it on; test with thumb.",
    "why_doubt_swapped": "Each went on where the other was. Check both; test with thumb.",
    "why_doubt_sunlit": "It rose {above_K} above its neighbours. Shade it; test with thumb.",
    "why_doubt_unsure": "It trembles as air does. Touch it: is its tape on? Then say so.",
    "why_doubt_sends_degF": "Here {read_C}, its zone {zone_C}. Set its unit; test with thumb.",
    "why_doubt_sends_degC": "Here {read_C}, its zone {zone_C}. Set its unit; test with thumb.",
    "why_planned_doubt": "Its probe is not to be believed: see to it before you mix.",
}

DOUBT_ALARMS: dict[str, str] = {
    "alarm_tape_off": "Tape probe {probe} on: it seems to have come off",
    "alarm_swapped": "Check probes {probe} and {other}: they seem swapped",
    "alarm_sunlit": "Shade probe {probe}: sun seems to shine on it",
    "alarm_wet_end": "Check probe {probe}: its humidity seems stuck",
    "alarm_sends_degF": "Set the unit of probe {probe}: it seems to send Fahrenheit",
    "alarm_sends_degC": "Set the unit of probe {probe}: it seems to send Celsius",
    "alarm_unusable": "Check probe {probe}: it reads {read_C}",
    "alarm_slow": "Set the interval of probe {probe}: it sends every {learned_h}",
}

DOUBTS: dict[str, str] = {
    "doubt_tape_off": "May have come off: follows the air since {since_at}, {near_K} from it.",
    "doubt_swapped": "Seems swapped with {other} since {since_at}: each went on where the other was.",
    "doubt_sunlit": "Sun seems to shine on it since {since_at}: it rose {above_K} above its neighbours.",
    "doubt_wet_end": "Its humidity seems stuck at {read_pc} since {since_at}: not used.",
    "doubt_unsure": "May not be on its panel: trembles as air does since {since_at}. Is its tape on?",
    "doubt_unsure_humidity": "Its humidity may be stuck since {since_at}: not used. Is it wet?",
    "doubt_drift": "Drifts: in a day it moved {day_K} against {other}. Check both in ice water.",
    "doubt_sends_degF": "Seems to send Fahrenheit: here {read_C}, its zone {zone_C}. Set its unit.",
    "doubt_sends_degC": "Seems to send Celsius: here {read_C}, its zone {zone_C}. Set its unit.",
    "doubt_slow": "Sends every {learned_h}; the settings say {interval}. It counts as silent by the settings.",
}
"""What the probes' pages say of a suspicion."""
