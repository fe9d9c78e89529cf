"""Words of the pages that a device keeps."""

from __future__ import annotations

KEPT_LABELS = {
    "not_kept": "Not known: no answer",
    "not_kept_what": (
        "The shop's computer did not answer, and this page was not kept on this device. Test with thumb; go back to "
        "the round for what was said last."
    ),
}
