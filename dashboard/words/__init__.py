"""Every sentence about a panel, by key. A Say has a key of KEYS and exactly the values its template takes.

What a value is stands in the end of its name (dashboard.display turns it into text):

    _by    UTC ms, a latest safe time: rounded down       _from  UTC ms, an earliest safe time: rounded up
    _at    UTC ms, a fact or a likely time: nearest       _C     degC, whole in a headline, tenths in a why
    _K     a difference in K, without offset              _h     hours, "2 h 20"
    _g     grams                                          _pc    per cent, whole
    _gm2   g/m2 of cloth                                  _mm    a thickness

A name without such an end is text and is put in as it is; `trend`, `do`, `was` and `level` take the words of
CHOICES only. Rules for headlines: verb first, at most 12 words, "Not known" alone has no verb.
"""

from __future__ import annotations

from string import Formatter

from dashboard.words import answers, labels
from dashboard.words.acts import ACT_LABELS
from dashboard.words.alarms import ALARM_DID, ALARM_LABELS, ALARM_SENTENCES
from dashboard.words.answers import CAUTIONS
from dashboard.words.door import DOOR_LABELS
from dashboard.words.doubts import DOUBT_ALARMS, DOUBT_HEADLINES, DOUBT_WHYS, DOUBTS
from dashboard.words.first_run import FIRST_RUN_LABELS
from dashboard.words.help import HELP_LABELS
from dashboard.words.kept import KEPT_LABELS
from dashboard.words.kinds import KIND_HEADLINES, KIND_LABELS, KIND_NEXTS, KIND_WHYS
from dashboard.words.labels import MILESTONES, QUALITY, SHOWN
from dashboard.words.mix import MIX_CHOICES, MIX_HEADLINES, MIX_LABELS, MIX_WHYS
from dashboard.words.paper import PAPER_LABELS
from dashboard.words.probes import PROBE_LABELS
from dashboard.words.record import DECISION_LABELS, RECORD
from dashboard.words.shop import SHOP_LABELS, SHOP_SENTENCES
from dashboard.words.sites import SITE_ALARMS, SITE_HEADLINES, SITE_LABELS, SITE_WHYS
from dashboard.words.thumb import THUMB_LABELS
from dashboard.words.tonight import TONIGHT, TONIGHT_HEADLINES, TONIGHT_LABELS
from dashboard.words.unsent import TAPPED, UNSENT_LABELS
from dashboard.words.why import WHY_CHANGES, WHY_GUARDS, WHY_LABELS, WHY_NUMBERS

__all__ = [
    "ALARMS", "CAUTIONS", "CHOICES", "DID", "HEADLINES", "KEYS", "LABELS", "MILESTONES", "NEXTS", "QUALITY", "RECORD",
    "SHOWN", "TAPPED", "WHYS", "takes",
]  # fmt: skip

HEADLINES = (
    answers.HEADLINES | DOUBT_HEADLINES | MIX_HEADLINES | TONIGHT_HEADLINES | KIND_HEADLINES | SITE_HEADLINES
)
WHYS = answers.WHYS | DOUBT_WHYS | MIX_WHYS | KIND_WHYS | SITE_WHYS | WHY_GUARDS | WHY_CHANGES | WHY_NUMBERS
NEXTS = answers.NEXTS | KIND_NEXTS
CHOICES = answers.CHOICES | MIX_CHOICES
ALARMS = answers.ALARMS | DOUBT_ALARMS | ALARM_SENTENCES | SITE_ALARMS
DID = labels.DID | ALARM_DID
PARTS = (
    labels.LABELS,
    ACT_LABELS,
    MIX_LABELS,
    PROBE_LABELS,
    TONIGHT_LABELS,
    PAPER_LABELS,
    ALARM_LABELS,
    DECISION_LABELS,
    KIND_LABELS,
    THUMB_LABELS,
    KEPT_LABELS,
    HELP_LABELS,
    WHY_LABELS,
    FIRST_RUN_LABELS,
    DOOR_LABELS,
    SHOP_LABELS,
    UNSENT_LABELS,
    SITE_LABELS,
)
"""Each area of the pages has its own words; no key stands in two of them."""
LABELS: dict[str, str] = {key: text for part in PARTS for key, text in part.items()}
KEYS: dict[str, str] = HEADLINES | WHYS | NEXTS | ALARMS | DOUBTS | TONIGHT | SHOP_SENTENCES


def takes(key: str) -> frozenset[str]:
    """The names of the values that a key's template needs. Raises KeyError for a key that nobody defined."""
    return frozenset(name for _, name, _, _ in Formatter().parse(KEYS[key]) if name)
