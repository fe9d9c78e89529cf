"""A small file that is replaced whole: after a power cut it holds the old text or the new one, never half of it."""

from __future__ import annotations

import os
from pathlib import Path


def replace_whole(path: Path, text: str) -> None:
    """Returns once the new text survives a power cut. One process at a time.

    Raises OSError if it cannot be written; the old text is left then.
    """
    new = path.with_name(path.name + ".new")
    with new.open("w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
