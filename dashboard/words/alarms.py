"""Words about alarms, notices and quiet hours; ALARM_SENTENCES are part of words.KEYS, by its rules."""

from __future__ import annotations

ALARM_SENTENCES: dict[str, str] = {
    "alarm_pot": "Pour {panel} out before {pour_by}",
    "alarm_window_opens": "Get set to recoat {panel}: from {open_from}",
    "alarm_window_shuts": "Recoat {panel} before {shut_by}",
    "alarm_cold_tonight": "Warm {panel} tonight: {low_C} likely, needs {minimum_C}",
    "alarm_margin": "Cover {panel} or warm it: margin {left_K}, closing",
    "alarm_ready_sand": "Sand {panel} when you like",
    "alarm_ready_sand_cold": "Sand {panel} cold, support it: it is not cured",
    "alarm_ready_ply": "Pull the peel ply off {panel} when you like",
    "alarm_ready_clamps": "Take the clamps off {panel} when you like",
    "alarm_trim": "Trim the flange of {panel} before {done_by}",
    "alarm_carve": "Carve {panel} before {done_by}",
    "alarm_tape": "Pull the tape of {panel} before {done_by}",
    "alarm_ready_demould": "Demould {panel} when you like; keep it cool",
    "alarm_cured": "Check {panel}, then sign it off",
}
"""Each begins with what can be done at that hour."""

GROUPED: dict[str, str] = {
    "alarm_window_opens": "Get set to recoat {n} panels: {names}",
    "alarm_window_shuts": "Recoat {n} panels soon: {names}",
    "alarm_cold_tonight": "Warm {n} panels tonight: {names}",
    "alarm_stopped": "Warm {n} panels: no cure in {names}",
    "alarm_margin": "Cover {n} panels or warm them: {names}",
    "alarm_blush": "Wash {n} panels: {names}",
    "alarm_silent": "Check {n} probes, silent: {names}",
    "alarm_never_heard": "Check {n} probes, never heard: {names}",
    "alarm_site_cut": "See to the network of {n} sites: {names}",
    "alarm_site_lags": "See why {n} sites send late: {names}",
    "alarm_ready_sand": "Sand {n} panels when you like: {names}",
    "alarm_ready_demould": "Demould {n} panels when you like: {names}",
    "alarm_cured": "Check {n} panels, then sign them off: {names}",
}
"""The same of several panels, or probes, in one sentence."""

ACTS: dict[str, str] = {
    "pot about to go": "Roll it out or tip it into a tray; a full cup can smoke and burn.",
    "window shuts soon": "In the window the next coat bonds without sanding; later wash and sand first.",
    "chore soon": "Later it is too hard for it.",
    "peel ply off": "Blush leaves with it; still scuff before you bond.",
    "clamps off": "Press the squeeze-out with a nail first.",
    "window opens soon": "Try your thumb: tacky like tape.",
    "too cold tonight": "Heat it before you leave, or cover it and lift it off the floor. No heater unattended.",
    "too cold": "Warm the panel, not the air, while somebody is there.",
    "margin closing": "Cover it, close the door, or warm it a little. No unvented burner.",
    "blush exposure": "Wash it with water and a white pad, wipe it dry, then go on.",
    "probe silent": "Check its battery and cable; test with thumb until it is heard.",
    "probe suspect": "See to the probe, then say so on its page.",
    "site unheard": "It goes on recording and sends all once it is back. Test with thumb there.",
    "site lags": "What it records is safe and comes late. On its computer, coldshed check says why.",
    "recording": "Make room on the disk or plug it in again: until then nothing is kept.",
    "ready to sand": "Wash it first if it feels greasy. Respirator and dust extraction.",
    "ready to demould": "Look at the tile and the record first.",
    "fully cured": "The record supports it; a signature is yours.",
}
"""What to do about a kind, in a notice's second line and on the page."""

STATES: dict[str, str] = {
    "normal": "over",
    "unacknowledged": "not seen yet",
    "acknowledged": "seen",
    "returned to normal unacknowledged": "over, not seen",
    "shelved": "quiet until {until}",
    "out of service": "switched off",
}
"""States of the alarm standards, as a page says them."""

KIND_NAMES: dict[str, str] = {
    "window shuts soon": "A recoat window shuts soon",
    "chore soon": "A flange, a fairing or tape must be seen to",
    "window opens soon": "A recoat window opens soon",
    "too cold": "A panel has stopped curing",
    "margin closing": "The margin over a young film closes",
    "probe silent": "A probe over a young film is silent",
    "probe suspect": "A probe is not to be believed",
    "site unheard": "A site is not heard any more",
    "site lags": "A site sends its readings late",
    "recording": "Nothing is recorded any more",
}
"""What a person may ask to be woken for, as the page names it."""

ALARM_LABELS: dict[str, str] = {
    "notice_over": "Over meanwhile, not told in time:",
    "notice_only_over": "Nothing to do: over meanwhile",
    "notice_more": " (+{n})",
    "notice_from": "{site}, {at}, notice {mark}",
    "notice_panels": "It stands for {names}.",
    "notice_no_panels": "No open panel rests on it.",
    "notice_gone": "{said} ({since} to {to})",
    "group_unacknowledged": "Now",
    "group_shelved": "Quiet for now",
    "group_acknowledged": "Seen, still on",
    "group_returned": "Over, nobody saw it",
    "group_out_of_service": "Switched off",
    "group_normal": "Over and seen",
    "group_notices": "Good to know",
    "told_sent": "{who} was told {at}",
    "told_over": "{who} was told {at} that it was over",
    "told_waiting": "{who} is told later",
    "told_dropped": "{who} was not told: {why}",
    "quiet_until": "Quiet until…",
    "half_hour": "30 min",
    "two_hours": "2 h",
    "till_morning": "06:00",
    "unquiet": "Not quiet",
    "switch_off": "Switch this alarm off",
    "switch_off_sure": "Sure? It never rings again",
    "switch_on": "Switch on",
    "no_such_alarm": "There is no such alarm.",
    "who_is_told": "Who is told",
    "nobody_told": "Nobody is told away from these pages. Name people under [notices] in coldshed.toml.",
    "notify_not_running": "Nobody is told: notify does not run. Start it with coldshed run.",
    "pots_always": "A pot about to go is told at any hour. The rest waits out quiet hours, but for what is ticked.",
    "no_quiet_hours": "No quiet hours.",
    "quiet_from": "Quiet from {start} to {end}.",
    "not_reached": "Not reached: {why}. Tried again {at}.",
    "send_test": "Send a test",
    "set_quiet_hours": "Quiet hours",
    "quiet_start": "From",
    "quiet_end": "To",
    "same_none": "The same time twice: no quiet hours.",
    "wake_for": "Wake for",
    "told_so_far": "Told so far",
    "in_quiet_hours": "in quiet hours",
    "nobody_told_file": "The file kim.notice holds Kim's address in one line; coldshed notify --test tries it.",
    "nothing_told": "Nothing told yet. Send a test to see whether it would reach you.",
    "nothing_told_yet": "Nothing told yet.",
    "notice_test": "Test: this notice reached you",
    "notice_test_body": "Nothing is wrong. Somebody pressed Send a test.",
}

ALARM_DID: dict[str, str] = {
    "alarm shelved": "Quiet until {until}",
    "alarm unshelved": "Not quiet any more {at}",
    "out of service": "Switched off {at}: {of}",
    "in service": "Switched on again {at}: {of}",
    "quiet hours": "Quiet hours of {person} set {at}",
    "notice test": "Test on its way {at}",
}
"""What an entry of the log says."""
