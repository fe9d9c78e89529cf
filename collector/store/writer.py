"""The one connection that writes readings.db: a batch is committed in one transaction, or not at all."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import apsw

from collector.arrival import Delivery
from collector.clock import Clock
from collector.reading import ProbeFacts, Quantity, Reading, Suspicion
from collector.steady_clock import SteadyClock
from collector.store import rechecks, run_table
from collector.store.delivered import Delivered, keep_apart, pack
from collector.store.digests import day_of, days_of, mark_undigested, rewritten
from collector.store.keeping import is_summarised, removed_before, removing
from collector.store.readings_schema import FLAGS, NEWEST_WITHIN_MS, READINGS
from collector.store.rechecks import Changed
from collector.store.rivals import Row, Sorted, sorted_out
from collector.store.runs import GIVEN, Run
from collector.store.schema import WriterFile, open_writer, transaction
from collector.store.sequences import Count, Sequences

LONGEST_TEXT = 300
"""Characters kept of a refusal's text or of an unknown name: both may be hostile input."""

ROWS_AT_ONCE = 50
_PLACE = "(?, ?, ?, ?, ?, ?)"
_INSERT = "INSERT INTO reading(t, series, value, quality, lag, batch) VALUES %s ON CONFLICT DO NOTHING"
_INSERT_ONE, _INSERT_MANY = _INSERT % _PLACE, _INSERT % ", ".join([_PLACE] * ROWS_AT_ONCE)

HEARD_KEPT = 200
"""Names nobody claims are a help for setting up, not a log: only the most recent are kept."""


@dataclass(frozen=True, slots=True)
class Refused:
    """A refusal that came n times, with the source it came from and when it last did (UTC ms)."""

    source: str
    kind: str
    text: str
    at: int
    n: int = 1


@dataclass(frozen=True, slots=True)
class Heard:
    """A value under a name that no probe claims."""

    source: str
    name: str
    quantity: Quantity
    value: float
    at: int


@dataclass(frozen=True, slots=True)
class Committed:
    """What one commit did. `seq` is None if it stored no new reading.

    repeated   readings that were there already with the same value
    conflicts  readings whose key was taken by another value: both are kept, the least is served (rivals.py)
    """

    seq: int | None
    stored: int
    repeated: int
    conflicts: int

    def __add__(self, later: Committed) -> Committed:
        """Both together; the later one's batch, if it made one."""
        return Committed(
            self.seq if later.seq is None else later.seq,
            self.stored + later.stored,
            self.repeated + later.repeated,
            self.conflicts + later.conflicts,
        )


class Writer:
    """Writes readings.db. One thread uses it."""

    def __init__(self, file: WriterFile, clock: Clock, run: int) -> None:
        self._file = file
        self._clock = clock
        self._run = run
        self._series: dict[tuple[str, str], int] = {}
        self._accuracy_K: dict[str, float] = {}
        self.touched: set[int] = set()
        """UTC days (since 1970) that are marked as undigested; the digester takes out what it begins with."""
        self._delivered = Delivered(file.connection)
        self._sequences = Sequences(file.connection)
        self._removed_before = removed_before(file.connection)

    @classmethod
    def open(cls, path: Path | None, clock: Clock, vfs: str | None = None) -> Writer:
        """Opens, creates or migrates the file (None: in memory) and begins a run; raises as open_writer does."""
        file = open_writer(path, READINGS, vfs)
        try:
            runs = run_table.read_runs(file.connection)
            number = runs[-1].id + 1 if runs else 1
            if isinstance(clock, SteadyClock):
                run = clock.begin(runs, number)
            else:
                run = Run(number, "", clock.now(), None, GIVEN, 0)
            writer = cls(file, clock, number)
            writer.begin(run)
        except BaseException:
            file.close()
            raise
        return writer

    def begin(self, run: Run) -> None:
        """From here on, commits belong to `run`; where the earlier ones lie is worked out anew."""
        with transaction(self._file.connection):
            run_table.begin_run(self._file.connection, run)
        self._run = run.id

    def confirm(self, state: str) -> None:
        """More is known of the present run's clock, which was right."""
        with transaction(self._file.connection):
            run_table.confirm(self._file.connection, self._run, state, self._clock.now())

    def reflag(self, changes: Sequence[Changed], exact_to: int | None) -> None:
        """Other flags for stored readings, found by looking at them in order up to `exact_to` (None: all of them)."""
        with transaction(self._file.connection):
            rechecks.store(self._file.connection, changes, exact_to, self._run, self._clock.now())

    def mark_recheck(self, since: int) -> None:
        """From `since` (UTC ms, corrected) on, flags are to be looked at again, also after a restart."""
        with transaction(self._file.connection):
            rechecks.mark(self._file.connection, since)

    def note_clock(self, elapsed: int, utc: int, state: str) -> None:
        """Takes down what the machine's clock said, so long after boot (ms; UTC ms)."""
        with transaction(self._file.connection):
            run_table.note_clock(self._file.connection, self._run, elapsed, utc, state)

    @property
    def run(self) -> int:
        """The present run's number."""
        return self._run

    @property
    def connection(self) -> apsw.Connection:
        """For a Reader on a store in memory; nothing else may write through it."""
        return self._file.connection

    def commit(
        self,
        readings: Sequence[Reading],
        deliveries: Iterable[Delivery] = (),
        refusals: Iterable[Refused] = (),
        heard: Iterable[Heard] = (),
        late: Collection[int] = (),
        counts: Iterable[Count] = (),
    ) -> Committed:
        """One transaction. Once it returned, all survives a power cut; if it raises, nothing was written.

        Of several values for a (probe, quantity, time) the least is served. `late`: times (UTC ms) of readings that
        came after later ones; from the first of them that is new, flags are to be looked at again. Raises
        apsw.Error (disk full, locked, I/O).
        """
        connection = self._file.connection
        series = dict(self._series)
        days = days_of([reading.at for reading in readings]) | {day_of(self._clock.now())}
        delivered = pack(deliveries)
        with transaction(connection):
            done = self._store(connection, readings, series, delivered, late)
            mark_undigested(connection, days - self.touched)
            if delivered and done.seq is None:
                keep_apart(connection, delivered)
            connection.executemany(
                "INSERT INTO tally(source, kind, n, last_text, last_at) VALUES(?, ?, ?, ?, ?) "
                "ON CONFLICT DO UPDATE "
                "SET n = n + excluded.n, last_text = excluded.last_text, last_at = excluded.last_at",
                [(item.source, item.kind, item.n, item.text[:LONGEST_TEXT], item.at) for item in refusals],
            )
            self._note_heard(connection, list(heard))
            numbers = self._sequences.write(connection, counts)
        self._series = series  # only now: ids of a rolled-back transaction do not exist
        self.touched |= days
        self._sequences.take(numbers)
        self._delivered.remember(delivered)
        return done

    def absorbed(self, delivery: Delivery) -> bool:
        """True if this is a redelivery (dup) of a message whose rows are committed."""
        return delivery.dup and delivery in self._delivered

    def counted(self, count: Count) -> bool:
        """True if the message with that number of its probe's own is committed already."""
        return count in self._sequences

    def describe(self, probes: Iterable[ProbeFacts]) -> None:
        """Replaces what everyone else may know of the probes."""
        probes = list(probes)
        self._accuracy_K = {probe.id: probe.accuracy_K for probe in probes}
        with transaction(self._file.connection):
            self._file.connection.execute("DELETE FROM probe")
            self._file.connection.executemany(
                "INSERT INTO probe(id, zone, place, interval_s, accuracy_K) VALUES(?, ?, ?, ?, ?)",
                [(p.id, p.zone, p.place, p.interval_s, p.accuracy_K) for p in probes],
            )

    def number_batches_from(self, seq: int) -> None:
        """Lets a new file's batches follow those of the file it replaces: whoever moves a cursor over them goes on."""
        now = self._clock.now()
        with transaction(self._file.connection):
            self._file.connection.execute(
                "INSERT INTO batch(seq, t_min, t_max, run, committed) VALUES(?, ?, ?, ?, ?)",
                (seq, now, now, self._run, now),
            )

    def removing(self, days: int) -> Iterator[None]:
        """Keeps the newest `days` days that have readings, and summaries of the others; see keeping.removing."""
        for _ in removing(self._file.connection, days):
            self._removed_before = removed_before(self._file.connection)
            yield

    def summarised(self, probe: str, quantity: Quantity, at: int) -> bool:
        """True if that hour's readings of the series were removed: another of them would be counted twice."""
        return at < self._removed_before and is_summarised(self._file.connection, probe, quantity.value, at)

    def suspect(self, suspicions: Iterable[Suspicion]) -> None:
        """Adds suspicions, or brings those of the same probe, kind and beginning up to date."""
        with transaction(self._file.connection):
            self._file.connection.executemany(
                "INSERT INTO suspicion(probe, kind, since, until, shown_from, shown_to, numbers) "
                "VALUES(?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET until = excluded.until, "
                "shown_from = excluded.shown_from, shown_to = excluded.shown_to, numbers = excluded.numbers",
                [
                    (s.probe, s.kind, s.since, s.until, s.shown_from, s.shown_to, json.dumps(dict(s.numbers)))
                    for s in suspicions
                ],
            )

    def close(self) -> None:
        """Closes the file and gives up its lock."""
        self._file.close()

    def _store(
        self,
        connection: apsw.Connection,
        readings: Sequence[Reading],
        series: dict[tuple[str, str], int],
        delivered: bytes,
        late: Collection[int],
    ) -> Committed:
        seq = int(connection.execute("SELECT coalesce(max(seq), 0) + 1 FROM batch").get)
        rows: list[Row] = [
            (
                reading.at,
                series.get((reading.probe, reading.quantity)) or _series_id(connection, reading, series),
                reading.value,
                reading.quality,
                reading.received - reading.at,
                seq,
            )
            for reading in readings
        ]
        before = connection.total_changes()
        _insert(connection, rows)
        done = Sorted(stored=rows)
        if connection.total_changes() - before < len(rows):
            done = sorted_out(connection, rows, seq, self._accuracy_K)
            rows = done.stored
        times = [row[0] for row in rows]
        newest = {row[1]: row[0] for row in sorted(rows)}
        if times:
            connection.execute(
                "INSERT INTO batch(seq, t_min, t_max, run, committed, delivered) VALUES(?, ?, ?, ?, ?, ?)",
                (seq, min(times), max(times), self._run, self._clock.now(), delivered or None),
            )
        connection.executemany(
            "UPDATE series SET newest = ?1 WHERE id = ?2 AND newest < ?1 - ?3",
            [(at, number, NEWEST_WITHIN_MS) for number, at in newest.items()],
        )
        if done.revised:
            rewritten(connection, days_of(done.revised))
            span = iter([(min(done.revised), max(done.revised))])
            run_table.announce(connection, span, FLAGS, self._run, self._clock.now())
        again = done.rivals + [at for at in times if at in late] if late else done.rivals
        if again:
            rechecks.mark(connection, min(again))
        return Committed(seq if times else None, len(times), done.repeated, len(done.rivals))

    @staticmethod
    def _note_heard(connection: apsw.Connection, heard: Sequence[Heard]) -> None:
        if not heard:
            return
        connection.executemany(
            "INSERT OR REPLACE INTO heard(source, name, quantity, value, last_at) VALUES(?, ?, ?, ?, ?)",
            [
                (item.source, item.name[:LONGEST_TEXT], item.quantity.value, item.value, item.at)
                for item in heard
            ],
        )
        connection.execute(
            "DELETE FROM heard WHERE (source, name, quantity) NOT IN "
            "(SELECT source, name, quantity FROM heard ORDER BY last_at DESC LIMIT ?)",
            (HEARD_KEPT,),
        )


def _insert(connection: apsw.Connection, rows: Sequence[Row]) -> None:
    """Leaves out rows whose place is taken. ROWS_AT_ONCE of them cost two thirds of what they do one by one."""
    whole = len(rows) - len(rows) % ROWS_AT_ONCE
    for start in range(0, whole, ROWS_AT_ONCE):
        connection.execute(_INSERT_MANY, tuple(chain.from_iterable(rows[start : start + ROWS_AT_ONCE])))
    connection.executemany(_INSERT_ONE, rows[whole:])


def _series_id(connection: apsw.Connection, reading: Reading, series: dict[tuple[str, str], int]) -> int:
    key = (reading.probe, reading.quantity.value)
    connection.execute(
        "INSERT INTO series(probe, quantity, newest) VALUES(?, ?, ?) ON CONFLICT DO NOTHING",
        (*key, reading.at),
    )
    series[key] = int(connection.execute("SELECT id FROM series WHERE probe = ? AND quantity = ?", key).get)
    return series[key]
