"""Sentences about what some kinds of coat ask for: trim, carve, tape, clamps, peel ply; of fillets, and of lots."""

from __future__ import annotations

KIND_HEADLINES: dict[str, str] = {
    "trim": "Trim the flange before {done_by}",
    "trim_last": "Trim the flange now, if a knife still cuts it",
    "carve": "Carve it before {done_by}, or sand it later",
    "carve_last": "Carve it now if the rasp bites, or sand later",
    "tape": "Pull the tape before {done_by}",
    "tape_last": "Pull the tape now; score its edge if it tears",
    "joint_workable": "Close the joint before {work_by}, then leave it alone",
    "clamps_wait": "Leave the clamps on until {clamps_from}",
    "clamps_far": "Leave the clamps on: not within two days at this temperature",
    "clamps_off": "Take the clamps off when you like",
    "clamps_hard": "Leave the clamps on: it feels hard, it is not cured",
    "clamps_unproven": "Leave the clamps on: test the squeeze-out when warm",
    "ply_wait": "Leave the peel ply on until {ply_from}",
    "ply_far": "Leave the peel ply on: not within two days at this temperature",
    "ply_pull": "Pull the peel ply when you like",
    "ply_hard": "Leave the peel ply on: it feels hard, it is not cured",
}

KIND_WHYS: dict[str, str] = {
    "why_trim": "A knife likely cuts it until {shut_at}, then it takes a grinder.",
    "why_carve": "A rasp likely bites until {shut_at}.",
    "why_tape": "Likely too hard to pull clean from {shut_at}.",
    "why_clamps": "Likely {clamps_at}. It must bear its load on the hottest of the next two days.",
    "why_ply": "Likely {ply_at}. Blush leaves with it.",
    "why_ply_pull": "Slow end passed at {passed_at}. Blush leaves with it; still scuff before you bond.",
    "why_ply_off": "Peel ply off {off_at}: clean, but still scuff it before you bond to it.",
    "why_fillet": "A fillet is warmer inside: what closes is counted {warmer_K} warmer than the panel.",
    "why_sags": "It sags on a vertical until it sets, likely {open_at}: look again.",
    "why_trim_too": "Trim the flange before {trim_by}, too.",
    "why_tape_on": "The tape is still on: score its edge, then pull.",
    "why_lot": "This lot: {panels} panels say it is about {off_pc} {pace} than its card.",
    "why_lot_as_card": "This lot: {panels} panels say it cures as its card says.",
    "why_lot_one": "This lot: one panel says it is about {off_pc} {pace} than its card.",
    "why_lot_one_as_card": "This lot: one panel says it cures as its card says.",
}

KIND_NEXTS: dict[str, str] = {
    "next_trim": "Next: trim the flange, likely {trim_at}.",
    "next_tape": "Next: pull the tape, likely {tape_at}.",
    "next_carve": "Next: carve, likely {carve_at}.",
    "next_clamps": "Next: clamps off, likely {clamps_at}.",
    "next_ply": "Next: peel ply off, likely {ply_at}.",
}

KIND_LABELS: dict[str, str] = {
    "log_trim": "Log trim",
    "log_tape": "Log tape",
    "log_clamps": "Log clamps",
    "log_ply": "Log ply",
}
