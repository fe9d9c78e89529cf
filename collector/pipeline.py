"""From arrivals to committed batches: decode, name the probe, check, commit, and only then say "received".

One thread runs it and owns the Writer. Sources hand over through a bounded queue, so that a store that cannot
keep up slows them down instead of filling the memory.
"""

from __future__ import annotations

import contextlib
import logging
import queue
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Protocol

import apsw

from collector.arrival import Arrival, Decoded, Decoder, Delivery, Outcome, Refusal, Sample
from collector.assigned import Assigned
from collector.checks import believed_time
from collector.clock import Clock
from collector.decode import decoder_of
from collector.pace import Pace
from collector.patience import GrowingWait
from collector.reading import ProbeFacts, Reading
from collector.recheck import Recheck
from collector.restraint import TIMES_FASTER, TOO_FAST, Restraint
from collector.settings import Settings, wire_names
from collector.steady_clock import SteadyClock
from collector.store.schema import MAY_PASS
from collector.store.sequences import Count
from collector.store.writer import Committed, Heard, Refused, Writer

log = logging.getLogger("coldshed.collect")

BATCH_ARRIVALS = 10
"""Half of the 20 messages a broker by default sends ahead of acknowledgements: it never has to wait for a commit."""
BACKLOG_ARRIVALS = 200
"""What waits already, when a batch is full, goes into the same commit up to here: a backlog costs fewer writes."""
BATCH_S = 1.0
BATCH_READINGS = 4000
"""Of a file's many: each may lie on a page of its own, and one commit must not make the log too large."""
LINGER_S = 0.03
"""The lines of one round come a few ms apart; one commit for all of them is what spares an SD card."""
IDLE_S = 0.1
QUEUE_ARRIVALS = 1000
"""Not held to exactly: each source may put one more."""
FULL_S = 0.005
LONGEST_NAME = 200
"""Of a name that settings may claim (WireName); a topic may be longer."""
EARLIEST_MS = 946_684_800_000
"""2000-01-01 UTC: a reading before it comes from a clock that was never set."""


@dataclass
class _Batch:
    """What waits for the next commit."""

    readings: list[Reading] = field(default_factory=list)
    refusals: dict[tuple[str, str], Refused] = field(default_factory=dict)
    heard: list[Heard] = field(default_factory=list)
    deliveries: list[Delivery] = field(default_factory=list)
    arrivals: list[tuple[Arrival, Outcome]] = field(default_factory=list)
    checked: bool = False
    late: frozenset[int] = frozenset()
    counts: set[Count] = field(default_factory=set)

    @property
    def empty(self) -> bool:
        return not self.arrivals and not self.refusals

    def refuse(self, source: str, refusal: Refusal, at: int) -> None:
        """Counts it with those of its kind: the last one's words are kept."""
        before = self.refusals.get((source, refusal.kind))
        n = 1 if before is None else before.n + 1
        self.refusals[source, refusal.kind] = Refused(source, refusal.kind, refusal.text, at, n)


class StandBy(Protocol):
    """Whom a commit's fate is told to."""

    def failed(self, error: apsw.Error) -> bool:
        """True if it should be tried again at once."""
        ...

    def committed(self) -> None: ...


class _Nobody:
    def failed(self, error: apsw.Error) -> bool:
        return False

    def committed(self) -> None:
        pass


class Pipeline:
    """Use either run(), with sources that put() from their threads, or take() and flush() from one thread."""

    def __init__(
        self,
        settings: Settings,
        writer: Writer,
        clock: Clock,
        at_most: int = BATCH_ARRIVALS,
        stand_by: StandBy | None = None,
    ) -> None:
        """`at_most`: arrivals in one commit."""
        self._writer = writer
        self._clock = clock
        self._steady = clock if isinstance(clock, SteadyClock) else None
        self._at_most = at_most
        self._decoders: dict[str, Decoder] = {source.id: decoder_of(source) for source in settings.source}
        self._probes = wire_names(settings)
        self._assigned = Assigned(settings)
        self._facts = probe_facts(settings)
        writer.describe(self._facts)
        self._recheck = Recheck(writer, self._facts)
        self._restraint = Restraint(self._facts)
        self._queue: queue.SimpleQueue[Arrival] = queue.SimpleQueue()
        self._closed = False
        self._batch = _Batch()
        self._stand_by = stand_by or _Nobody()
        self._pace = Pace(time.monotonic, clock.rate)

    @property
    def idle(self) -> bool:
        """True while nothing waits to be taken."""
        return self._queue.empty()

    def put(self, arrival: Arrival) -> None:
        """For sources, from any thread: waits while the queue is full; takes nothing once run() has ended."""
        while self._queue.qsize() >= QUEUE_ARRIVALS and not self._closed:
            time.sleep(FULL_S)
        if not self._closed:
            self._queue.put(arrival)

    def run(self, stop: Callable[[], bool], each_round: Callable[[], None] = lambda: None) -> bool:
        """Commits what arrives until `stop`, then what is left. False if something could not be committed.

        `each_round` is called several times a second. An error that waiting cannot mend ends the run and is raised.
        """
        wait = GrowingWait()
        try:
            while not (stop() and self._queue.empty()):
                each_round()
                self._look_again()
                if not self._gather():
                    continue
                if self._try_flush():
                    wait.reset()
                elif stop():
                    return False
                else:
                    wait.pause(stop)
            return self._try_flush()
        finally:
            self._closed = True

    def times_moved(self) -> None:
        """A new run has begun, and what was stored may lie elsewhere: the checks begin anew."""
        self._recheck.begin_anew()

    @property
    def empty(self) -> bool:
        """True if nothing waits for its commit."""
        return self._batch.empty

    def take(self, arrival: Arrival) -> None:
        """Decodes one arrival into the open batch."""
        if self._steady is not None:
            arrival = self._steady.dated(arrival)
        if arrival.delivery is not None and self._writer.absorbed(arrival.delivery):
            _tell(arrival, Outcome(0, ()))
            return
        decoded = self._decode(arrival) if arrival.refusal is None else Decoded([], [arrival.refusal])
        batch = self._batch
        refused = decoded.refused
        before = len(batch.readings)
        counts: set[Count] = set()
        for sample in decoded.samples:
            count = sample.number and Count(arrival.source, arrival.topic, *sample.number)
            if count and (count in batch.counts or self._writer.counted(count)):
                continue  # sent again, by a probe that could not know that it had arrived
            refusal = self._place(sample, arrival)
            if refusal is not None:
                refused.append(refusal)
            elif count:
                counts.add(count)
        batch.counts |= counts
        for refusal in refused:
            batch.refuse(arrival.source, refusal, arrival.received)
        if arrival.delivery is not None:
            batch.deliveries.append(arrival.delivery)
        outcome = Outcome(len(batch.readings) - before, tuple(refused))
        waited_for = arrival.done is not None or arrival.outcome is not None
        if waited_for or outcome.readings or any(refusal.kind != TOO_FAST for refusal in refused):
            batch.arrivals.append((arrival, outcome))

    def take_all(self, arrivals: Iterable[Arrival]) -> None:
        """Takes and commits them all, in batches; for files and for a night that is seeded at full speed."""
        for arrival in arrivals:
            self.take(arrival)
            if len(self._batch.arrivals) >= self._at_most:
                self.flush()
        self.flush()
        self._recheck.settle()

    def flush(self) -> Committed | None:
        """Commits the open batch, then tells its sources. Raises apsw.Error, and keeps the batch then."""
        batch = self._batch
        if batch.empty:
            return None
        if not batch.checked:  # once only: a second look would take a retry for a repeat
            batch.readings, batch.late = self._recheck.flag(batch.readings)
            batch.checked = True
        done = Committed(None, 0, 0, 0)
        while len(batch.readings) > BATCH_READINGS:
            done += self._writer.commit(batch.readings[:BATCH_READINGS], late=batch.late)
            del batch.readings[:BATCH_READINGS]
        refused = batch.refusals.values()
        done += self._writer.commit(
            batch.readings, batch.deliveries, refused, batch.heard, batch.late, batch.counts
        )
        self._recheck.stored()
        self._pace.spend()
        self._batch = _Batch()
        for arrival, outcome in batch.arrivals:
            _tell(arrival, outcome)
        return done

    def _look_again(self) -> None:
        """A step of what the checks must look at again, in a quiet moment, or when it has waited long enough."""
        if self._batch.checked or not (self.idle or self._recheck.overdue):
            return
        try:
            self._recheck.quiet()
        except MAY_PASS as error:
            log.warning("flags are not looked at again yet: %s", error)

    def _gather(self) -> bool:
        """Fills the batch. True if it is to be committed now: full, or nothing more comes and it is time for one.

        Readings that come too fast, and that nobody waits for, do not fill it.
        """
        if self._batch.checked:  # it could not be committed yet: the sources wait
            return True
        begun = time.monotonic()
        with contextlib.suppress(queue.Empty):
            while len(self._batch.arrivals) < self._at_most and time.monotonic() - begun < BATCH_S:
                at_once = self._batch.arrivals and not self._pace.wait()
                self.take(self._queue.get(timeout=LINGER_S if at_once else IDLE_S))
            while self._at_most <= len(self._batch.arrivals) < BACKLOG_ARRIVALS:
                self.take(self._queue.get_nowait())
        return len(self._batch.arrivals) >= self._at_most or not self._pace.wait()

    def _try_flush(self) -> bool:
        try:
            try:
                done = self.flush()
            except MAY_PASS as error:
                if not self._stand_by.failed(error):
                    raise
                done = self.flush()
        except MAY_PASS as error:
            kept = len(self._batch.readings)
            log.error("not committed (%s): %d readings are kept and tried again", error, kept)
            return False
        if done is not None:
            self._stand_by.committed()
        return True

    def _decode(self, arrival: Arrival) -> Decoded:
        try:
            return self._decoders[arrival.source].decode(arrival)
        except Exception:
            # A decoder's bug must not come back with every restart: the bytes are counted and acknowledged.
            log.exception("the decoder of source %r failed on %r", arrival.source, arrival.payload[:200])
            return Decoded(refused=[Refusal("decoder", f"the decoder failed on {arrival.payload[:60]!r}")])

    def _place(self, sample: Sample, arrival: Arrival) -> Refusal | None:
        """Puts the sample into the batch as a probe's reading, or says why it cannot become one."""
        probe = self._probes.get((arrival.source, sample.name))
        if probe is None:
            if not 0 < len(sample.name) <= LONGEST_NAME or not sample.name.isprintable():
                return Refusal(
                    "bad name", f"{sample.name[:80]!r}; allowed: 1 to {LONGEST_NAME} printable letters"
                )
            heard = Heard(arrival.source, sample.name, sample.quantity, sample.value, arrival.received)
            self._batch.heard.append(heard)
            return Refusal(
                "unknown name", f"no probe is called {sample.name[:80]!r} on source {arrival.source!r}"
            )
        if refusal := self._assigned.refusal(probe, arrival.topic):
            return refusal
        if sample.at is None and not arrival.live:
            return Refusal("stale", f"{sample.name[:80]}: an old message without a time of its own")
        if sample.at is not None and sample.at < EARLIEST_MS:
            return Refusal(
                "time", f"{sample.name[:80]}: {sample.at} ms lies before 2000: its clock is not set"
            )
        if sample.at is None and not self._restraint.allows(probe, sample.quantity, arrival.received):
            return Refusal(
                TOO_FAST,
                f"{probe}: over {TIMES_FASTER} times in its interval_s; let it send slower, or correct that",
            )
        at, quality = believed_time(arrival.received if sample.at is None else sample.at, arrival.received)
        if quality and not arrival.live:
            if arrival.sure:
                return Refusal("time", f"{sample.name[:80]}: an old message whose time lies ahead of ours")
            at = sample.at or at  # our clock may be years behind: the probe's own time is the better one
        if self._writer.summarised(probe, sample.quantity, at):
            return Refusal("removed", f"{sample.name[:80]}: only summaries are kept of that time, see [keep]")
        # A lag of 0 marks the times our clock gave, which move with its run: a time of its own never has it.
        received = at if sample.ours else arrival.received
        if not sample.ours and at == sample.at == received:
            received += 1
        reading = Reading(probe, sample.quantity, sample.value + 0.0, at, received, quality)
        self._batch.readings.append(reading)
        return None


def probe_facts(settings: Settings) -> list[ProbeFacts]:
    """What everyone else may know of the configured probes."""
    return [ProbeFacts(p.id, p.zone, p.place, p.interval_s, p.accuracy_K) for p in settings.probe]


def _tell(arrival: Arrival, outcome: Outcome) -> None:
    if arrival.outcome is not None:
        arrival.outcome(outcome)
    if arrival.done is not None:
        arrival.done()
