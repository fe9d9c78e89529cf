"""watch.db: what was worked out, on which readings it rests, and every alarm that was raised.

watch writes it; everybody else reads. Whether a person has seen an alarm stands in shop.db, because a person
said so. Times are UTC ms.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import apsw

from collector.store.schema import NotYet, Schema, WriterFile, open_reader, open_writer, transaction
from dashboard.alarm import Alarm as Alarm
from dashboard.assessment import Assessment, Curve
from dashboard.logbook import LogbookReader
from model.verdict import Say

WATCH = Schema(
    name="watch.db",
    writer="watch",
    application_id=0x63735761,
    migrations=(
        """
        CREATE TABLE assessment(
          panel TEXT PRIMARY KEY,
          seq INTEGER NOT NULL,
          at INTEGER NOT NULL,
          good_until INTEGER NOT NULL,
          batch INTEGER NOT NULL,
          body TEXT NOT NULL
        ) WITHOUT ROWID;
        -- One row each time a panel's headline changed: what was said then stays readable.
        CREATE TABLE said(
          seq INTEGER PRIMARY KEY,
          panel TEXT NOT NULL,
          at INTEGER NOT NULL,
          batch INTEGER NOT NULL,
          state TEXT NOT NULL,
          headline TEXT NOT NULL
        );
        CREATE INDEX said_panel ON said(panel, seq);
        CREATE TABLE alarm(
          id TEXT PRIMARY KEY,
          seq INTEGER NOT NULL,
          kind TEXT NOT NULL,
          panel TEXT,
          probe TEXT,
          raised_at INTEGER NOT NULL,
          returned_at INTEGER,
          say TEXT NOT NULL
        ) WITHOUT ROWID;
        CREATE INDEX alarm_raised ON alarm(raised_at);
        CREATE TABLE counter(one INTEGER PRIMARY KEY CHECK (one = 1), seq INTEGER NOT NULL);
        INSERT INTO counter VALUES (1, 0);
        """,
        # Names of the panels an alarm is about, as JSON, and whether it may wake somebody.
        """
        ALTER TABLE alarm ADD COLUMN panels TEXT NOT NULL DEFAULT '[]';
        ALTER TABLE alarm ADD COLUMN urgent INTEGER NOT NULL DEFAULT 1;
        """,
        # The chart's traces apart from the rest of the answer: who looks at all panels does not read them.
        "ALTER TABLE assessment ADD COLUMN curve TEXT;",
        # Those that stand are found among the alarms of years.
        "CREATE INDEX alarm_standing ON alarm(raised_at) WHERE returned_at IS NULL;",
    ),
)


class WatchWriter:
    """The one writer of watch.db."""

    def __init__(self, path: Path | None) -> None:
        self._file: WriterFile = open_writer(path, WATCH)

    def close(self) -> None:
        self._file.close()

    def save(
        self, assessments: Iterable[Assessment], alarms: Iterable[Alarm], gone: Iterable[str] = ()
    ) -> None:
        """Stores a round's results and drops panels that are `gone`, in one commit; nothing if there is nothing."""
        listed, rung, left = list(assessments), list(alarms), list(gone)
        if not (listed or rung or left):
            return
        connection = self._file.connection
        with transaction(connection):
            connection.execute("UPDATE counter SET seq = seq + 1")
            seq = int(next(connection.execute("SELECT seq FROM counter"))[0])
            for item in listed:
                self._save_one(connection, seq, item)
            for alarm in rung:
                connection.execute(
                    "INSERT OR REPLACE INTO alarm"
                    "(id, seq, kind, panel, probe, raised_at, returned_at, say, panels, urgent)"
                    " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (
                        alarm.id,
                        seq,
                        alarm.kind,
                        alarm.panel,
                        alarm.probe,
                        alarm.raised_at,
                        alarm.returned_at,
                        _say(alarm.say),
                        json.dumps(alarm.panels, ensure_ascii=False),
                        alarm.urgent,
                    ),
                )
            for panel in left:
                connection.execute("DELETE FROM assessment WHERE panel = ?", (panel,))

    def panels(self) -> set[str]:
        """Panels that have an assessment here, also of an earlier run."""
        return {str(row[0]) for row in self._file.connection.execute("SELECT panel FROM assessment")}

    def standing_alarms(self) -> list[Alarm]:
        """Alarms whose cause has not gone away: where a new watch goes on from."""
        return [_alarm(*row) for row in self._file.connection.execute(_ALARMS + " WHERE returned_at IS NULL")]

    @staticmethod
    def _save_one(connection: apsw.Connection, seq: int, item: Assessment) -> None:
        connection.execute(
            "INSERT OR REPLACE INTO assessment(panel, seq, at, good_until, batch, body, curve)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            (
                item.panel,
                seq,
                item.at,
                item.good_until,
                item.batch,
                item.without_curve.to_json(),
                None if item.curve is None else item.curve.to_json(),
            ),
        )
        headline = _say(item.verdict.headline)
        last = next(
            connection.execute(
                "SELECT headline FROM said WHERE panel = ? ORDER BY seq DESC LIMIT 1", (item.panel,)
            ),
            None,
        )
        if last is None or last[0] != headline:
            connection.execute(
                "INSERT INTO said(panel, at, batch, state, headline) VALUES (?, ?, ?, ?, ?)",
                (item.panel, item.at, item.batch, item.verdict.state.value, headline),
            )


class WatchReader:
    """Reads watch.db, and from the logbook who has seen which alarm. Raises NotYet while watch has never run."""

    def __init__(self, path: Path, logbook: LogbookReader) -> None:
        self._path = path
        self._logbook = logbook
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[list[int], Assessment]] = {}

    def _rows(self, sql: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        connection = open_reader(self._path, WATCH)
        try:
            return list(connection.execute(sql, values))
        finally:
            connection.close()

    def latest(self) -> list[Assessment]:
        """The newest assessment of every panel, without the traces of its chart.

        Those that were read before are kept.
        """
        connection = open_reader(self._path, WATCH)
        try:
            connection.execute("BEGIN")  # what is listed is still there when it is read
            made = list(connection.execute("SELECT panel, seq, at FROM assessment ORDER BY panel"))
            with self._lock:
                kept = {}
                for panel, *version in made:
                    known = self._kept.get(panel)
                    if known is None or known[0] != version:
                        (body,) = next(
                            connection.execute("SELECT body FROM assessment WHERE panel = ?", (panel,))
                        )
                        known = version, Assessment.from_json(body).without_curve
                    kept[panel] = known
                self._kept = kept
                return [item for _, item in kept.values()]
        finally:
            connection.close()

    def worked_out(self) -> int | None:
        """When the newest assessment was worked out, UTC ms; None if there is none."""
        ((newest,),) = self._rows("SELECT max(at) FROM assessment")
        return None if newest is None else int(newest)

    def assessment(self, panel: str) -> Assessment | None:
        """The newest assessment of one panel, None if there is none yet."""
        rows = self._rows("SELECT body, curve FROM assessment WHERE panel = ?", (panel,))
        if not rows:
            return None
        item = Assessment.from_json(rows[0][0])
        return item if rows[0][1] is None else replace(item, curve=Curve.from_json(rows[0][1]))

    def said(self, panel: str) -> list[tuple[int, str, str]]:
        """Each headline of a panel as it was shown: since when, the state, and the Say as JSON; in order."""
        rows = self._rows("SELECT at, state, headline FROM said WHERE panel = ? ORDER BY seq", (panel,))
        return [(int(at), str(state), str(headline)) for at, state, headline in rows]

    def alarms(self, limit: int = 200) -> list[Alarm]:
        """All that stand, and of the others those among the newest `limit`; the newest first."""
        try:
            seen = self._logbook.seen()
        except NotYet:
            seen = {}
        alarms = [_alarm(*row) for row in self._rows(_NEWEST_AND_STANDING, (limit,))]
        return [
            Alarm(**{**vars(alarm), "seen_at": seen[alarm.id][0], "seen_by": seen[alarm.id][1]})
            if alarm.id in seen
            else alarm
            for alarm in alarms
        ]

    def version(self) -> int:
        """Grows with every change of the above, seen alarms included."""
        seq = int(self._rows("SELECT seq FROM counter")[0][0])
        try:
            return seq + self._logbook.version()
        except NotYet:
            return seq


_ALARMS = "SELECT id, kind, panel, probe, raised_at, returned_at, say, panels, urgent FROM alarm"
_NEWEST_AND_STANDING = (
    f"SELECT * FROM ({_ALARMS} ORDER BY raised_at DESC, id LIMIT ?) WHERE returned_at IS NOT NULL"
    f" UNION ALL {_ALARMS} WHERE returned_at IS NULL ORDER BY raised_at DESC, id"
)


@lru_cache(maxsize=2048)
def _alarm(
    id_: str, kind: str, panel: str | None, probe: str | None, raised_at: int, returned_at: int | None,
    say: str, panels: str, urgent: int,
) -> Alarm:  # fmt: skip
    """Of a row; one that stands is read again for every page."""
    return Alarm(
        id_, kind, panel, probe, raised_at, returned_at, Say(**json.loads(say)),
        panels=tuple(json.loads(panels)), urgent=bool(urgent),
    )  # fmt: skip


def _say(say: Say) -> str:
    return json.dumps({"key": say.key, "values": dict(say.values)}, ensure_ascii=False)
