"""An answer where it is not known how long the machine was off: given only if it holds however long that was.

Our clock may have been wrong since a power cut, so that what came after it is placed only between an earliest
and a latest time. The panel is worked out as it is served, and with all of that at its earliest and at its
latest: a cure only goes forward, so what all three say alike holds in between. If they differ, or if nothing
bounds the latest, the answer is "not known".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from collector.store.runs import Unsure
from dashboard.assessment import Assessment, Passing
from dashboard.facts import Facts
from dashboard.follow import Trace
from dashboard.panel import Coat, Panel
from model.decide import not_known
from model.history import Samples
from model.verdict import Flag, Say, Value, Verdict

Shift = Callable[[int], int]
_TIMES = (
    "washed_at", "sanded_at", "demoulded_at", "wiped_at", "trimmed_at", "clamps_off_at", "tape_pulled_at",
    "heated_since",
)  # fmt: skip
"""When what was done to a panel was done."""


def matters(facts: Facts, at: int) -> list[Unsure]:
    """The stretches that change how long ago the panel's coats were mixed, or what lies between."""
    coats = facts.panel.coats
    if not coats:
        return []
    since = coats[0].mixed_at
    # A stretch that holds all of a coat's life only moves it as a whole.
    return [
        span
        for span in facts.unsure
        if span.start <= at
        and (span.end is None or span.end > since)
        and not (span.start <= since and (span.end is None or span.end > at))
    ]


def agreed(
    assess: Callable[[Facts, int], Assessment], facts: Facts, at: int, spans: list[Unsure]
) -> Assessment:
    """The answer that holds wherever the spans truly lie, or that it is not known."""
    served = assess(facts, at)
    least_h, most_h = _hours(spans, "early"), _hours(spans, "late")
    if most_h is None or least_h is None:
        return _unknown(served, Say("why_clock_lost"))
    found = [served]
    for side in ("early", "late"):
        shift = _shift(spans, side)
        answer = assess(_moved(facts, shift), shift(at))
        found.append(_back(answer, at - shift(at)))
    why = Say("why_clock_gap", {"wider_h": most_h + least_h})
    if len({_kind_of(answer.verdict) for answer in found}) > 1:
        return _unknown(served, why)
    return _narrowest(found, why)


def _kind_of(verdict: Verdict) -> tuple[str, ...]:
    return (verdict.state, verdict.kind, verdict.mark, verdict.headline.key, *sorted(verdict.flags))


def _hours(spans: list[Unsure], side: str) -> float | None:
    moves = [getattr(span, side) for span in spans]
    return None if None in moves else max(abs(move) for move in moves) / 3_600_000


def _unknown(served: Assessment, why: Say) -> Assessment:
    verdict = not_known(Say("clock_gap"), (why,), Flag.GAP)
    return replace(
        served, verdict=verdict, milestones=(), conversion=None, curve=None, cautions=("estimate",)
    )


def _shift(spans: list[Unsure], side: str) -> Shift:
    def moved(at: int) -> int:
        for span in spans:
            if span.start <= at and (span.end is None or at < span.end):
                return at + int(getattr(span, side) or 0)
        return at

    return moved


def _moved(facts: Facts, shift: Shift) -> Facts:
    return replace(
        facts,
        panel=_moved_panel(facts.panel, shift),
        surface=_moved_trace(facts.surface, shift),
        air=_moved_trace(facts.air, shift),
        humidity=_moved_trace(facts.humidity, shift),
        unsure=(),
    )


def _moved_panel(panel: Panel, shift: Shift) -> Panel:
    def maybe(at: int | None) -> int | None:
        return None if at is None else shift(at)

    def coat(item: Coat) -> Coat:
        return replace(
            item,
            mixed_at=shift(item.mixed_at),
            applied_at=maybe(item.applied_at),
            pots=tuple(replace(pot, mixed_at=shift(pot.mixed_at)) for pot in item.pots),
            peel_ply_off_at=maybe(item.peel_ply_off_at),
            thumb_tests=tuple(replace(test, at=shift(test.at)) for test in item.thumb_tests),
            hardness=tuple(replace(test, at=shift(test.at)) for test in item.hardness),
        )

    times: dict[str, Any] = {name: maybe(getattr(panel, name)) for name in _TIMES}
    return replace(
        panel,
        coats=tuple(coat(item) for item in panel.coats),
        **times,
    )


def _moved_trace(trace: Trace | None, shift: Shift) -> Trace | None:
    if trace is None:
        return None
    samples, keep = _moved_samples(trace.samples, shift)
    newest = trace.newest
    return replace(
        trace,
        samples=samples,
        logged=None if trace.logged is None else _moved_samples(trace.logged, shift)[0],
        newest=None if newest is None else replace(newest, at=shift(newest.at)),
        half_width=None if trace.half_width is None else trace.half_width[keep],
        beyond=None if trace.beyond is None else trace.beyond[keep],
    )


def _moved_samples(samples: Samples, shift: Shift) -> tuple[Samples, NDArray[np.bool_]]:
    """Moved, and which of them are left."""
    t: NDArray[np.int64] = np.array([shift(at) for at in samples.t.tolist()], dtype=np.int64)
    latest = np.maximum.accumulate(t)
    keep = np.diff(latest, prepend=np.iinfo(np.int64).min) > 0
    return Samples(t[keep], samples.value[keep]), keep


def _back(answer: Assessment, by: int) -> Assessment:
    """What lies ahead, told in the time that is served."""
    return replace(
        answer,
        good_until=answer.good_until + by,
        milestones=tuple(_later(passing, by) for passing in answer.milestones),
        verdict=replace(
            answer.verdict,
            headline=_said(answer.verdict.headline, by),
            why=tuple(_said(item, by) for item in answer.verdict.why),
            next=None if answer.verdict.next is None else _said(answer.verdict.next, by),
        ),
    )


def _said(item: Say, by: int) -> Say:
    ahead = {
        name: int(value) + by if name.endswith(("_by", "_from")) else value
        for name, value in item.values.items()
    }
    return Say(item.key, ahead)


def _later(passing: Passing, by: int) -> Passing:
    early, likely, late = (
        None if at is None else at + by for at in (passing.early, passing.likely, passing.late)
    )
    return replace(passing, early=early, likely=likely, late=late)


def _narrowest(found: list[Assessment], why: Say) -> Assessment:
    """The served answer with the safe end of each time: the soonest that shuts, the latest that opens."""
    served = found[0]
    verdict = served.verdict
    headline = Say(verdict.headline.key, _safe([answer.verdict.headline.values for answer in found]))
    reasons = tuple(_safest(item, found) for item in verdict.why)
    ranges = [answer.conversion for answer in found if answer.conversion is not None]
    return replace(
        served,
        good_until=min(answer.good_until for answer in found),
        verdict=replace(verdict, headline=headline, why=(*reasons, why)),
        milestones=tuple(_widest(list(each)) for each in zip(*(a.milestones for a in found), strict=True)),
        conversion=_spanned(ranges) if len(ranges) == len(found) else None,
    )


def _safest(item: Say, found: list[Assessment]) -> Say:
    """A reason with the safe end of its times, among the same reasons of all answers."""
    same = [other.values for answer in found for other in answer.verdict.why if other.key == item.key]
    return Say(item.key, _safe([item.values, *same]))


def _safe(said: list[Mapping[str, Value]]) -> dict[str, Value]:
    values = dict(said[0])
    for name in values:
        if name.endswith("_by"):
            values[name] = min(int(each[name]) for each in said)
        elif name.endswith("_from"):
            values[name] = max(int(each[name]) for each in said)
    return values


def _widest(each: list[Passing]) -> Passing:
    earliest = [item.early for item in each if item.early is not None]
    latest = [item.late for item in each]
    known = [at for at in latest if at is not None]
    return replace(
        each[0],
        early=min(earliest, default=None),
        late=max(known) if len(known) == len(latest) else None,
        passed=min(item.passed for item in each),
    )


def _spanned(ranges: list[tuple[float, float, float]]) -> tuple[float, float, float]:
    return min(low for low, _, _ in ranges), ranges[0][1], max(high for _, _, high in ranges)
