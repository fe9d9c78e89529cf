"""What `coldshed run` becomes once it has read the settings: a process that looks after the others and holds little.

What reads and checks settings takes tens of megabytes; they would be held for weeks by a process that only waits.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping, Sequence
from typing import NoReturn

from collector.heartbeat import Heartbeat
from collector.supervise import Stop, Supervisor, python_command
from dashboard.cli import log_lines

CODE = "import sys; from dashboard.cli.keeper import keep; sys.exit(keep(sys.argv[-1]))"


def become(commands: Mapping[str, Sequence[str]]) -> NoReturn:
    """This process goes on as the supervisor of `commands` (name -> command line).

    It keeps process id, terminal, environment and whoever watches over it; nothing that follows here is run. Raises
    OSError if the interpreter cannot be started.
    """
    words = python_command(
        CODE, ["coldshed", "run", json.dumps(commands)]
    )  # the names are for who lists processes
    sys.stdout.flush()
    sys.stderr.flush()
    os.execv(words[0], words)


def keep(commands: str) -> int:
    """Until a signal. `commands`: as become() wrote them. Returns 0."""
    stop = Stop().on_signals()
    log_lines.begin()
    return Supervisor(json.loads(commands), turned=Heartbeat.of_environment().turned).run(stop)
