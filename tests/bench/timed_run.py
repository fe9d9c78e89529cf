"""`coldshed run`, whose watch tells how long each of its rounds took: python -P -m tests.bench.timed_run SETTINGS.

ROUNDS in the environment names the file that watch writes: a line for each round, when it began (s, monotonic), how
long it took and the processor time of it.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from dashboard.cli import main, processes

TIMED = (
    "import sys\n"
    "if sys.argv[1] == 'watch':\n"
    "    from tests.bench import timed_run\n"
    "    timed_run.time_rounds()\n"
)


def time_rounds() -> None:
    """From here on, in this process."""
    from dashboard.watch import Watch

    told, plain = Path(os.environ["ROUNDS"]), Watch.round

    def timed(watch: Watch) -> None:
        began, cpu = time.monotonic(), time.process_time()
        plain(watch)
        with told.open("a") as lines:
            lines.write(f"{began:.3f} {time.monotonic() - began:.4f} {time.process_time() - cpu:.4f}\n")

    Watch.round = timed  # type: ignore[method-assign]


if __name__ == "__main__":
    processes.START = TIMED + processes.START
    sys.exit(main(["run", "--settings", sys.argv[1]]))
