"""Words for taps that the shop's computer has not answered yet."""

from __future__ import annotations

UNSENT_LABELS = {
    "kept_not_sent": "Not sent: the shop computer did not answer. Kept on this phone; trying again.",
    "kept_not_answered": "Not known whether it was logged. Kept on this phone; trying again, it counts once.",
    "not_allowed_offline": (
        "Not sent: the shop computer did not answer. Only it can allow this; tap again when it does."
    ),
    "unsent_1": "1 not yet sent",
    "unsent_n": "{n} not yet sent",
    "unsent_stuck_1": "1 not taken: look",
    "unsent_stuck_n": "{n} not taken: look",
    "unsent_title": "On this phone only",
    "unsent_note": "Nobody else sees these yet. They are sent in order once the shop computer answers.",
    "unsent_line": "{did} {at}",
    "unsent_waits": "not yet sent",
    "unsent_other": "waits until {name} signs in on this phone",
    "unsent_stuck": "not taken, see above",
    "unsent_refused": "Not taken. {why}",
    "unsent_held": "Held back: what came before it was not taken. Is it still right?",
    "unsent_when": "This phone's clock was changed. When was it?",
    "unsent_send": "Send it",
    "unsent_open": "Open",
    "unsent_drop": "Throw away",
    "unsent_drop_sure": "Sure? It is logged nowhere",
    "unsent_alarm": "Alarm",
    "unsent_done_1": "Sent: {said}",
    "unsent_done_n": "{n} taps sent",
    "page_broken": (
        "This page came only in part: its buttons do nothing. It loads again when the shop computer answers."
    ),
    "page_broken_tap": "Your tap was not taken.",
}

TAPPED = {
    "coat mixed": "Coat started",
    "coat applied": "Applied",
    "pot mixed": "Another pot",
    "pot weighed": "Pot weighed",
    "washed": "Washed",
    "wiped": "Wiped",
    "sanded": "Sanded",
    "trimmed": "Trimmed",
    "peel ply off": "Peel ply off",
    "clamps off": "Clamps off",
    "tape pulled": "Tape pulled",
    "heat on": "Heat on",
    "heat off": "Heat off",
    "thumb test": "Thumb test",
    "thumb sure": "Thumb test confirmed",
    "hardness": "Hardness",
    "held": "Put on hold",
    "note": "Note",
    "withdrawn": "Taken back",
    "time changed": "Time changed",
    "alarm seen": "Seen",
}
"""Entries that a phone keeps while nobody answers, by kind. What stops the watch or rests on evidence is not kept."""
