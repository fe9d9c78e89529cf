"""Every sentence about a panel, by key. A Say has a key of KEYS and exactly the values its template takes.

What a value is stands in the end of its name (dashboard.display turns it into text):

    _by    UTC ms, a latest safe time: rounded down       _from  UTC ms, an earliest safe time: rounded up
    _at    UTC ms, a fact or a likely time: nearest       _C     degC, whole in a headline, tenths in a why
    _K     a difference in K, without offset              _h     hours, "2 h 20"
    _g     grams                                          _pc    per cent, whole

A name without such an end is text and is put in as it is; `trend`, `do`, `was` and `level` take the words of
CHOICES only. Rules for headlines: verb first, at most 12 words, "Not known" alone has no verb.
"""

from __future__ import annotations

from string import Formatter

CHOICES: dict[str, tuple[str, ...]] = {
    "trend": ("falling", "steady", "rising"),
    "do": ("recoat", "sand", "demould", "full cure"),
    "was": (
        "planned", "in the pot", "workable", "setting", "recoatable", "firm", "sandable", "demouldable",
        "fully cured", "stopped by cold",
    ),
    "level": ("some", "heavy", "wet"),
}  # fmt: skip

HEADLINES: dict[str, str] = {
    "planned": "Check the hour, then mix",
    "in_the_pot": "Pour it out before {pour_by}",
    "workable": "Wet out before {work_by}, then leave it alone",
    "setting": "Wait until {open_from}, then recoat",
    "setting_far": "Wait: no recoat within two days at this temperature",
    "recoatable": "Recoat before {shut_by}",
    "recoatable_last": "Recoat now, or sand later",
    "overlap": "Try your thumb before you recoat",
    "firm": "Wait until {sand_from}, then sand",
    "firm_far": "Wait: no sanding within two days at this temperature",
    "sandable": "Sand when you like",
    "demouldable": "Demould when you like; keep it cool",
    "fully_cured": "Check it, then sign it off",
    "closed": "Leave it: this panel is closed",
    "scrapped": "Leave it: this panel is scrapped",
    "stopped_by_cold": "Warm it above {move_C}: curing has stopped",
    "hard_not_cured": "Don't sand yet: it feels hard, it is not cured",
    "wash_some": "Wash before the next coat",
    "wash_heavy": "Wash first, then go on",
    "wash_wet": "Dry it, wash it, then go on",
    "wash_recoat": "Wash, then recoat before {shut_by}",
    "wash_sand": "Wash it, then sand",
    "wash_later": "Leave it until {firm_from}, then wash it",
    "window_missed": "Let it harden, then wash and sand",
    "gap": "Wait until {ready_from}: {missing_h} of readings are missing",
    "wood_warming": "Don't coat yet: warming wood blows bubbles",
    "burner": "Look for a burner; air the shop",
    "disagreement": "Test again: thumb and temperatures disagree",
    "suspect_mix": "Suspect the mix: waiting will not cure it",
    "probe_suspect": "Not known: probe {probe} reads {read_C}",
    "probe_silent": "Not known: probe silent since {silent_at}",
    "never_heard": "Not known: probe {probe} was never heard",
    "no_probe": "Not known: this panel has no probe",
    "no_readings": "Not known: no readings since it was mixed",
    "outside_card": "Not known: {panel_C} is below this card's range",
    "outside_card_hot": "Not known: {panel_C} is above this card's range",
    "no_card": "Not known: card {card} cannot be read",
    "too_old": "Not known: this answer is too old",
    "watch_not_started": "Not known: watch has not started",
    "not_worked_out": "Not known: not worked out yet",
}

WHYS: dict[str, str] = {
    "why_planned": "Panel {panel_C}, {trend}; margin {margin_K}.",
    "why_planned_no_air": "Panel {panel_C}, {trend}; the air's moisture is not measured.",
    "why_in_the_pot": "Mixed {mixed_at}; likely usable to {usable_at}.",
    "why_in_the_pot_cup": "{pot_g} in a cup, {bottle_C}; likely usable to {usable_at}.",
    "why_workable": "Panel {panel_C}; likely workable to {workable_at}.",
    "why_setting": "Likely from {open_at}. Panel {panel_C}, {trend}.",
    "why_setting_far": "Panel {panel_C}, {trend}.",
    "why_recoatable": "Open since {opened_at}; likely shuts {shut_at}.",
    "why_recoatable_last": "Could shut {shut_by}; likely {shut_at}.",
    "why_overlap": "May open as late as {open_from}, shut as early as {shut_by}.",
    "why_firm": "Too late to bond, too soft to sand. Likely {sand_at}.",
    "why_firm_far": "Too late to bond, too soft to sand. Panel {panel_C}, {trend}.",
    "why_sandable": "Slow end passed at {passed_at}.",
    "why_demouldable": "Softens above {soften_C}. Full cure likely {full_at}.",
    "why_demouldable_far": "Softens above {soften_C}. Full cure: not within two days at this temperature.",
    "why_fully_cured": "Every coat past full cure, slow end, {passed_at}.",
    "why_stopped_by_cold": "{panel_C} since {since_at}.",
    "why_stopped_below_card": "{panel_C}; the card's minimum is {minimum_C}.",
    "why_stopped_far": "{panel_C}; {do} is not within two days at this temperature.",
    "why_warmed": "At {warm_C}: {do} in {warmed_h}.",
    "why_hard_not_cured": "Panel {panel_C}; softens above {soften_C}: support it.",
    "why_wash_margin": "Margin under {margin_K} for {exposed_h} while young.",
    "why_wash_some": "Damp air for {exposed_h} while young.",
    "why_wash_heavy": "Surface above {surface_pc} RH for {exposed_h}. Only washing tells.",
    "why_wash_wet": "Panel {under_K} under dew point, {wet_at} to {dry_at}.",
    "why_wash_wet_brief": "Wet {wet_at} to {dry_at}.",
    "why_wash_gap": "{missing_h} without readings while young. Only washing tells.",
    "why_wash_later": "A tacky film cannot be washed. Don't touch it.",
    "why_washed": "Washed {washed_at}.",
    "why_film_not_measured": "Nobody measured the air's moisture: blush is not known.",
    "why_window_missed": "Likely shut {shut_at}. A coat now may not bond.",
    "why_window_missed_earlier": "The window is shut. A coat now may not bond.",
    "why_gap": "None {gap_at} to {gap_end_at}; allows for the coldest possible.",
    "why_wood_warming": "Up {rise_K} since {since_at}; likely falling from {fall_at}.",
    "why_burner": "Heat and moisture jumped together at {jump_at}.",
    "why_disagreement": "Thumb soft; temperatures say firm since {since_at}. Range widened.",
    "why_suspect_mix": "Ready by {passed_at} even at the slow end, yet still soft.",
    "why_suspect_power_on": "Sent before it has measured. Test with thumb.",
    "why_suspect_disconnected": "Its sensor has come off or broken. Test with thumb.",
    "why_suspect_stuck": "The same number too long. Test with thumb.",
    "why_suspect_range": "No shed is that hot or cold. Test with thumb.",
    "why_suspect_rate": "No panel changes that fast. Test with thumb.",
    "why_probe_silent": "{was} then. Check battery; test with thumb.",
    "why_probe_silent_early": "Check battery; test with thumb.",
    "why_never_heard": "Check cable and battery; More, Probes shows what was refused.",
    "why_no_probe": "Name its probe on the panel's page.",
    "why_no_readings": "Nothing usable since {mixed_at}. Check the probe; test with thumb.",
    "why_outside_card": "Card covers {minimum_C} to {maximum_C}.",
    "why_no_card": "Put the card back or name another. Test with thumb.",
    "why_too_old": "Last said {said_at}: {said}",
    "why_watch_not_started": "Start it with coldshed run. Test with thumb.",
    "why_not_worked_out": "Watch answers within a minute.",
    "why_range_wide": "A thumb test would narrow this.",
    "why_nights": "In 8 of 10 nights like this: between {early_at} and {late_at}.",
    "why_air_only": "From the air alone: the panel itself is not measured.",
    "why_invented_card": "Card {card} is invented: nothing past sanding is said.",
    "why_margin": "Margin over dew point {margin_K}.",
    "why_panel": "Panel {panel_C}, {trend}.",
}

NEXTS: dict[str, str] = {
    "next_mix": "Next: mix the first coat.",
    "next_pour": "Next: wet out.",
    "next_open": "Next: recoat, likely {open_at}.",
    "next_shut": "Next: the window shuts, likely {shut_at}.",
    "next_sand": "Next: sand, likely {sand_at}.",
    "next_demould": "Next: demould, likely {demould_at}.",
    "next_full": "Next: full cure, likely {full_at}.",
    "next_far": "Next: {do}, not within two days at this temperature.",
    "next_warmed": "Next: {do}. At {warm_C} in about {warmed_h} ({soon_h} to {late_h}).",
    "next_wash_then": "Next: after washing, {do}.",
    "next_probe": "Next: make the probe heard, then this page answers again.",
}

ALARMS: dict[str, str] = {
    "alarm_too_cold": "Warm {panel}: {panel_C}, its card needs {minimum_C}",
    "alarm_stopped": "Warm {panel} above {move_C}: curing has stopped",
    "alarm_blush": "Wash {panel} before its next coat: exposure {level}",
    "alarm_silent": "Check probe {probe}: silent since {silent_at}",
    "alarm_never_heard": "Check probe {probe}: never heard",
}

CAUTIONS: dict[str, str] = {
    "gloves": "Gloves on: resin and hardener can make you allergic for life.",
    "dust": "Sanding: respirator and dust extraction; half-cured dust is worse.",
    "pot": "A full cup can smoke and burn. Spread it out; take it outside.",
    "burner": "Burners need a flue: carbon monoxide kills.",
    "heater": "No heater unattended, unless fixed, guarded, thermostatted and watched by a smoke alarm.",
    "estimate": "An estimate, not an approval. Structural parts: maker's sheets, designer, local codes, "
    "qualified sign-off; test a coupon.",
}
"""Cautions by key: the keys that an assessment's `cautions` may hold."""

KEYS: dict[str, str] = HEADLINES | WHYS | NEXTS | ALARMS


def takes(key: str) -> frozenset[str]:
    """The names of the values that a key's template needs. Raises KeyError for a key that nobody defined."""
    return frozenset(name for _, name, _, _ in Formatter().parse(KEYS[key]) if name)


STATES: dict[str, str] = {
    "recoat": "recoat from", "recoat_until": "recoat until", "sand": "sand", "demould": "demould",
}  # fmt: skip

LABELS: dict[str, str] = {
    "new_time": "new time",
    "old_time": "old time",
    "just_now": "just now",
    "ago": "{span} ago",
    "morning": "Morning round",
    "evening": "Evening round",
    "round": "Round",
    "more": "More",
    "tabs": "Pages",
    "readings_to": "readings to {at}",
    "no_readings": "no readings",
    "worked_out": "worked out {at}",
    "known": "{known} of {all} panels known",
    "lost_touch": "this page lost touch {at}",
    "order_changed": "Order changed: sort again",
    "last_said": "Last said {at}: {said}.",
    "coat": "coat {n}",
    "coats_1": "1 coat",
    "coats_n": "{n} coats",
    "no_coat": "no coat yet",
    "empty_panels": "No panel yet. Register one; its answer appears here.",
    "empty_probes": "No probe heard. Plug one in; its lines appear here.",
    "register": "Register a panel",
    "act": "clock running",
    "go": "any time",
    "care": "first do this",
    "wait": "wait",
    "not known": "not known",
    "start_coat": "Start coat {n}",
    "log_wash": "Log wash",
    "log_sand": "Log sand",
    "check_probe": "Check probe",
    "see_panel": "See panel",
    "see_heat": "See heat",
    "invented": "Invented shop: a simulated night, no real resin.",
    "unproven": "Nothing here has been compared with real resin yet.",
    "more_alarms": "and {n} more",
    "alarm_gone": "over since {at}",
    "alarm_lasts": "lasts",
    "alarm_seen": "seen {at} by {who}",
    "raised": "since {at}",
    "seen": "Seen",
    "alarms": "Alarms",
    "no_alarms": "No alarm.",
    "probes": "Probes",
    "units": "Temperatures in",
    "theme": "Look",
    "light": "Light",
    "dark": "Dark",
    "sun": "Sun",
    "auto": "As the device",
    "your_name": "Your name, for the log",
    "nobody": "somebody",
    "cautions": "Cautions",
    "why": "Why",
    "coats": "Coats",
    "log": "Log",
    "table": "The numbers",
    "chart": "Night of {name}",
    "cursor": "Move through the night",
    "undo": "Undo",
    "take_back": "Take back",
    "taken_back": "taken back {at} by {who}",
    "not_sent": "Not sent: the shop computer did not answer. Nothing was logged; tap again.",
    "working": "Working it out…",
    "zone": "Zone",
    "name": "Name",
    "surface_probe": "Probe on the panel",
    "air_probe": "Probe in the air",
    "none": "none",
    "substrate": "Laid on",
    "card": "Resin card",
    "mixed_just_now": "Mixed just now",
    "mixed_earlier": "Mixed at the time above",
    "earlier": "Or earlier: time of mixing",
    "save_panel": "Register it",
    "back_round": "Back to the round",
    "now": "now",
    "panel": "panel",
    "air": "air",
    "dew": "dew point",
    "cure": "cure",
    "film": "film",
    "did": "did",
    "card_minimum": "card minimum {value}",
    "missing": "no readings",
    "refused": "Not taken",
    "nothing_refused": "Everything sent was taken.",
    "not_found": "There is no such page.",
    "no_panel": "There is no such panel.",
    "by": "by {who}",
    "never": "never heard",
}  # fmt: skip
"""Short words of the pages."""

DID: dict[str, str] = {
    "panel registered": "Registered {at}",
    "coat mixed": "Coat {n} started {at}",
    "washed": "Washed {at}",
    "sanded": "Sanded {at}",
    "demoulded": "Demoulded {at}",
    "closed": "Closed {at}",
    "alarm seen": "Alarm seen {at}",
    "preference": "Choice saved {at}",
    "withdrawn": "Taken back {at}",
}
"""What an entry of the log says."""
