"""Files that are whole or not there, also after a power cut: written beside, synced, then renamed into place."""

from __future__ import annotations

import os
from pathlib import Path


def replace_whole(path: Path, text: str) -> None:
    """Returns once the small file's new text survives a power cut. One process at a time.

    Raises OSError if it cannot be written; the old text is left then.
    """
    new = path.with_name(path.name + ".new")
    with new.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    move(new, path)


def sync_file(path: Path) -> None:
    """Returns once the file's content survives a power cut."""
    _sync(path, os.O_RDONLY)


def sync_folder(folder: Path) -> None:
    """Returns once the names in the folder survive a power cut."""
    _sync(folder, os.O_RDONLY | os.O_DIRECTORY)


def move(source: Path, target: Path) -> None:
    """Renames a file or a folder within one disk; returns once that survives a power cut."""
    source.replace(target)
    sync_folder(target.parent)
    if source.parent != target.parent:
        sync_folder(source.parent)


def remove(path: Path) -> None:
    """Deletes a file; returns once that survives a power cut."""
    path.unlink()
    sync_folder(path.parent)


def _sync(path: Path, how: int) -> None:
    descriptor = os.open(path, how | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
