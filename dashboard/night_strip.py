"""Tonight as every way out tells it: one panel's night as a strip, and the answer to a what-if, all in words."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard import strips, tonight
from dashboard.asked import Question
from dashboard.assessment import Assessment
from dashboard.display import View
from dashboard.panel import Panel
from dashboard.supposing import Reply
from dashboard.words import LABELS
from model.verdict import Kind, Mark

ORDER = (Mark.TORN.value, Mark.KNEE.value, Mark.DROP.value, Mark.RAMP.value)


@dataclass(frozen=True)
class NightStrip:
    """One panel's night as a strip, all text ready; past good_until the page says "not known".

    may_suppose   whether its answer is known, so that a what-if has something to stand on
    """

    panel: str
    name: str
    contour: str
    mark: str
    headline: str
    lines: tuple[str, ...]
    times: tuple[str, ...]
    source: str
    good_until: int | None
    last_said: str
    worked_out: int | None
    readings_to: int | None
    known: bool = False
    zone: str = ""
    may_suppose: bool = False

    @property
    def brief(self) -> tuple[str, ...]:
        """What of it stands beside other panels'."""
        return (*self.lines[:1], *self.times[:1], *self.times[1:][-1:])


def is_fresh(panel: Panel, item: Assessment, view: View) -> bool:
    """Whether it may be read at all: worked out from all that was logged, and not too old."""
    return not panel.closed and item.is_of(panel) and not item.is_old(view.now)


def night_strip(panel: Panel, item: Assessment | None, view: View, started: bool = True) -> NightStrip:
    """Not known wherever the round says so for want of readings, or where nothing lies ahead."""
    strip = strips.strip(panel, item, view, started)
    head = tonight.headline(item, view) if item is not None and is_fresh(panel, item, view) else None
    if item is None or head is None:
        unknown = strip.headline if not strip.known else LABELS["night_unknown"].rstrip(".")
        return NightStrip(
            panel.id, panel.name, Kind.NOT_KNOWN.value.replace(" ", "-"), Mark.TORN.value, unknown,
            (strip.why,) if not strip.known else (), (), "", None, "", strip.worked_out, strip.readings_to,
            zone=panel.zone,
        )  # fmt: skip
    kind, mark = Kind.WAIT, Mark.RAMP
    if head.key != "coldest":
        kind, mark = Kind.CARE, Mark.KNEE
    elif tonight.exposed(item, view):
        kind, mark = Kind.CARE, Mark.DROP
    times = tonight.time_lines(panel, item, view) if strip.known else []
    # What is on hold is not worked on at any of these times.
    aside = panel.hold is not None or (panel.coats and not strip.known)
    first = (f"{strip.headline}. {strip.why}",) if aside else ()
    source = item.night.source if item.night is not None else None
    return NightStrip(
        panel=panel.id,
        name=panel.name,
        zone=panel.zone,
        contour=kind.value,
        mark=mark.value,
        headline=view.sentence(head),
        lines=tuple(view.sentence(say) for say in tonight.night_lines(panel, item, view)),
        times=(*first, *(view.sentence(say) for say in times)),
        source=LABELS["past_nights"] if source is None else view.sentence(source),
        good_until=item.good_until,
        last_said=LABELS["last_said"].format(at=view.clock(item.at), said=view.sentence(head)),
        worked_out=item.at,
        readings_to=item.readings_to,
        known=True,
        may_suppose=strip.known,
    )


@dataclass(frozen=True)
class Answer:
    """What a what-if said; problem: why it said nothing, "" if it was not asked or was answered."""

    reply: Reply | None = None
    problem: str = ""
    head: str = ""
    lines: tuple[str, ...] = ()
    heed: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    hold: str = ""

    @property
    def first(self) -> str:
        return self.head or self.problem or (self.lines[0] if self.lines else "")


def said(reply: Reply, read: Question, view: View, leave_minute: int) -> Answer:
    """A reply in words."""
    least = tonight.least_lines(reply)
    lines = [*least[1:]]
    if reply.if_so is not None and not (reply.least is not None and reply.least.not_needed):
        lines += tonight.changes(reply.if_so, read.goal.milestone)
    heed, cautions = tonight.heed(reply, read.plan.hold_C, view, leave_minute)
    hold = reply.question.plan.hold_C
    return Answer(
        reply=reply,
        head=view.sentence(least[0]) if least else "",
        lines=tuple(view.sentence(say) for say in lines),
        heed=tuple(view.sentence(say) for say in heed),
        cautions=tuple(cautions),
        hold=hold_text(hold, view)
        if hold is not None and (reply.least is not None or hold != read.plan.hold_C)
        else "",
    )


def hold_text(celsius: float, view: View) -> str:
    """As a number field wants it."""
    return f"{round(view.scale(celsius), 1):g}"
