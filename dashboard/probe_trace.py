"""One series of a probe as the model sees it: corrected, without what is flagged or in doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from collector.reading import UNUSABLE, ProbeFacts, Quality, Quantity, Reading, Suspicion, silent_after_ms
from dashboard.correction import Stretch, correct
from dashboard.doubts import Span
from dashboard.kept_series import KEPT_MS, Log, slot, thin
from model.history import Samples


@dataclass(frozen=True)
class Trace:
    """One series: usable samples for the model, and what the newest reading of all was, usable or not.

    accuracy_K   95 % half-width as the probe's maker states it
    samples      corrected by what was in force at each reading's time
    newest       as it was read, not corrected
    half_width   of each sample, after its correction; None where nothing was corrected
    beyond       where a sample lies past its correction's margin; None where nothing was corrected
    corrections  ids of the logbook's entries that the samples rest on
    doubt        what stands against the probe now; samples in doubt are left out, then and earlier
    logged       the first good sample of each ten minutes, also of times whose samples are not held any more; those in
                 doubt are left out after that. None: made of the samples
    """

    probe: str
    interval_s: float
    accuracy_K: float
    samples: Samples
    newest: Reading | None
    half_width: NDArray[np.float64] | None = field(default=None, compare=False)
    beyond: NDArray[np.bool_] | None = field(default=None, compare=False)
    corrections: tuple[str, ...] = ()
    doubt: Suspicion | None = field(default=None, compare=False)
    logged: Samples | None = field(default=None, compare=False)

    @classmethod
    def of(
        cls,
        facts: ProbeFacts,
        quantity: Quantity,
        t: NDArray[np.int64],
        value: NDArray[np.float64],
        quality: NDArray[np.int64],
        stretches: Sequence[Stretch] = (),
        doubtful: Sequence[Span] = (),
        log: Log | None = None,
    ) -> Trace:
        """From a series as the store gives it: t UTC ms, increasing; raw values; quality as flags.

        stretches   the corrections in force from when on
        doubtful    when the probe is, or was, not to be believed
        log         (t, value) of the first good reading of each ten minutes before those; t[0] begins some
        """
        good = (quality & int(UNUSABLE)) == 0
        logged = thin(t[good], value[good])
        if log is not None:
            logged = (np.concatenate([log[0], logged[0]]), np.concatenate([log[1], logged[1]]))
        good &= _sure(t, doubtful)
        sure = _sure(logged[0], doubtful)
        newest = None
        if len(t):
            at = int(t[-1])
            newest = Reading(facts.id, quantity, float(value[-1]), at, at, Quality(int(quality[-1])))
        about = facts.id, facts.interval_s, facts.accuracy_K
        if not any(correction for _, correction in stretches):
            return cls(
                *about,
                Samples(t[good], value[good]),
                newest,
                logged=Samples(logged[0][sure], logged[1][sure]),
            )
        made = correct(t[good], value[good], stretches, facts.accuracy_K)
        past = correct(logged[0][sure], logged[1][sure], stretches, facts.accuracy_K)
        return cls(
            *about, Samples(t[good], made.value), newest, made.half_width, made.beyond, made.versions,
            logged=Samples(logged[0][sure], past.value),
        )  # fmt: skip

    def half_width_from(self, start: int) -> float:
        """The widest that a sample from `start` (UTC ms) on, or the one before it, may be off by (95 %)."""
        if self.half_width is None or not len(self.half_width):
            return self.accuracy_K
        first = max(int(np.searchsorted(self.samples.t, start, "right")) - 1, 0)
        return float(np.max(self.half_width[first:]))

    def log(self, at: int) -> Samples:
        """Its last days up to `at` (UTC ms), a sample each ten minutes, and the newest: what an outlook learns from."""
        logged = self.logged or thinned(self.samples)
        first, last = (int(n) for n in np.searchsorted(logged.t, (slot(at - KEPT_MS), at + 1)))
        upto = int(np.searchsorted(self.samples.t, at, "right"))
        t, value = logged.t[first:last], logged.value[first:last]
        if upto and (not len(t) or self.samples.t[upto - 1] > t[-1]):
            t = np.append(t, self.samples.t[upto - 1])
            value = np.append(value, self.samples.value[upto - 1])
        return Samples(t, value)

    def value_at(self, at: int) -> float | None:
        """The newest usable value by `at` (UTC ms); None if it is older than three intervals."""
        upto = int(np.searchsorted(self.samples.t, at, "right"))
        if not upto or at - int(self.samples.t[upto - 1]) > silent_after_ms(self.interval_s):
            return None
        return float(self.samples.value[upto - 1])

    def last_usable(self, at: int) -> int | None:
        """When the newest usable sample by `at` was taken, UTC ms; None without one."""
        upto = int(np.searchsorted(self.samples.t, at, "right"))
        return int(self.samples.t[upto - 1]) if upto else None

    def unheard(self, at: int) -> bool:
        """Whether it says nothing of `at`: no usable sample for three of its intervals, or the probe is in doubt."""
        last = self.last_usable(at)
        return self.doubt is not None or last is None or at - last > silent_after_ms(self.interval_s)

    def beyond_at(self, at: int) -> bool:
        """Whether the newest sample by `at` (UTC ms) lies past its correction's margin."""
        upto = int(np.searchsorted(self.samples.t, at, "right"))
        return self.beyond is not None and upto > 0 and bool(self.beyond[upto - 1])


def thinned(samples: Samples) -> Samples:
    """The first of each ten minutes."""
    return Samples(*thin(samples.t, samples.value))


def _sure(t: NDArray[np.int64], doubtful: Sequence[Span]) -> NDArray[np.bool_]:
    """Where no doubt stands against a time."""
    sure = np.ones(len(t), dtype=np.bool_)
    for begin, end in doubtful:
        sure &= (t < begin) | (t >= end)
    return sure
