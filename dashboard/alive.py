"""Whether the processes that write our files are there, by what the kernel knows of the lock each holds on its file."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

LOCKS, PROCESSES = Path("/proc/locks"), Path("/proc")
Doing = Literal["running", "stopped", "not running"]


def lock_holder(database: Path, locks: Path = LOCKS) -> int | None:
    """The process that writes a file, by the kernel's list of locks, proc_locks(5); None if nobody does.

    Only looked at: asking for the lock might take it from a process that starts just now.
    """
    return _holder(database, _held(locks))


def doing(database: Path) -> Doing:
    """What the process that writes a file does; one that was stopped (SIGSTOP) is there and does nothing."""
    return all_doing({"": database})[""]


def all_doing(databases: Mapping[str, Path]) -> dict[str, Doing]:
    """The same of several; the kernel's list, which takes longest, is read once."""
    held = _held(LOCKS)
    return {name: _doing(_holder(database, held)) for name, database in databases.items()}


def _doing(holder: int | None) -> Doing:
    if holder is None:
        return "not running"
    return "stopped" if state_of(holder) in ("T", "t") else "running"


def _held(locks: Path) -> dict[str, int]:
    """By a file's inode the process that holds the lock on it."""
    found: dict[str, int] = {}
    for line in locks.read_text(encoding="ascii").splitlines():
        if "FLOCK" in line and "->" not in line:
            words = line.split()
            # The device before the inode is not compared: some file systems state another one here than in stat(2).
            found.setdefault(words[-3].rsplit(":", 1)[1], int(words[-4]))
    return found


def _holder(database: Path, held: Mapping[str, int]) -> int | None:
    try:
        return held.get(str(os.stat(f"{database}.lock").st_ino))
    except (FileNotFoundError, NotADirectoryError):
        return None


def state_of(pid: int, processes: Path = PROCESSES) -> str:
    """The letter of proc_pid_stat(5); "" if it has ended or is not ours to look at."""
    try:
        text = (processes / str(pid) / "stat").read_text(encoding="ascii", errors="replace")
    except OSError:
        return ""
    return text.rsplit(")", 1)[1].split()[0]
