"""Where each run of the collector lies in true time, as far as that can be known afterwards.

Inside one boot of the machine elapsed time is exact, whatever its clock said, so all runs of a boot stand or
fall together: if one of them knew the time, all of them do. Between boots only the order is certain: a boot
begins after the last sign of life of the one before. A boot whose clock was never right therefore lies between
the one before it and the next that knew the time; that span is stated, not guessed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

UNKNOWN, PLAUSIBLE, SYNCED, GIVEN = "unknown", "plausible", "synced", "given"
"""What is known of the machine's clock: nothing; its hardware clock or a person agrees; a time service has set
it; or the run was made with a clock of its own (a demo, a test), which is never doubted nor taken as a proof."""
EARLIEST_MS = 1_577_836_800_000
"""2020-01-01 UTC: no reading of ours is older."""
ALLOWED_MS = 2_000
"""Two clocks that were set may differ by this much without contradicting each other."""


@dataclass(frozen=True, slots=True)
class Run:
    """One stretch with one clock. Times in ms.

    boot           the machine's name for the boot it fell into
    started        what its clock said at the start: all its raw times count from here (UTC ms)
    elapsed        time since boot at the start, sleep included; None for a run that was given its clock
    lasted         from the start to the last sign of life, at least
    offset         is added to its raw times on reading
    early, late    the truth lies between raw + early and raw + late; late is None if nothing bounds it
    """

    id: int
    boot: str
    started: int
    elapsed: int | None
    state: str
    lasted: int
    offset: int = 0
    early: int = 0
    late: int | None = 0

    @property
    def origin(self) -> int:
        """When its boot began, by its own clock (UTC ms)."""
        return self.started - (self.elapsed or 0)

    @property
    def sure(self) -> bool:
        """True if its place in time is known."""
        return self.early == self.late == self.offset


@dataclass(slots=True)
class _Boot:
    runs: list[Run]
    known: int | None  # when it began, true UTC ms
    synced: bool
    length: int
    low: int = EARLIEST_MS
    high: int | None = None


def placed(runs: Sequence[Run]) -> list[Run]:
    """The same runs, in the order they were begun, with offset, early and late worked out anew."""
    boots = [
        _boot(list(group))
        for key, group in groupby((run for run in runs if run.elapsed is not None), key=lambda run: run.boot)
        if key
    ]
    _doubt(boots)
    _bound(boots)
    found = {run.id: run for boot in boots for run in _place(boot)}
    return [found.get(run.id, run) for run in runs]


def earliest_now(runs: Sequence[Run], boot: str, elapsed: int) -> int:
    """The earliest UTC ms it can be, so long after the start of a boot that is not among the runs' or is the last."""
    known = [run for run in placed(runs) if run.elapsed is not None]
    if not known:
        return EARLIEST_MS
    last = known[-1]
    if last.boot == boot:
        return last.origin + last.early + elapsed
    return max(run.started + run.early + run.lasted for run in known if run.boot == last.boot) + elapsed


def _boot(runs: list[Run]) -> _Boot:
    synced = [run for run in runs if run.state == SYNCED]
    believed = synced or [run for run in runs if run.state == PLAUSIBLE]
    length = max((run.elapsed or 0) + run.lasted for run in runs)
    return _Boot(runs, believed[-1].origin if believed else None, bool(synced), length)


def _doubt(boots: list[_Boot]) -> None:
    """A boot that is merely plausible gives way to a synced one that it contradicts."""
    after: int | None = None
    for boot in boots:
        if boot.synced and boot.known is not None:
            after = boot.known
        elif after is not None and boot.known is not None and boot.known < after - ALLOWED_MS:
            boot.known = None
        after = None if after is None else after + boot.length
    before: int | None = None
    for boot in reversed(boots):
        if boot.synced:
            before = boot.known
            continue
        if before is None:
            continue
        if boot.known is not None and boot.known + boot.length > before + ALLOWED_MS:
            boot.known = None
        before -= boot.length


def _bound(boots: list[_Boot]) -> None:
    low = EARLIEST_MS
    for boot in boots:
        boot.low = low if boot.known is None else boot.known
        low = boot.low + boot.length
    high: int | None = None
    for boot in reversed(boots):
        if boot.known is not None:
            boot.high = boot.known
        elif high is not None:
            boot.high = max(high - boot.length, boot.low)
        high = boot.low if boot.known is not None else boot.high


def _place(boot: _Boot) -> Iterator[Run]:
    for run in boot.runs:
        early = boot.low - run.origin
        late = None if boot.high is None else boot.high - run.origin
        offset = max(0, early) if late is None else min(max(0, early), late)
        yield replace(run, offset=offset, early=early, late=late)


@dataclass(frozen=True, slots=True)
class Unsure:
    """What our clock dated from `start` to before `end` (UTC ms as served; None: still goes on) may truly lie
    `early` (0 or below) to `late` ms (None: nobody knows how much) later. All of it moves together.
    """

    start: int
    end: int | None
    early: int
    late: int | None


def unsure(runs: Sequence[Run]) -> tuple[Unsure, ...]:
    """The stretches whose place in time, beside that of others, is not known exactly, in order.

    A clock that nobody vouches for makes nothing unsure within its own boot, and so nothing at all before the
    first cut.
    """
    if len({run.boot for run in runs if run.elapsed is not None}) < 2:
        return ()
    begins = [run.started + run.offset for run in runs]
    return tuple(
        Unsure(begin, end, run.early - run.offset, None if run.late is None else run.late - run.offset)
        for run, begin, end in zip(runs, begins, [*begins[1:], None], strict=True)
        if not run.sure
    )


def corrected(recorded: int, runs: Sequence[Run]) -> int:
    """What must be added to a time that was taken down by the house's clock when that said `recorded` (UTC ms).

    Not 0 if that lies in the raw times of a run that was found to lie elsewhere afterwards. Raw times of runs do
    not overlap, since an unset clock is taken up where the last run left off.
    """
    for run, following in zip(runs, [*runs[1:], None], strict=True):
        if run.offset and run.started <= recorded < _raw_end(run, following):
            return run.offset
    return 0


def _raw_end(run: Run, following: Run | None) -> int:
    """By its own clock, when the run was over for certain."""
    if following is not None and following.boot == run.boot and following.elapsed is not None:
        return run.origin + following.elapsed
    lasted = run.started + run.lasted + 1
    return max(lasted, following.started) if following is not None and run.offset >= 0 else lasted
