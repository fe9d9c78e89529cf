"""Files that are whole or not there, also after a power cut: written beside, synced, then renamed into place."""

from __future__ import annotations

import os
from pathlib import Path


def replace_whole(path: Path, text: str, mode: int = 0o666) -> None:
    """Returns once the small file's new text survives a power cut. One process at a time.

    mode   what the umask takes its share of: 0o600 for what nobody else may read, from its first byte on

    Raises OSError if it cannot be written; the old text is left then.
    """
    move(_beside(path, text, mode), path)


def create_whole(path: Path, text: str, mode: int = 0o666) -> None:
    """Like replace_whole, but only where no file of that name is: raises FileExistsError, and nothing is changed."""
    new = _beside(path, text, mode)
    try:
        os.link(new, path)  # unlike a rename, it never takes the place of another file
    finally:
        new.unlink()
    sync_folder(path.parent)


def _beside(path: Path, text: str, mode: int) -> Path:
    """A synced file with the text, beside the one that it will be."""
    new = path.with_name(path.name + ".new")
    new.unlink(missing_ok=True)  # of a run that was cut short, perhaps with another mode
    with open(new, "x", encoding="utf-8", opener=lambda name, flags: os.open(name, flags, mode)) as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    return new


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
