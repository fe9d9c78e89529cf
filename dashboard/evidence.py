"""What demoulding and signing off ask for beside the range, and what of it is there. Pure.

Hardness a person took on tile or flange near 20 degC, a probe on the panel itself, the shop's own card, every pot
weighed, in ratio and stirred; and from the model the slow end past the milestone, with an answer that holds. Values
of hardness that a card does not give are the trade's (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from dashboard.assessment import Assessment
from dashboard.display import View
from dashboard.mix_fault import fault_of
from dashboard.panel import Coat, Hardness, Panel
from dashboard.words import LABELS
from model.milestones import SAFE_SHARE
from model.resin_card import Milestone, ResinCard
from model.verdict import Flag, Kind

DEMOULD, SIGN_OFF = "demould", "sign off"
ASKS: Mapping[str, Milestone] = {DEMOULD: Milestone.DEMOULD, SIGN_OFF: Milestone.CURED}
TRADE: Mapping[tuple[str, str], float] = {(DEMOULD, "Shore D"): 70.0, (SIGN_OFF, "Shore D"): 78.0}
"""The least hardness near 20 degC for what no card says otherwise; other scales have no such value in the trade."""
NEAR_C = (17.0, 25.0)
"""What "about 20 degC" may be; a colder tile is harder than it is cured."""


@dataclass(frozen=True)
class Item:
    """One thing that is asked for: there or not, as a key of the words with the values it takes."""

    name: str
    have: bool
    key: str
    values: Mapping[str, Any] = field(default_factory=dict)


def evidence(
    act: str, panel: Panel, cards: Mapping[str, ResinCard], answer: Assessment | None, now: int
) -> tuple[Item, ...]:
    """Everything that DEMOULD or SIGN_OFF asks for at `now` (UTC ms), in the order of asking.

    cards    by id; one that is missing is nobody's own
    answer   what was worked out of the panel last; one that is too old, or from before its newest entry, is none
    """
    valid = answer if answer is not None and answer.is_of(panel) and not answer.is_old(now) else None
    return (*_of_the_model(act, valid), *physical(act, panel, cards))


def in_words(item: Item, view: View) -> str:
    """Its sentence, without a full stop."""
    values = dict(item.values)
    if "near_C" in values:
        values["near"] = view.temperature(values.pop("near_C"), whole=True)
    return LABELS[item.key].format(**values)


def physical(act: str, panel: Panel, cards: Mapping[str, ResinCard]) -> tuple[Item, ...]:
    """The part that no model can give."""
    return (*_made(panel, cards), _hardness(act, panel, cards), _released(panel))


def proven(panel: Panel, cards: Mapping[str, ResinCard]) -> bool:
    """Whether demoulding was granted and all that people gave for it still stands."""
    return panel.granted is not None and all(item.have for item in physical(DEMOULD, panel, cards))


def proven_cured(panel: Panel, cards: Mapping[str, ResinCard]) -> bool:
    """Whether all that people can give for signing off stands: full cure is never said from the model alone."""
    return proven(panel, cards) and all(item.have for item in physical(SIGN_OFF, panel, cards))


def _of_the_model(act: str, answer: Assessment | None) -> Iterator[Item]:
    known = answer is not None and answer.verdict.kind is not Kind.NOT_KNOWN
    yield Item("answer", known, "have_answer" if known else "need_answer")
    milestone = ASKS[act]
    passings = answer.milestones if known and answer is not None else ()
    share = next((item.passed for item in passings if item.name == milestone.value), 0.0)
    asked = SAFE_SHARE[milestone]
    past = share >= asked
    about = {"share": f"{100 * share:.0f}", "asked": f"{100 * asked:.0f}"}
    name = "range" if act == DEMOULD else "cured"
    yield Item(name, past, f"have_{name}" if past else f"need_{name}", about)
    glassy = answer is not None and Flag.HARD_NOT_CURED in answer.verdict.flags
    yield Item("glassy", known and not glassy, "need_glassy" if glassy or not known else "have_glassy")


def _made(panel: Panel, cards: Mapping[str, ResinCard]) -> Iterator[Item]:
    surface = panel.surface_probe is not None
    yield Item("surface", surface, "have_surface" if surface else "need_surface")
    foreign = [coat for coat in panel.coats if _is_foreign(coat, cards)]
    yield _all("card", foreign)
    faulty = [coat for coat in panel.coats if (card := cards.get(coat.card)) and fault_of(coat, card)]
    bare = [coat for coat in panel.coats if not _weighed(coat)]
    if faulty:
        yield Item("pots", False, "need_ratio", {"coats": _numbers(faulty)})
    else:
        yield _all("pots", bare)


def _is_foreign(coat: Coat, cards: Mapping[str, ResinCard]) -> bool:
    card = cards.get(coat.card)
    return card is None or card.invented


def _weighed(coat: Coat) -> bool:
    return bool(coat.pots) and all(pot.mass_g is not None and pot.stirred for pot in coat.pots)


def _all(name: str, lacking: list[Coat]) -> Item:
    if lacking:
        return Item(name, False, f"need_{name}", {"coats": _numbers(lacking)})
    return Item(name, True, f"have_{name}")


def _numbers(coats: list[Coat]) -> str:
    return ", ".join(str(coat.number) for coat in coats)


def _hardness(act: str, panel: Panel, cards: Mapping[str, ResinCard]) -> Item:
    """The newest one of the newest coat that was taken near 20 degC on a scale with a value to reach.

    A colder one proves nothing, unless it is too soft: warmer it would be softer still.
    """
    newest = panel.newest
    taken = [] if newest is None else [
        (test, asked)
        for test in newest.hardness
        if (asked := _asked(act, test, cards.get(newest.card)))
        and test.at_C <= NEAR_C[1]
        and (test.at_C >= NEAR_C[0] or test.value < asked)
    ]  # fmt: skip
    if not taken:
        return Item("hardness", False, "need_hardness", {"near_C": 20.0})
    test, asked = max(taken, key=lambda pair: pair[0].at)
    enough = test.value >= asked
    about = {"scale": test.scale, "value": f"{test.value:g}", "asked": f"{asked:g}", "near_C": test.at_C}
    return Item("hardness", enough, "have_hardness" if enough else "low_hardness", about)


def _asked(act: str, test: Hardness, card: ResinCard | None) -> float | None:
    own = dict(card.hardness) if card is not None else {}
    return own.get((act, test.scale), TRADE.get((act, test.scale)))


def _released(panel: Panel) -> Item:
    if panel.hold is not None:
        return Item("hold", False, "need_hold", {"reason": panel.hold.reason})
    return Item("hold", True, "have_hold")
