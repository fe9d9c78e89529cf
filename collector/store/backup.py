"""A backup is a folder: copies of our files as they were at one moment each, and a manifest with their digests.

It is made under another name and renamed when all of it is safe: a folder of the name that was asked for is whole.
`restore` brings one back, and moves what it replaces aside.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import apsw

from collector.durable import move, remove, replace_whole, sync_file, sync_folder
from collector.store.schema import (
    MAY_PASS,
    UNFINISHED,
    Locked,
    NotYet,
    Schema,
    StoreError,
    damage_told,
    open_reader,
    take_lock,
)
from collector.store.trouble import kind_of

MANIFEST = "manifest.json"
FORMAT = "coldshed backup 1"
PORTION = 1 << 20

Files = Sequence[tuple[Path, Schema]]
"""Paths and schemas, in the order in which they are copied: what rests on another file comes before it."""


@dataclass(frozen=True)
class Copied:
    """One file of a backup: its schema version, its size and the SHA-256 of its bytes."""

    name: str
    version: int
    bytes: int
    sha256: str


def back_up(files: Files, target: Path, now: int, vfs: str | None = None) -> list[Copied]:
    """Copies each file that there is while others read and write it. `now` in UTC ms.

    Raises StoreError if the target exists, if there is nothing to copy or if a file is damaged; nothing is left then.
    """
    if target.exists() or target.is_symlink():
        raise StoreError(f"{target} exists already: name a new folder, nothing was written")
    if not target.parent.is_dir():
        raise StoreError(f"{target.parent} is not a folder: make it first, nothing was written")
    there = [(path, schema) for path, schema in files if path.exists()]
    if not there:
        raise StoreError("there is nothing to back up: no file has been made yet")
    try:
        with _partial(target) as partial:
            copies = [_copy(path, schema, partial, vfs) for path, schema in there]
            manifest = {"format": FORMAT, "made": _stamp(now), "files": [asdict(item) for item in copies]}
            replace_whole(partial / MANIFEST, json.dumps(manifest, indent=1) + "\n")
            move(partial, target)
    except (OSError, *MAY_PASS) as error:
        why = kind_of(error).value if isinstance(error, apsw.Error) else error.strerror or error
        raise StoreError(
            f"{target} cannot be made ({why}): nothing is left there; make room first"
        ) from error
    return copies


def verify(source: Path) -> list[Copied]:
    """What the backup holds. Raises StoreError if it is none, or if any byte of it has changed."""
    try:
        manifest: dict[str, Any] = json.loads((source / MANIFEST).read_bytes())
        files = [Copied(**item) for item in manifest["files"]] if manifest["format"] == FORMAT else []
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise StoreError(
            f"{source} is not a whole backup: its {MANIFEST} cannot be used ({error})"
        ) from error
    if not files:
        raise StoreError(f"{source} was made by another coldshed: its {MANIFEST} is not {FORMAT!r}")
    for item in files:
        try:
            found = _digest(source / item.name)
        except OSError as error:
            raise StoreError(
                f"{source}: {item.name} cannot be read ({error.strerror}): use another backup"
            ) from error
        if found != item.sha256:
            raise StoreError(f"{source}: {item.name} is not what was backed up: use another backup")
    return files


def restore(source: Path, files: Files, beside: Sequence[Path], now: int) -> Path:
    """Puts a backup in the files' place; what lay there, and the files `beside`, go to a folder, which is returned.

    Raises Locked while any of our processes runs, StoreError if the backup is not whole, of a newer program or not
    of these files. Cut off in the middle, it leaves a marker that keeps everything from starting until it is done.
    """
    copies = {item.name: item for item in verify(source)}
    known = {path.name: (path, schema) for path, schema in files}
    for item in copies.values():
        if item.name not in known:
            raise StoreError(f"{source}: {item.name} is none of ours; there are: {', '.join(known)}")
        if item.version > known[item.name][1].version:
            raise StoreError(f"{source} was made by a newer coldshed: update this one, nothing was changed")
    folder = files[0][0].parent
    folder.mkdir(parents=True, exist_ok=True)
    with ExitStack() as locks:
        for path, schema in files:
            locks.enter_context(_locked(path, schema))
        for item in copies.values():
            _bring(source, folder, item.name)
            if _digest(_coming(folder, item.name)) != item.sha256:
                raise StoreError(
                    f"{folder}: {item.name} was not written as read: this disk cannot be trusted"
                )
        replace_whole(folder / UNFINISHED, str(source))
        aside = _move_aside(folder, [path for path, _ in files], beside, now)
        for name in copies:
            move(_coming(folder, name), folder / name)
        remove(folder / UNFINISHED)
    return aside


@contextmanager
def _partial(target: Path) -> Iterator[Path]:
    """A folder beside the target; it is gone if what is done in it fails."""
    partial = Path(tempfile.mkdtemp(prefix=target.name + ".partial-", dir=target.parent))
    try:
        yield partial
    except BaseException:
        shutil.rmtree(partial, ignore_errors=True)
        raise


def _copy(path: Path, schema: Schema, folder: Path, vfs: str | None) -> Copied:
    try:
        source = open_reader(path, schema)
    except NotYet as reason:
        raise StoreError(f"{reason}: start coldshed once, then back up") from reason
    with (
        closing(source),
        damage_told(path),
        closing(apsw.Connection(str(folder / path.name), vfs=vfs)) as copy,
    ):
        with copy.backup("main", source, "main") as whole:
            whole.step()  # all at once: in portions it would begin again with every commit of the writer
        copy.pragma("journal_mode", "delete")
    sync_file(folder / path.name)
    size = (folder / path.name).stat().st_size
    return Copied(path.name, schema.version, size, _digest(folder / path.name))


def _bring(source: Path, folder: Path, name: str) -> None:
    try:
        shutil.copyfile(source / name, _coming(folder, name))
        sync_file(_coming(folder, name))
    except OSError as error:
        _coming(folder, name).unlink(missing_ok=True)
        raise StoreError(
            f"{folder}: {name} cannot be written ({error.strerror}): nothing was changed"
        ) from error


def _move_aside(folder: Path, paths: Sequence[Path], beside: Sequence[Path], now: int) -> Path:
    name, again = f"before-restore-{_stamp(now)}", 1
    while (aside := folder / (name if again == 1 else f"{name}-{again}")).exists():
        again += 1
    aside.mkdir()
    sync_folder(folder)
    parts = [path.with_name(path.name + end) for path in paths for end in ("", "-wal", "-shm")]
    for part in [*parts, *beside]:
        if part.exists():
            move(part, aside / part.name)
    return aside


@contextmanager
def _locked(path: Path, schema: Schema) -> Iterator[None]:
    try:
        lock = take_lock(path, schema)
    except Locked as error:
        raise Locked(f"{error}: end coldshed first, nothing was changed") from error
    try:
        yield
    finally:
        os.close(lock)


def _coming(folder: Path, name: str) -> Path:
    return folder / f"{name}.restoring"


def _digest(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while portion := file.read(PORTION):
            digest.update(portion)
    return digest.hexdigest()


def _stamp(now: int) -> str:
    return datetime.fromtimestamp(now / 1000, UTC).strftime("%Y%m%dT%H%M%SZ")
