"""Words around the help pages, whose own text stands in dashboard/help and firmware_notes."""

from __future__ import annotations

HELP_LABELS: dict[str, str] = {
    "help": "Help",
    "help_find": "Find in help",
    "help_do_find": "Find",
    "help_found": "Found: {n}",
    "help_nothing": "Nothing found for “{asked}”. Try one word, such as blush or probe.",
    "help_shop": "The job",
    "help_builders": "Probes, broker, shop computer",
    "help_glossary": "Words of the trade",
    "help_glossary_note": "In our own words. The data sheet of the resin in your hand wins over any of them.",
    "help_practice": "Common practice, no source.",
    "help_on_page": "On this page",
    "help_contents": "All of help",
    "help_no_page": "There is no such page of help.",
    "help_no_picture": "There is no such picture.",
}
