"""Words about sites whose readings come from a time-series server; part of words.LABELS, HEADLINES, WHYS and ALARMS."""

from __future__ import annotations

SITE_ALARMS: dict[str, str] = {
    "alarm_site_cut": "See to the network of {site}: not heard since {silent_at}",
    "alarm_site_never": "See to {site}: never heard",
    "alarm_site_ahead": "Set the clock of {site}: it runs ahead",
    "alarm_site_shared": "Rename both computers that send as {site}",
    "alarm_site_lags": "See why {site} sends late, since {lags_at}",
    "alarm_sites_away": "See to the time-series server: it does not answer",
}

SITE_HEADLINES: dict[str, str] = {
    "silent_site": "Not known: {site} not heard since {silent_at}",
    "silent_late": "Not known: {site} sends late, since {silent_at}",
    "silent_doubted": "Not known: nothing of {site} is believed now",
    "silent_server": "Not known: no word from the server since {silent_at}",
}

SITE_WHYS: dict[str, str] = {
    "why_silent_site": "{was} then. See to its power and network; test with thumb.",
    "why_silent_site_early": "See to its power and network; test with thumb.",
    "why_silent_late": "{was} then. More, Probes says more; test with thumb.",
    "why_silent_late_early": "More, Probes says more; test with thumb.",
    "why_silent_doubted": "More, Probes says what to do; test with thumb.",
    "why_silent_server": "{was} then. See to the time-series server; test with thumb.",
    "why_silent_server_early": "See to the time-series server; test with thumb.",
}

SITE_LABELS: dict[str, str] = {
    "sites": "Sites",
    "site_heard": "Heard {age}, readings to {at}",
    "site_heard_only": "Heard {age}, no readings yet",
    "site_cut": "Not heard since {at}",
    "site_cut_so": "See to its power and network. Panels there are not known: test with thumb.",
    "site_cut_keeps": "It goes on recording and sends all once it is back.",
    "site_probe": "nothing from its site since {at}",
    "see_site": "See site",
    "site_never": "Never heard",
    "site_never_so": "Is this what its own settings call it, and does coldshed forward run there?",
    "site_ahead_so": "Set it there and here by a time service.",
    "site_ahead": "Its clock is {span} ahead of ours: nothing of it is believed.",
    "site_shared": "Two computers send under this name: nothing of it is believed.",
    "site_shared_so": "Give each a name of its own, one that neither had: all is then sent once more under it.",
    "site_lags": "Sends late: {n} batches wait there since {at}.",
    "site_lags_so": "On its computer, coldshed check says why.",
    "site_late": "What came last is old: it was measured by {at}.",
    "site_unknown": "What it says of its probes is not here as a whole: they are not shown.",
    "site_unknown_so": "It says it again within ten minutes.",
    "site_odd_so": "Is coldshed of the same version there and here?",
    "site_missing": "{n} readings that it sent are not on the server. They are looked for again.",
    "site_left_out": "Rows of it on the server that make no sense are left out: {n}, the last of {of}.",
    "site_kept": "{n} lines that the server refused lie there.",
    "sites_away": "See to the time-series server: it does not answer.",
    "not_held": "What was refused, names nobody claims and gaps in counts stand on the Probes page of each site's own"
    " computer: a time-series server cannot hold them.",
}
