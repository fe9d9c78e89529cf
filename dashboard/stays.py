"""What stood for a panel that was moved: each probe's readings from when the panel came to it until it left."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from collector.reading import Quantity
from dashboard.panel import Panel, Stay
from dashboard.probe_trace import Trace, thinned
from model.history import Samples

END = 2**62
Ask = Callable[[str | None, Quantity, bool], Trace | None]
"""The trace of a probe; the bool: another one stands for the panel beside it."""


def surface(panel: Panel, ask: Ask) -> Trace | None:
    """Of the probes on the panel; None if there is none on it now. Hours under no such probe are a gap."""
    return _joined(
        panel, Quantity.TEMPERATURE, ask(panel.surface_probe, Quantity.TEMPERATURE, False),
        lambda stay: ask(stay.surface_probe, Quantity.TEMPERATURE, False),
    )  # fmt: skip


def air(panel: Panel, quantity: Quantity, ask: Ask) -> Trace | None:
    """The same of those in the air beside it, temperature or humidity; where there is none now, those of before: what
    a young film met stays so wherever it is carried.
    """
    warmth = quantity is Quantity.TEMPERATURE

    def of(stay: Stay | Panel) -> Trace | None:
        return ask(stay.air_probe, quantity, warmth and stay.surface_probe is not None)

    earlier = (trace for stay in reversed(panel.stays) if (trace := of(stay)) is not None)
    now = of(panel) if panel.air_probe is not None else next(earlier, None)
    return _joined(panel, quantity, now, of)


def _joined(
    panel: Panel, quantity: Quantity, now: Trace | None, then: Callable[[Stay], Trace | None]
) -> Trace | None:
    """`now` with what stood for the panel before; it keeps its newest reading and its doubt."""
    if now is None or not panel.stays:
        return now
    parts = [between(trace, start, end) for stay, start, end in _spans(panel) if (trace := then(stay))]
    made = replace(
        now,
        interval_s=max((part.interval_s for part in parts), default=now.interval_s),
        accuracy_K=max((part.accuracy_K for part in parts), default=now.accuracy_K),
        samples=_one([part.samples for part in parts]),
        logged=_one([part.logged or thinned(part.samples) for part in parts]),
        corrections=tuple(sorted({version for part in parts for version in part.corrections})),
        half_width=None,
        beyond=None,
    )
    if all(part.half_width is None for part in parts):
        return made
    return replace(
        made,
        half_width=np.concatenate([_or(part.half_width, part.accuracy_K, part) for part in parts]),
        beyond=np.concatenate([_or(part.beyond, False, part) for part in parts]),
    )


def _one(parts: list[Samples]) -> Samples:
    if not parts:
        return Samples(np.empty(0, np.int64), np.empty(0))
    return Samples(np.concatenate([part.t for part in parts]), np.concatenate([part.value for part in parts]))


def _or(values: NDArray[Any] | None, without: float | bool, part: Trace) -> NDArray[Any]:
    return np.full(len(part.samples), without) if values is None else values


def _spans(panel: Panel) -> Iterator[tuple[Stay, int, int]]:
    for stay, following in pairwise(panel.stays):
        yield stay, stay.since, following.since
    yield panel.stays[-1], panel.stays[-1].since, END


def between(trace: Trace, start: int, end: int) -> Trace:
    """Its samples with start <= t < end (UTC ms)."""
    samples, cut = _cut(trace.samples, start, end)
    return replace(
        trace,
        samples=samples,
        logged=None if trace.logged is None else _cut(trace.logged, start, end)[0],
        half_width=None if trace.half_width is None else trace.half_width[cut],
        beyond=None if trace.beyond is None else trace.beyond[cut],
    )


def _cut(samples: Samples, start: int, end: int) -> tuple[Samples, slice]:
    first, last = np.searchsorted(samples.t, (start, end))
    cut = slice(int(first), int(last))
    return Samples(samples.t[cut], samples.value[cut]), cut
