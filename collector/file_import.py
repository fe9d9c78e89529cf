"""Brings a file in by hand, by the same way as everything else: decode, checks, store."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from collector.arrival import Arrival, Outcome
from collector.clock import Clock
from collector.decode.logger_csv import MAX_BYTES
from collector.pipeline import Pipeline
from collector.settings import FolderSource, Settings
from collector.store.schema import Locked
from collector.store.writer import Writer
from collector.toml_lines import nearest


class ImportRefused(Exception):
    """The file cannot be brought in; the text says why and what to do."""


@dataclass(frozen=True)
class Imported:
    """What was done. `outcome` is None if the file was handed to the collector that runs, at `handed_to`."""

    outcome: Outcome | None
    handed_to: Path | None


def import_file(path: Path, settings: Settings, source: str, clock: Clock) -> Imported:
    """Reads the file as `source` would. If collect runs, the file is put into that source's folder instead.

    Raises ImportRefused if there is no such source or file, StoreError if the store cannot be used.
    """
    item = _folder_source(settings, source)
    payload = _read(path)
    try:
        writer = Writer.open(settings.readings_db, clock)
    except Locked:
        return Imported(None, _hand_over(payload, path.name, settings.folder / item.folder))
    try:
        return Imported(read_into(writer, settings, source, payload, clock, topic=path.name), None)
    finally:
        writer.close()


def read_into(
    writer: Writer, settings: Settings, source: str, payload: bytes, clock: Clock, topic: str = ""
) -> Outcome:
    """Decodes, checks and commits one file's bytes; also for a store in memory. Raises apsw.Error."""
    told: list[Outcome] = []
    pipeline = Pipeline(settings, writer, clock)
    pipeline.take_all([Arrival(source, payload, clock.now(), topic, live=False, outcome=told.append)])
    return told[0]


def _folder_source(settings: Settings, source: str) -> FolderSource:
    folders = {item.id: item for item in settings.source if isinstance(item, FolderSource)}
    if source not in folders:
        allowed = nearest(source, folders) if folders else "the settings have none: add one of kind 'folder'"
        raise ImportRefused(f"no source of kind 'folder' is called {source!r}; {allowed}")
    return folders[source]


def _read(path: Path) -> bytes:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise ImportRefused(f"{path} is larger than {MAX_BYTES // 2**20} MiB: split the file")
        return path.read_bytes()
    except OSError as error:
        raise ImportRefused(f"{path} cannot be read: {error.strerror}") from error


def _hand_over(payload: bytes, name: str, folder: Path) -> Path:
    """Puts the bytes into the watched folder in one step, under a name that is free there."""
    folder.mkdir(parents=True, exist_ok=True)
    part = folder / f".{name}.{os.getpid()}.part"
    part.write_bytes(payload)
    target, number = folder / name, 1
    while True:
        try:
            os.link(part, target)  # unlike a rename, this never replaces a file
            break
        except FileExistsError:
            number += 1
            target = folder / f"{Path(name).stem}-{number}{Path(name).suffix}"
    part.unlink()
    return target
