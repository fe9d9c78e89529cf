"""What coldshed costs, beside the same done barely: PYTHONPATH=. python -P -m tests.bench [--only NAME] [--write].

Run by hand on a quiet machine; a missed goal is said, and fails nothing. Each section runs in a process of its own; one
that cannot be measured is said to be so, and the others go on. The table goes to standard output.
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from tests.bench import pages_of_help
from tests.bench.machine import machine
from tests.bench.rows import Found, Section
from tests.bench.sections import SECTIONS
from tests.bench.table import Measured, for_terminal

COMPLAINT = 3_000
"""Characters of what a section that failed has said last; the others say nothing."""


def main(arguments: Sequence[str] | None = None) -> int:
    """0: everything was measured; 1: not everything."""
    names = [section.name for section in SECTIONS]
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="Prints what coldshed costs.")
    parser.add_argument("--only", action="append", choices=names, help="this section alone; may be repeated")
    parser.add_argument("--write", action="store_true", help="put the table of a whole run into the help")
    parser.add_argument(
        "--render", action="store_true", help="make the help's pages anew from the last run's figures"
    )
    parser.add_argument("--raw", choices=names, help=argparse.SUPPRESS)
    asked = parser.parse_args(arguments)
    if asked.raw:
        section = next(section for section in SECTIONS if section.name == asked.raw)
        json.dump({key: asdict(found) for key, found in section.found().items()}, sys.stdout)
        return 0
    if asked.render:
        pages_of_help.write(Measured.load())
        return 0
    if asked.write and asked.only:
        parser.error("--write takes a whole run: leave --only out")
    measured = measure([section for section in SECTIONS if not asked.only or section.name in asked.only])
    if asked.write:
        measured.save()
        pages_of_help.write(measured)
    return 1 if measured.failed else 0


def measure(sections: Sequence[Section]) -> Measured:
    """Prints each section when it is done; progress goes to standard error."""
    about = machine() | {"load before": f"{os.getloadavg()[0]:.2f}, the mean of a minute"}
    found: dict[str, dict[str, Found]] = {}
    failed: dict[str, str] = {}
    for number, section in enumerate(sections, 1):
        say(f"{number} of {len(sections)}: {section.name} …")
        begin = time.monotonic()
        try:
            found[section.name] = in_a_process(section)
        except subprocess.TimeoutExpired:
            failed[section.name] = f"it took more than {section.limit_s:g} s"
        except subprocess.CalledProcessError as error:
            failed[section.name] = f"it ended with {error.returncode}"
        why = failed.get(section.name)
        say(f"  {f'not measured: {why}' if why else 'done'}, {time.monotonic() - begin:.0f} s")
        sys.stdout.write(for_terminal(section, found.get(section.name, {})) + "\n\n")
        sys.stdout.flush()
    return Measured(datetime.datetime.now(datetime.UTC).date().isoformat(), about, found, failed)


def in_a_process(section: Section) -> dict[str, Found]:
    """So that no section's memory or threads are in another's figures. Raises subprocess.SubprocessError."""
    words = [sys.executable, "-P", "-m", "tests.bench", "--raw", section.name]
    # A session of its own: what it started and did not end, because its time was up, is ended with it.
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    ) as process:  # fmt: skip
        try:
            said, complained = process.communicate(timeout=section.limit_s)
        except BaseException:
            os.killpg(process.pid, 9)
            raise
    if process.returncode:
        say(complained[-COMPLAINT:])
        raise subprocess.CalledProcessError(process.returncode, words)
    return {key: Found(**value) for key, value in json.loads(said).items()}


def say(text: str) -> None:
    sys.stderr.write(f"{text}\n")
    sys.stderr.flush()


if __name__ == "__main__":
    sys.exit(main())
