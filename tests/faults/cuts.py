"""Power cuts over the product's own code: a workload is recorded once, then cut at many random moments.

After each cut the file is opened by the product as at the next start, and must hold every row that was acknowledged
before the cut, nothing that was never sent, and pass SQLite's integrity check.
"""

from __future__ import annotations

import random
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import apsw

from tests.faults.disk import Disk, Op, Recorder, recording

Workload = Callable[[Path, Recorder, random.Random], None]
"""Does something in an empty folder through vfs=recorder.name, and acknowledges what it was told is safe."""

Check = Callable[[Path, list[object], random.Random], list[str]]
"""(folder after the cut, what was acknowledged, dice) -> what is wrong: "lost ...", "damaged ..."; [] if nothing."""


@dataclass
class Tally:
    """What came of the cuts."""

    cuts: int = 0
    lost: int = 0
    damaged: int = 0
    examples: list[str] = field(default_factory=list)

    def note(self, wrong: list[str]) -> None:
        self.cuts += 1
        self.lost += any(text.startswith("lost") for text in wrong)
        self.damaged += any(text.startswith("damaged") for text in wrong)
        if wrong and len(self.examples) < 5:
            self.examples.append("; ".join(wrong)[:300])


def cut_power(workload: Workload, check: Check, cuts: int, seed: int, per_recording: int = 250) -> Tally:
    """Records the workload again for every `per_recording` cuts, each time with other dice."""
    tally = Tally()
    with quick_folder() as folder:
        for first in range(0, cuts, per_recording):
            rng = random.Random(f"{seed}/{first}")
            ops, home = _record(workload, folder, rng)
            for image, acknowledged in _images(ops, min(per_recording, cuts - first), rng):
                after = lay_out(image, home, folder / "after")
                tally.note(check(after, acknowledged, rng))
    return tally


@contextmanager
def quick_folder() -> Iterator[Path]:
    """In memory where the machine has that: here it is the recorder that says what a disk would have kept."""
    memory = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(dir=memory if memory.is_dir() else None))
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


def integrity(connection: apsw.Connection) -> list[str]:
    found = connection.execute("PRAGMA integrity_check(1)").get
    return [] if found == "ok" else [f"damaged: {found}"]


def _record(workload: Workload, folder: Path, rng: random.Random) -> tuple[list[Op], Path]:
    home = folder / "home"
    if home.exists():
        shutil.rmtree(home)
    home.mkdir()
    with recording() as recorder:
        workload(home, recorder, rng)
        return recorder.ops, home


def _images(ops: list[Op], cuts: int, rng: random.Random) -> Iterator[tuple[dict[str, bytes], list[object]]]:
    disk, played = Disk(), 0
    for moment in sorted(rng.randint(0, len(ops)) for _ in range(cuts)):
        for op in ops[played:moment]:
            disk.play(op)
        played = moment
        yield disk.after_a_cut(rng), list(disk.acknowledged)


def lay_out(image: dict[str, bytes], home: Path, after: Path) -> Path:
    """Puts files that lay in `home` into the folder `after`, which is emptied first."""
    if after.exists():
        shutil.rmtree(after)
    after.mkdir()
    for path, content in image.items():
        place = after / Path(path).relative_to(home)
        place.parent.mkdir(exist_ok=True, parents=True)
        place.write_bytes(content)
    return after
