"""What the thumb log says: how the estimate moved, and what it asks before an unlikely answer teaches."""

from __future__ import annotations

MOVED: dict[str, str] = {
    "later": "{Do} {shift} later; range now {now}, was {was}.",
    "sooner": "{Do} {shift} sooner; range now {now}, was {was}.",
    "later_still": "{Do} {shift} later; range still {now}.",
    "sooner_still": "{Do} {shift} sooner; range still {now}.",
    "same": "{Do} as before; range now {now}, was {was}.",
    "closed": "{Do} now has a range: {now}.",
    "opened": "{Do}: its late end is now beyond three days; range was {was}.",
    "far": "{Do}: its late end stays beyond three days.",
    "past": "Every milestone has passed already: nothing moved.",
    "instead": "Now: {headline}.",
    "unsure": "Unlikely at this age; it does not count yet. Sure?",
    "not_known": "How far it is cannot be worked out now; the test is kept.",
}
"""How the next milestone moved. Do: what is done at it."""

DO: dict[str, str] = {
    "recoat_from": "recoat", "recoat_until": "the window shuts", "sand": "sand", "demould": "demould",
    "cured": "full cure",
}  # fmt: skip
"""What is done at a milestone, in the order of cure."""

THUMB_LABELS: dict[str, str] = {
    "patchy_mark": "Hard here, soft there: then tap the softest word",
    "felt_earlier": "Felt earlier?",
    "felt_when": "Time of the test; empty: now",
    "hardness_title": "A hardness tester?",
    "hardness_scale": "Scale",
    "hardness_value": "It shows",
    "hardness_on": "On the",
    "hardness_part": "part",
    "hardness_tile": "witness tile",
    "hardness_warm": "How warm that is, {unit}",
    "hardness_log": "Log hardness",
    "sure_yes": "Sure",
    "not_counted": "not confirmed, does not count",
}  # fmt: skip
"""Short words of the thumb page."""
