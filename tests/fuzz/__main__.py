"""One reader of bytes under a fuzzer that follows its branches, by hand: `python -m tests.fuzz TARGET SECONDS`.

Needs atheris, which is in no lock (a hundred megabytes, and not for every Python): install it beside the tree.
Without arguments: the names of the targets. A finding ends it with the bytes in a file crash-...
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path


def main() -> None:
    import atheris

    with atheris.instrument_imports(include=["collector", "dashboard", "model", "json"]):
        from tests.fuzz.targets import TARGETS
    if len(sys.argv) < 3:
        sys.exit("python -m tests.fuzz TARGET SECONDS; targets:\n" + "\n".join(TARGETS))
    target, seconds = TARGETS[sys.argv[1]], int(sys.argv[2])
    with tempfile.TemporaryDirectory() as seeds:
        for number, seed in enumerate(target.seeds):
            (Path(seeds) / str(number)).write_bytes(seed)
        atheris.Setup([sys.argv[0], f"-max_total_time={seconds}", "-max_len=2000", seeds], target.feed)
        atheris.Fuzz()


main()
