"""A damaged file is set aside and a new one begun: losing the coming night as well would be worse.

What lies aside is kept whole, and everybody is told of it for as long as it lies there.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from collector.durable import move, sync_folder

MARK = ".damaged-"


def set_aside(path: Path, now: int) -> Path:
    """Moves the file with its -wal and -shm to a name that says what it is; `now` in UTC ms. Returns the new name.

    The file itself goes last: after a power cut in between it is found damaged once more.
    """
    stamp = datetime.fromtimestamp(now / 1000, UTC).strftime("%Y%m%dT%H%M%SZ")
    target, again = path.with_name(path.name + MARK + stamp), 1
    while target.exists():
        again += 1
        target = path.with_name(f"{path.name}{MARK}{stamp}-{again}")
    for end in ("-wal", "-shm", ""):
        part = path.with_name(path.name + end)
        if part.exists():
            move(part, target.with_name(target.name + end))
    sync_folder(path.parent)
    return target


def lying_aside(path: Path) -> list[Path]:
    """Files that were set aside and are still here, the oldest first."""
    found = path.parent.glob(path.name + MARK + "*")
    return sorted(item for item in found if not item.name.endswith(("-wal", "-shm")))
