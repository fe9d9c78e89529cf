"""A watched folder: each file put there is read once, whole, and then moved to `done` or `refused`.

A file is taken when its size and time have not changed for a while; best it is put there in one step, by a
rename. Names that begin with a dot or end in .part or .tmp are left alone.
"""

from __future__ import annotations

import logging
import queue
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from collector.arrival import Arrival, Outcome, Refusal
from collector.clock import Clock
from collector.decode.logger_csv import MAX_BYTES
from collector.patience import rest

log = logging.getLogger("coldshed.collect")

LOOK_S = 0.5
SETTLED_S = 2.0
REPORTED = 50
"""Refusals written into a report; the rest are counted."""


@dataclass
class _Seen:
    """What a file looked like, and since when (monotonic s)."""

    size: int
    changed_ns: int
    since: float


class WatchedFolderSource:
    """Hands each file over as one arrival whose topic is the file's name."""

    def __init__(
        self,
        id: str,
        folder: Path,
        clock: Clock,
        settled_s: float = SETTLED_S,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.id = id
        self._folder = folder
        self._clock = clock
        self._settled_s = settled_s
        self._monotonic = monotonic
        self._state = "waiting"
        self._seen: dict[Path, _Seen] = {}
        self._handed: set[Path] = set()
        self._told: queue.SimpleQueue[tuple[Path, Outcome]] = queue.SimpleQueue()

    @property
    def state(self) -> str:
        return self._state

    def run(self, put: Callable[[Arrival], None], stop: Callable[[], bool]) -> None:
        """Looks twice a second until stopped. A folder that cannot be used is tried again."""
        while not stop():
            try:
                self._folder.mkdir(parents=True, exist_ok=True)
                self._move_told()
                for path in self._settled():
                    self._hand_over(path, put)
                self._state = "connected"
            except OSError as error:
                self._state = f"failed: {error.filename or self._folder}: {error.strerror}"
            rest(LOOK_S, stop)
        self._state = "waiting"

    def _settled(self) -> list[Path]:
        """Files that have stopped changing and were not handed over yet, oldest first."""
        now = self._monotonic()
        found: dict[Path, _Seen] = {}
        for path in self._folder.iterdir():
            if path in self._handed or not _is_ours(path):
                continue
            stat = path.stat()
            seen = self._seen.get(path)
            if seen is None or (seen.size, seen.changed_ns) != (stat.st_size, stat.st_mtime_ns):
                seen = _Seen(stat.st_size, stat.st_mtime_ns, now)
            found[path] = seen
        self._seen = found
        ready = [path for path, seen in found.items() if now - seen.since >= self._settled_s]
        return sorted(ready, key=lambda path: (found[path].changed_ns, path.name))

    def _hand_over(self, path: Path, put: Callable[[Arrival], None]) -> None:
        size = self._seen[path].size
        self._handed.add(path)
        if size > MAX_BYTES:
            text = f"{size} bytes; allowed: {MAX_BYTES}. Split the file"
            self._told.put((path, Outcome(0, (Refusal("too long", text),))))
            return
        try:
            payload = path.read_bytes()
        except OSError:
            self._handed.discard(path)
            raise
        put(
            Arrival(
                self.id,
                payload,
                self._clock.now(),
                topic=path.name,
                live=False,
                outcome=lambda outcome: self._told.put((path, outcome)),
            )
        )

    def _move_told(self) -> None:
        """Moves what the pipeline has committed; here, because a full disk must not stop the pipeline."""
        while not self._told.empty():
            path, outcome = self._told.get()
            try:
                self._move(path, outcome)
            except OSError:
                self._told.put((path, outcome))
                raise

    def _move(self, path: Path, outcome: Outcome) -> None:
        folder = self._folder / ("done" if outcome.readings else "refused")
        folder.mkdir(exist_ok=True)
        target = _free(folder, path.name)
        if outcome.refused or not outcome.readings:
            target.with_name(target.name + ".report.txt").write_text(
                report(path.name, outcome), encoding="utf-8"
            )
        if path.exists():
            path.rename(target)
        self._handed.discard(path)
        log.info(
            "%s: %s: %d readings, %d refused", self.id, path.name, outcome.readings, len(outcome.refused)
        )


def report(name: str, outcome: Outcome) -> str:
    """What became of a file, in words."""
    lines = [f"{name}: {outcome.readings} readings taken, {len(outcome.refused)} refused"]
    lines += [f"{refusal.kind}: {refusal.text}" for refusal in outcome.refused[:REPORTED]]
    if len(outcome.refused) > REPORTED:
        lines.append(f"... and {len(outcome.refused) - REPORTED} more")
    if not outcome.readings and not outcome.refused:
        lines.append("the file holds no reading")
    return "\n".join(lines) + "\n"


def _is_ours(path: Path) -> bool:
    return path.is_file() and not path.name.startswith(".") and path.suffix not in (".part", ".tmp")


def _free(folder: Path, name: str) -> Path:
    """A path in the folder that no file has yet."""
    target, number = folder / name, 1
    while target.exists():
        number += 1
        target = folder / f"{Path(name).stem}-{number}{Path(name).suffix}"
    return target
