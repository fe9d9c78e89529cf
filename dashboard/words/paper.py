"""What stands on paper: the round sheet and the labels."""

from __future__ import annotations

PAPER_LABELS: dict[str, str] = {
    "labels": "Labels",
    "label": "Label",
    "label_none": "No QR code yet: this computer has no address that a phone can open.",
    "label_loopback": "No QR code: {url} leads a phone to itself, not to this computer.",
    "label_do": "Set public_url under [serve] in coldshed.toml to what a phone calls this computer by, then start "
    "serve again:",
    "label_way": "Phones reach the pages once there are accounts: Help, “Who may come in”, says how.",
    "label_meanwhile": "The six letters work already: More, “Letters on a label”.",
    "label_print": "Print at full size, not “fit to page”: the code is 28 mm wide.",
    "label_letters": "Letters on a label",
    "label_open": "Open its panel",
    "label_unknown": "No label carries the letters {code}: read them again, or find the panel on the round.",
    "no_labels": "No open panel here: register one; its label appears here.",
    "all_zones": "All",
    "zones": "Zones",
    "print_round": "Round sheet, to print",
    "no_panel_in_zone": "No open panel in zone {zone}.",
    "sheet": "Round sheet",
    "sheet_printed": "Made {at}. Readings to {readings}. {known} of {all} known.",
    "sheet_no_readings": "Made {at}. No readings. {known} of {all} known.",
    "sheet_until": "Good until the time in its line, and only if nothing changes: half an hour at most. Then look "
    "again on the page, or test with thumb.",
    "sheet_done": "Done",
    "sheet_panel": "Panel",
    "sheet_todo": "What to do",
    "sheet_good": "Good until",
    "sheet_notes": "Notes, who, when",
    "sheet_now": "not known",
    "sheet_held": "on hold",
    "see_hold": "Release",
}  # fmt: skip
"""Short words of printed pages, and of the buttons that lead to them."""
