"""Turns the errors a person can do something about into one line on standard error and exit code 1."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from collector.settings import SettingsError
from collector.store.schema import MAY_PASS, StoreError
from collector.store.trouble import kind_of


class CommandError(Exception):
    """A command cannot do what it was asked; the text says why and what is allowed."""


@dataclass
class Outcome:
    code: int = 1


@contextmanager
def explained() -> Iterator[Outcome]:
    """Everything else is a defect of ours and keeps its traceback."""
    outcome = Outcome()
    try:
        yield outcome
    except MAY_PASS as error:
        print(
            f"coldshed: {kind_of(error).value} ({error}): mend that, then try again",
            file=sys.stderr,
        )
        outcome.code = 1
    except BrokenPipeError:
        # Whoever read our output has gone, e.g. `head`: nothing more can be said, and nothing is wrong.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        outcome.code = 130
    except Exception as error:
        if not isinstance(error, _told()):
            raise
        print(f"coldshed: {error}", file=sys.stderr)
        outcome.code = 1


def _told() -> tuple[type[Exception], ...]:
    """Whose text is for people. Imported only now: a process that runs for weeks would hold all that comes with it."""
    from dashboard.cards import CardFileError
    from dashboard.record.used import RecordError
    from dashboard.step_check import LogbookError

    return CommandError, SettingsError, StoreError, CardFileError, LogbookError, RecordError
