"""From assessments to what the Morning round shows: one strip a panel, in the order of what to do first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import islice

from dashboard.assess import HELD_RANK
from dashboard.assessment import Assessment
from dashboard.display import View
from dashboard.panel import Hold, Panel
from dashboard.words import LABELS
from dashboard.words.sites import SITE_HEADLINES
from model.observation import Word
from model.verdict import Kind, Mark, Say, State, Verdict

NOT_KNOWN_RANK = 2
TWO_LINES = 60
FOLD_BEYOND = 5
"""With more panels than this, those that only wait fold to one line."""
FELT_MS = 30 * 60_000
"""A thumb test this old is not asked for again."""
BONDS = {Word.SOFT_TACK, Word.TAPE, Word.TACK_FREE}
"""What a film feels like that the next coat bonds to (common practice, no source)."""


@dataclass(frozen=True)
class Button:
    """What a strip's one button does: opens `href`, or logs an event of `kind` at once."""

    label: str
    href: str | None = None
    kind: str | None = None


CHORES = {
    "trim": ("log_trim", "trimmed"), "trim_last": ("log_trim", "trimmed"),
    "tape": ("log_tape", "tape pulled"), "tape_last": ("log_tape", "tape pulled"),
    "clamps_off": ("log_clamps", "clamps off"), "clamps_unproven": ("log_clamps", "clamps off"),
    "ply_pull": ("log_ply", "peel ply off"),
}  # fmt: skip
"""By a headline's key: what its button says, and what it logs."""


@dataclass(frozen=True)
class Strip:
    """One strip, all text ready. Times UTC ms.

    ahead      "40 min left" or "in 2 h 20" for the headline's time limit, or None
    why        one sentence or two
    good_until past it the page itself must show "not known" with `last_said`; None: nothing to expire
    washed     "Washed 06:20, by Kim", until the next coat: a wash that never was hides a bond failure
    held       somebody put it on hold: nobody works on it until it is released
    key        of the headline's words
    """

    panel: str
    title: str
    kind: Kind
    mark: Mark
    headline: str
    ahead: str | None
    why: str
    button: Button
    known: bool
    rank: int
    good_until: int | None
    last_said: str
    worked_out: int | None
    readings_to: int | None
    folded: bool = False
    zone: str = ""
    held: bool = False
    key: str = ""
    washed: str | None = None

    @property
    def contour(self) -> str:
        """The kind as a class name."""
        return self.kind.value.replace(" ", "-")


@dataclass(frozen=True)
class Round:
    """All strips in order, with how old they are.

    zones   of all open panels, whatever zone the round is of
    """

    strips: tuple[Strip, ...]
    known: int
    readings_to: int | None
    worked_out: int | None
    zones: tuple[str, ...] = ()


def strip(panel: Panel, assessment: Assessment | None, view: View, started: bool = True) -> Strip:
    """One panel's strip; `started` is False if watch has never run. Past good_until it says "not known".

    An answer from before the newest entry, or before one was taken back, is none.
    """
    made, washed = _answered(panel, assessment, view, started), _washed(panel, view)
    return made if washed is None else replace(made, washed=washed)


def _answered(panel: Panel, assessment: Assessment | None, view: View, started: bool) -> Strip:
    if panel.scrapped is not None:
        return _unknown(panel, Say("scrapped"), Say("why_scrapped", {"reason": panel.scrapped}), view)
    if panel.closed:
        return _unknown(panel, Say("closed"), Say("why_closed"), view)
    if panel.hold is not None and not _knows_of_hold(assessment, panel, view):
        return _held(panel, panel.hold, view)
    if assessment is None or not assessment.is_of(panel):
        key = "not_worked_out" if started else "watch_not_started"
        return replace(_unknown(panel, Say(key), Say(f"why_{key}"), view), button=_see(panel))
    if assessment.is_old(view.now):
        said = Say(
            "why_too_old",
            {"said_at": assessment.at, "said": view.sentence(assessment.verdict.headline)},
        )
        return _unknown(panel, Say("too_old"), said, view, assessment)
    verdict = assessment.verdict
    headline = view.sentence(verdict.headline)
    return Strip(
        panel=panel.id,
        title=title(panel),
        kind=verdict.kind,
        mark=verdict.mark,
        headline=headline,
        ahead=view.ahead(verdict.headline),
        why=_brief(_reasons(panel, verdict, view)),
        button=button(panel, assessment),
        known=verdict.kind is not Kind.NOT_KNOWN,
        rank=verdict.rank,
        good_until=assessment.good_until,
        last_said=_said_at(assessment.at, headline, view),
        worked_out=assessment.at,
        readings_to=assessment.readings_to,
        zone=panel.zone,
        held=verdict.headline.key == "held",
        key=verdict.headline.key,
    )


def _washed(panel: Panel, view: View) -> str | None:
    if panel.washed_at is None or panel.closed:
        return None
    return LABELS["washed_by"].format(at=view.clock(panel.washed_at), who=panel.washed_by or LABELS["nobody"])


def last_said(assessment: Assessment, view: View) -> str:
    """ "Last said 06:12: Recoat before 06:50." """
    return _said_at(assessment.at, view.sentence(assessment.verdict.headline), view)


def _said_at(at: int, headline: str, view: View) -> str:
    return LABELS["last_said"].format(at=view.clock(at), said=headline)


def title(panel: Panel) -> str:
    """ "Skiff deck 2 · coat 2"; the panel's name and how many coats it has."""
    coats = len(panel.coats)
    if coats == 0:
        return f"{panel.name} · {LABELS['no_coat']}"
    text = LABELS["coats_1"] if coats == 1 else LABELS["coats_n"].format(n=coats)
    return f"{panel.name} · {text}"


def button(panel: Panel, assessment: Assessment) -> Button:
    """The one thing to log or look up. Demoulding ends the watching, so it is never on the round."""
    verdict, here = assessment.verdict, f"/panels/{panel.id}"
    if verdict.headline.key == "held":
        return _release(panel)
    if verdict.headline.key in ("disagreement", "suspect_mix"):
        return Button(LABELS["thumb_test"], href=f"{here}/thumb")
    if verdict.headline.key in SITE_HEADLINES:
        return Button(LABELS["see_site"], href="/more/probes")
    if verdict.kind is Kind.NOT_KNOWN:
        return _check_probe(panel)
    if verdict.headline.key == "in_the_pot":
        return Button(LABELS["log_applied"], kind="coat applied")
    if verdict.headline.key in CHORES:
        label, kind = CHORES[verdict.headline.key]
        return Button(LABELS[label], kind=kind)
    if verdict.headline.key in ("overlap", "setting_thumb") and not _felt_lately(panel, assessment):
        return Button(LABELS["thumb_test"], href=f"{here}/thumb")
    if verdict.state is State.PLANNED and verdict.kind is Kind.WAIT:
        return check_hour(panel)
    if verdict.mark is Mark.LAP or verdict.state is State.PLANNED:
        return Button(LABELS["start_coat"].format(n=len(panel.coats) + 1), href=f"{here}/coat")
    if verdict.mark is Mark.DROP and verdict.headline.key != "wash_later":
        return Button(LABELS["log_wash"], kind="washed")
    if verdict.mark is Mark.TEETH:
        return Button(LABELS["log_sand"], kind="sanded")
    if verdict.mark is Mark.KNEE:
        return Button(LABELS["plan_heat"], href=f"/tonight/{panel.id}#ask")
    return _see(panel)


def check_hour(panel: Panel) -> Button:
    """Before a first coat, while the hour will not do, or no card is said: that first, not the start."""
    return Button(LABELS["check_hour"], href=f"/mix?spot=panel:{panel.id}")


def _felt_lately(panel: Panel, assessment: Assessment) -> bool:
    """Whether a thumb has just told what the clock cannot, no longer wet and not yet hard: the next coat's turn."""
    tests = panel.newest.thumb_tests if panel.newest else ()
    newest = max((test for test in tests if test.sure), key=lambda test: test.at, default=None)
    return newest is not None and assessment.at - newest.at <= FELT_MS and set(newest.words) <= BONDS


def round_of(
    panels: Mapping[str, Panel],
    assessments: Iterable[Assessment] | None,
    view: View,
    zone: str | None = None,
) -> Round:
    """The round of all open panels, or of a zone's, in the order of rank, deadline, name.

    assessments   None: watch has never run
    """
    by_panel = {item.panel: item for item in assessments or ()}
    open_panels = [panel for panel in panels.values() if not panel.closed]
    started = assessments is not None
    shown = [panel for panel in open_panels if zone in (None, panel.zone)]
    strips = [strip(panel, by_panel.get(panel.id), view, started) for panel in shown]
    strips.sort(key=lambda item: (item.rank, _limit(by_panel.get(item.panel)), counted(item.title)))
    known = [item for item in strips if item.known]
    return Round(
        strips=tuple(strips),
        known=len(known),
        readings_to=min(
            (item.readings_to for item in known if item.readings_to is not None and not item.held),
            default=None,
        ),
        worked_out=min((item.worked_out for item in strips if item.worked_out is not None), default=None),
        zones=tuple(sorted({panel.zone for panel in open_panels})),
    )


@lru_cache(maxsize=4096)
def counted(title: str) -> tuple[tuple[int, str], ...]:
    """To order names by: "Hull 2" before "Hull 10"."""
    return tuple((int(part), "") if part.isdecimal() else (0, part) for part in re.split(r"(\d+)", title))


def is_long(panels: int) -> bool:
    """Whether so many panels no longer stand on one screen of a phone."""
    return panels > FOLD_BEYOND


def folded(found: Round) -> Round:
    """With more panels than FOLD_BEYOND, those that only wait, and offer nothing but their page, in a line each."""
    if not is_long(len(found.strips)):
        return found
    return replace(found, strips=tuple(_folded(item) if _only_waits(item) else item for item in found.strips))


def _only_waits(item: Strip) -> bool:
    waits = item.kind is Kind.WAIT or item.key == "not_worked_out"
    return waits and item.button.href == f"/panels/{item.panel}"


def _reasons(panel: Panel, verdict: Verdict, view: View) -> Iterator[str]:
    """Why, in sentences; of a washed panel the first, since who washed it, and when, stands below it."""
    if panel.washed_at is None:
        return (view.sentence(say) for say in verdict.why)
    return islice((view.sentence(say) for say in verdict.why if say.key != "why_washed"), 1)


def _brief(sentences: Iterator[str]) -> str:
    """As many whole sentences as two lines of a phone hold, at least the first."""
    text = next(sentences, "")
    for sentence in sentences:
        if len(text) + len(sentence) >= TWO_LINES:
            break
        text += " " + sentence
    return text


def _unknown(panel: Panel, head: Say, why: Say, view: View, old: Assessment | None = None) -> Strip:
    return Strip(
        panel=panel.id,
        title=title(panel),
        kind=Kind.NOT_KNOWN,
        mark=Mark.TORN,
        headline=view.sentence(head),
        ahead=None,
        why=view.sentence(why) + ("." if old else ""),
        button=_check_probe(panel),
        known=False,
        rank=NOT_KNOWN_RANK,
        good_until=None,
        last_said="",
        worked_out=old.at if old else None,
        readings_to=old.readings_to if old else None,
        zone=panel.zone,
        key=head.key,
    )


def _knows_of_hold(assessment: Assessment | None, panel: Panel, view: View) -> bool:
    """Whether an answer is good now and says that the panel is on hold, or that its pot has to be emptied first."""
    if assessment is None or not assessment.is_of(panel) or assessment.is_old(view.now):
        return False
    return assessment.verdict.headline.key == "held" or assessment.verdict.state is State.IN_THE_POT


def _held(panel: Panel, hold: Hold, view: View) -> Strip:
    """A hold stands whether or not anything can be worked out: a person put it there."""
    why = Say("why_held", {"held_at": hold.since, "who": hold.who or LABELS["nobody"]})
    return replace(
        _unknown(panel, Say("held", {"reason": hold.reason}), why, view),
        kind=Kind.WAIT, mark=Mark.RAMP, button=_release(panel), rank=HELD_RANK, held=True,
    )  # fmt: skip


def _release(panel: Panel) -> Button:
    return Button(LABELS["see_hold"], href=f"/panels/{panel.id}/more#on-hold")


def _see(panel: Panel) -> Button:
    return Button(LABELS["see_panel"], href=f"/panels/{panel.id}")


def _check_probe(panel: Panel) -> Button:
    probe = panel.surface_probe or panel.air_probe
    if probe is None:
        return _see(panel)
    return Button(LABELS["check_probe"], href=f"/more/probes#probe-{probe}")


def _folded(item: Strip) -> Strip:
    """A waiting strip in one line of why: its first sentence."""
    first, more, _ = item.why.partition(". ")
    return replace(item, folded=True, why=f"{first}." if more else first)


def _limit(assessment: Assessment | None) -> int:
    """The headline's earliest time limit, to order strips of one rank by."""
    values = assessment.verdict.headline.values if assessment else {}
    times = [int(value) for name, value in values.items() if name.endswith(("_by", "_from"))]
    return min(times, default=2**62)
