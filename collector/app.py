"""The one place that wires `collect`: sources in threads, one pipeline, one writer."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from zoneinfo import ZoneInfo

import apsw

from collector.arrival import Arrival, Outcome, Source
from collector.clock import Clock
from collector.heartbeat import Heartbeat
from collector.opening import NoStart, begin_anew, open_or_begin, tell_troubles
from collector.patience import GrowingWait
from collector.pipeline import Pipeline, probe_facts
from collector.settings import Settings
from collector.sources import source_for
from collector.steady_clock import SteadyClock
from collector.store.ballast import Ballast
from collector.store.schema import Damaged
from collector.store.writer import Writer
from collector.suspicion.lookout import Lookout
from collector.timekeeper import Timekeeper
from collector.upkeep import Upkeep

log = logging.getLogger("coldshed.collect")

ENDED, NOT_STARTED, NOT_COMMITTED = 0, 1, 2
"""What collect() returns."""

SOURCES_END_S = 2.5
"""Sources are given this long to end; the whole end stays within 5 s."""

HANGS_S = 60.0
"""A source asks several times a second whether to stop. One that has not for so long hangs; closing a port whose
device does not take what was sent may take 30 s of it."""

LARGE_BYTES = 500_000
S_PER_BYTE = 20e-6
"""A logger's file of 20 MB takes a desktop's processor 17 s in one turn of the pipeline; this is twenty times that."""


def collect(
    settings: Settings, clock: Clock, stop: Callable[[], bool], heartbeat: Heartbeat | None = None
) -> int:
    """Collects until `stop`. Returns an exit code: 0, or 1 if it could not start, 2 if readings were left over.

    `heartbeat` is told while the pipeline and at least one source turn: one that still works must not be restarted
    for one that hangs, whose probes' silence rings anyway.

    Raises what is wrong with the program itself; nobody can mend that here.
    """
    beat = heartbeat or Heartbeat(None)
    ballast = Ballast(settings.data_folder / "ballast")
    try:
        with tell_troubles(settings.data_folder, ballast) as troubles:
            writer = open_or_begin(settings.readings_db, clock, ballast, troubles)
            upkeep = Upkeep(
                writer,
                settings.readings_db,
                clock,
                troubles,
                ballast,
                keep_days=settings.keep.readings_days,
            )
            return _collect(settings, clock, stop, writer, upkeep, beat)
    except NoStart as error:
        log.error("collect does not start: %s", error)
        return NOT_STARTED
    except (apsw.CorruptError, apsw.NotADBError, Damaged) as error:
        log.error("readings.db is damaged (%s)", error)
        begin_anew(settings.readings_db, clock)
        return NOT_STARTED


def _collect(
    settings: Settings,
    clock: Clock,
    stop: Callable[[], bool],
    writer: Writer,
    upkeep: Upkeep,
    beat: Heartbeat,
) -> int:
    try:
        pipeline = Pipeline(settings, writer, clock, stand_by=upkeep)
        threads = [SourceThread(source_for(item, settings, clock)) for item in settings.source]
        long_work = LongWork(beat)
        for thread in threads:
            thread.start(lambda arrival: pipeline.put(long_work.told_of(arrival)), stop)
        log.info("collecting from %d sources into %s", len(threads), settings.readings_db)
        end = _End(stop, threads)
        keep_time = _timekeeper(clock, writer, pipeline)
        lookout = Lookout(writer, probe_facts(settings), ZoneInfo(settings.time_zone), clock)

        def each_round() -> None:
            _look_after(threads, beat)
            keep_time()
            if pipeline.idle:
                upkeep.quiet()
                lookout.turn()

        all_stored = pipeline.run(end, each_round)
    finally:
        beat.stopping()
        writer.close()
    log.info("collect has ended")
    return ENDED if all_stored else NOT_COMMITTED


class LongWork:
    """Asks for patience while a large file is read in: whoever watches over us must not take that for hanging."""

    def __init__(self, heartbeat: Heartbeat) -> None:
        self._heartbeat = heartbeat
        self._lock = threading.Lock()
        self._bytes = 0

    def told_of(self, arrival: Arrival) -> Arrival:
        """The arrival; if it is large, time is asked for until its outcome is known."""
        size = len(arrival.payload)
        if size < LARGE_BYTES:
            return arrival

        def over(outcome: Outcome) -> None:
            self._change(-size)
            if arrival.outcome is not None:
                arrival.outcome(outcome)

        self._change(size)
        return arrival._replace(outcome=over)

    def _change(self, size: int) -> None:
        with self._lock:
            self._bytes += size
            self._heartbeat.allow(self._bytes * S_PER_BYTE)


class SourceThread:
    """Runs one source. A source that fails by its own fault is told of and started again after a growing wait."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self._fault: str | None = None
        self._told = ""
        self._thread: threading.Thread | None = None
        self._asked = 0.0
        self._handing_over = False

    @property
    def state(self) -> str:
        if self.alive and not self.turns:
            return f"failed: hangs, nothing came of it for {HANGS_S:g} s"
        return self._fault or self.source.state

    @property
    def turns(self) -> bool:
        """True while it runs and asks whether to stop, or waits for a pipeline that takes nothing now."""
        return self.alive and (self._handing_over or time.monotonic() - self._asked < HANGS_S)

    @property
    def alive(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def start(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        def asked() -> bool:
            self._asked = time.monotonic()
            return stop()

        def hand_over(arrival: Arrival) -> None:
            self._handing_over = True
            try:
                put(arrival)
            finally:
                self._asked = time.monotonic()
                self._handing_over = False

        asked()
        args = (hand_over, asked)
        self._thread = threading.Thread(target=self._run, args=args, name=self.source.id, daemon=True)
        self._thread.start()

    def join(self) -> None:
        """Returns once it has ended, or has had its time to."""
        if self._thread is not None:
            self._thread.join(SOURCES_END_S)

    def change(self) -> str | None:
        """The state if it is another one than at the last call."""
        state = self.state
        if state == self._told:
            return None
        self._told = state
        return state

    def _run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        wait = GrowingWait()
        while not stop():
            try:
                self.source.run(put, stop)
            except Exception as error:
                log.exception("source %r failed", self.source.id)
                self._fault = f"failed: {error}"
                wait.pause(stop)
                self._fault = None


class _End:
    """True once `stop` says so and the sources have ended, or had their time to."""

    def __init__(self, stop: Callable[[], bool], threads: list[SourceThread]) -> None:
        self._stop = stop
        self._threads = threads
        self._since: float | None = None

    def __call__(self) -> bool:
        if not self._stop():
            return False
        if self._since is None:
            self._since = time.monotonic()
        late = time.monotonic() - self._since > SOURCES_END_S
        return late or not any(thread.alive for thread in self._threads)


def _look_after(threads: list[SourceThread], heartbeat: Heartbeat) -> None:
    """Each round of the pipeline: tells of changes, and that all of this turns."""
    if not threads or any(thread.turns for thread in threads):
        heartbeat.turned()
    _tell_changes(threads)


def _timekeeper(clock: Clock, writer: Writer, pipeline: Pipeline) -> Callable[[], None]:
    """A demo's clock needs nobody to look after it."""
    if not isinstance(clock, SteadyClock):
        return lambda: None
    return Timekeeper(clock, writer, ready=lambda: pipeline.empty, moved=pipeline.times_moved)


def _tell_changes(threads: list[SourceThread]) -> None:
    for thread in threads:
        state = thread.change()
        if state is not None:
            level = logging.WARNING if state.startswith("failed") else logging.INFO
            log.log(level, "source %s: %s", thread.source.id, state)
