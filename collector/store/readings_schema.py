"""What readings.db is made of.

reading    key (t, series): rows that arrive together lie together, which is what spares an SD card.
           `t` is the raw UTC ms; `lag` = received - t, 0 for a reading that brought no time of its own.
batch      one row for each commit that stored something; `t_min`, `t_max` span its raw times. `revised` 1
           (FLAGS) or 2 (MOVED): it has no readings of its own, but what lies between these times, corrected,
           is to be read again, because flags or values changed, or because a run was found to lie elsewhere.
           `delivered` holds the identities of its MQTT messages (see delivered.py).
run        one stretch with one clock: a start of `collect`, or the moment its clock was found to be wrong.
           `offset` (ms) is added when reading, and only to times our own clock gave (lag 0): rows are never
           rewritten. `early`, `late` bound the true offset (late NULL: nothing does); see runs.py.
anchor     what the machine's clock said beside the run's: at its start, and when it stepped or got better.
series     a reading lies at `newest`, and none more than NEWEST_WITHIN_MS after it: "the latest" is found in a
           few rows, and most commits need not touch this table.
delivered  identities of MQTT messages whose commit made no batch.
conflict   further values for a key that is taken; the least of all of them is the one in `reading` (rivals.py).
sequence   of each start of a probe that numbers its messages, the spans of numbers that were heard (sequences.py).
recheck    one row at most: from `since` (UTC ms, corrected) on, flags may be others than the checks find in the
           order of time, because something came late; see recheck.py.
tally      what was refused, counted by source and kind, with the last case in words.
digest     of each finished UTC day: SHA-256 over a probe's readings, over the day's batches and over its runs
           (digests.py); `upto` is the last batch among them, so that a late reading does not look like damage.
summary    of each hour of a series whose readings were removed (keeping.py, summaries.py); kept for good.
removed    UTC days whose readings were removed, or are being: their digests stay, and have no rows any more.
undigested days that have something newer than their digests.
heard      names that no probe in the settings claims, with their last value.
suspicion  what comparing probes over hours says against one (collector.reading.Suspicion), ended ones too;
           `numbers` is JSON.
"""

from __future__ import annotations

from collector.store.schema import Schema

NEWEST_WITHIN_MS = 600_000

_FIRST = """
CREATE TABLE run(
  id INTEGER PRIMARY KEY, boot TEXT NOT NULL, started INTEGER NOT NULL,
  offset INTEGER NOT NULL DEFAULT 0, state TEXT NOT NULL);
CREATE TABLE batch(
  seq INTEGER PRIMARY KEY, t_min INTEGER NOT NULL, t_max INTEGER NOT NULL,
  run INTEGER NOT NULL, committed INTEGER NOT NULL);
CREATE TABLE series(
  id INTEGER PRIMARY KEY, probe TEXT NOT NULL, quantity TEXT NOT NULL, newest INTEGER NOT NULL,
  UNIQUE(probe, quantity));
CREATE TABLE reading(
  t INTEGER NOT NULL, series INTEGER NOT NULL, value REAL NOT NULL, quality INTEGER NOT NULL,
  lag INTEGER NOT NULL, batch INTEGER NOT NULL, PRIMARY KEY(t, series)) WITHOUT ROWID;
CREATE TABLE delivery(
  client TEXT NOT NULL, mid INTEGER NOT NULL, digest BLOB NOT NULL, batch INTEGER,
  PRIMARY KEY(client, mid)) WITHOUT ROWID;
CREATE TABLE conflict(
  t INTEGER NOT NULL, series INTEGER NOT NULL, value REAL NOT NULL, batch INTEGER,
  PRIMARY KEY(t, series, value)) WITHOUT ROWID;
CREATE TABLE tally(
  source TEXT NOT NULL, kind TEXT NOT NULL, n INTEGER NOT NULL, last_text TEXT NOT NULL,
  last_at INTEGER NOT NULL, PRIMARY KEY(source, kind)) WITHOUT ROWID;
CREATE TABLE probe(
  id TEXT PRIMARY KEY, zone TEXT NOT NULL, place TEXT NOT NULL, interval_s REAL NOT NULL,
  accuracy_K REAL NOT NULL) WITHOUT ROWID;
CREATE TABLE heard(
  source TEXT NOT NULL, name TEXT NOT NULL, quantity TEXT NOT NULL, value REAL NOT NULL,
  last_at INTEGER NOT NULL, PRIMARY KEY(source, name, quantity)) WITHOUT ROWID;
"""

_DIGESTS = """
CREATE TABLE digest(
  day INTEGER NOT NULL, kind TEXT NOT NULL, name TEXT NOT NULL, n INTEGER NOT NULL, sha256 BLOB NOT NULL,
  upto INTEGER NOT NULL, PRIMARY KEY(day, kind, name)) WITHOUT ROWID;
CREATE TABLE undigested(day INTEGER PRIMARY KEY);
INSERT OR IGNORE INTO undigested SELECT DISTINCT t / 86400000 FROM reading;
INSERT OR IGNORE INTO undigested SELECT DISTINCT committed / 86400000 FROM batch;
INSERT OR IGNORE INTO undigested SELECT DISTINCT started / 86400000 FROM run;
CREATE TRIGGER run_corrected AFTER UPDATE ON run BEGIN
  DELETE FROM digest WHERE kind = 'runs' AND day = OLD.started / 86400000;
  INSERT OR IGNORE INTO undigested VALUES(OLD.started / 86400000);
END;
"""

_DELIVERED_IN_BATCH = """
ALTER TABLE batch ADD COLUMN delivered BLOB;
CREATE TABLE delivered(id INTEGER PRIMARY KEY, identities BLOB NOT NULL);
DROP TABLE delivery;
"""

_SUMMARIES = """
CREATE TABLE summary(
  hour INTEGER NOT NULL, series INTEGER NOT NULL, n INTEGER NOT NULL, usable INTEGER NOT NULL, low REAL, high REAL,
  covered_ms INTEGER NOT NULL, integral REAL NOT NULL, PRIMARY KEY(hour, series)) WITHOUT ROWID;
CREATE TABLE removed(day INTEGER PRIMARY KEY);
"""

FLAGS, MOVED = 1, 2

_CLOCKS = """
ALTER TABLE run ADD COLUMN elapsed INTEGER;
ALTER TABLE run ADD COLUMN lasted INTEGER NOT NULL DEFAULT 0;
ALTER TABLE run ADD COLUMN early INTEGER NOT NULL DEFAULT 0;
ALTER TABLE run ADD COLUMN late INTEGER DEFAULT 0;
ALTER TABLE batch ADD COLUMN revised INTEGER NOT NULL DEFAULT 0;
CREATE TABLE anchor(
  run INTEGER NOT NULL, elapsed INTEGER NOT NULL, utc INTEGER NOT NULL, state TEXT NOT NULL,
  PRIMARY KEY(run, elapsed)) WITHOUT ROWID;
"""

_SUSPICIONS = """
CREATE TABLE suspicion(
  id INTEGER PRIMARY KEY, probe TEXT NOT NULL, kind TEXT NOT NULL, since INTEGER NOT NULL, until INTEGER,
  shown_from INTEGER NOT NULL, shown_to INTEGER NOT NULL, numbers TEXT NOT NULL, UNIQUE(probe, kind, since));
"""

_RECHECK = """
CREATE TABLE recheck(id INTEGER PRIMARY KEY CHECK(id = 1), since INTEGER NOT NULL);
"""

_SEQUENCES = """
CREATE TABLE sequence(
  source TEXT NOT NULL, device TEXT NOT NULL, boot TEXT NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL,
  PRIMARY KEY(source, device, boot, first)) WITHOUT ROWID;
"""

PAGE_SIZE = 1024
"""Bytes. A commit writes each page it touches whole, and its rows fill a quarter of such a page: with the usual 4096
a day of eight probes at 10 s costs two and a half times as much. A file made with another size keeps it."""

READINGS = Schema(
    name="readings.db",
    writer="collect",
    application_id=0x636F6C64,
    migrations=(
        _FIRST,
        _DIGESTS,
        _DELIVERED_IN_BATCH,
        _SUMMARIES,
        _CLOCKS,
        _SUSPICIONS,
        _RECHECK,
        _SEQUENCES,
    ),
    page_size=PAGE_SIZE,
)
