"""`coldshed check store`: whether files and backups hold what was written, and what to do if they do not."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from collector import settings as settings_file
from collector.forward.state import progress
from collector.settings import Settings
from collector.store.backup import verify
from collector.store.check import DO, Found, check_file, rests_on_more
from collector.store.reader import Reader
from collector.store.readings_schema import READINGS
from collector.store.schema import NotYet, Schema, StoreError
from collector.store.trouble import read
from dashboard.cli.copies import files_of
from dashboard.cli.errors import CommandError
from dashboard.cli.findings import Finding, note, ok, wrong
from dashboard.logbook import SHOP, LogbookReader
from dashboard.notice_store import NOTICES
from dashboard.watch_store import WATCH, WatchReader


def check_store(settings_path: Path, named: Path | None) -> Iterator[Finding]:
    """The shop's own files, or the file or backup that is named."""
    if named is None:
        settings = settings_file.load(settings_path)
        for path, schema in files_of(settings):
            if _is_written(schema, settings):
                yield from _one(path, schema)
        yield from _fit_together(settings)
        if settings.read_from is None:
            yield from recording_findings(settings.readings_db)
    elif named.is_dir():
        yield from _backup(named)
    elif named.is_file():
        yield from _one(named, _schema_of(named))
    else:
        raise CommandError(f"{named}: there is no such file or backup")


def _is_written(schema: Schema, settings: Settings) -> bool:
    """Whether a process of this machine writes such a file."""
    if schema is READINGS:
        return settings.read_from is None
    return schema is not NOTICES or settings.notices is not None


def recording_findings(readings: Path) -> Iterator[Finding]:
    """What keeps collect from storing, as far as it can be told."""
    for trouble in read(readings):
        yield wrong(
            f"recording: {trouble.kind.value}{f' ({trouble.said})' if trouble.said else ''}", trouble.do
        )


def _one(path: Path, schema: Schema) -> Iterator[Finding]:
    try:
        for found in check_file(path, schema):
            yield _finding(found)
    except NotYet as reason:
        yield note(str(reason), "'coldshed run' starts all")
    except StoreError as error:
        yield wrong(str(error), DO)


def _finding(found: Found) -> Finding:
    return wrong(found.what, found.do) if found.do else ok(found.what)


def _backup(folder: Path) -> Iterator[Finding]:
    try:
        held = verify(folder)
    except StoreError as error:
        yield wrong(str(error), "make another backup today; keep this one until you have it")
        return
    for item in held:
        yield ok(f"{folder / item.name}: every byte is what was backed up")
        yield from _one(folder / item.name, _schema_of(folder / item.name))


def _schema_of(path: Path) -> Schema:
    for schema in (WATCH, SHOP, READINGS, NOTICES):
        if path.name.startswith(schema.name):
            return schema
    raise CommandError(f"{path}: its name must begin with readings.db, watch.db, shop.db or notices.db")


def _fit_together(settings: Settings) -> Iterator[Finding]:
    """A file that ends before what others have seen of it has lost its end."""
    try:
        reader = Reader.open(settings.readings_db)
    except StoreError:
        return  # told of already
    with closing(reader):
        last = reader.last_batch()
    for who, seen in (("forward", _sent), ("watch", _worked_out)):
        try:
            yield _finding(rests_on_more(settings.readings_db, last, seen(settings), who))
        except NotYet:
            continue  # told of already
        except (StoreError, ValueError) as error:
            yield wrong(f"what {who} has seen cannot be told ({error})", "correct it, then look again")


def _sent(settings: Settings) -> int:
    return progress(settings.data_folder).acknowledged


def _worked_out(settings: Settings) -> int:
    answers = WatchReader(settings.watch_db, LogbookReader(settings.shop_db)).latest()
    return max((answer.batch for answer in answers), default=0)
