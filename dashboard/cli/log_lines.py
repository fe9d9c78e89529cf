"""Lines of the log, one for each thing told: what a file, a topic or a name says cannot begin a line of its own."""

from __future__ import annotations

import logging
import re
import sys
import unicodedata

UNSEEN = frozenset({"Cc", "Cf", "Zl", "Zp", "Cs", "Co", "Cn"})
"""Unicode's categories of controls, marks that turn the direction of writing, and line ends."""


class OneLine(logging.Formatter):
    """Controls in a message are written as escapes; lines of a traceback stand behind a bar (ASVS 5.0.0, 16.4.1)."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(name)s: %(message)s", "%Y-%m-%dT%H:%M:%S%z")

    def formatMessage(self, record: logging.LogRecord) -> str:
        record.message = escaped(record.message)
        return super().formatMessage(record)

    def formatException(self, ei: logging._SysExcInfoType) -> str:
        return "\n".join(
            f"  | {escaped(line)}" for line in re.split(r"\r\n|\r|\n", super().formatException(ei))
        )


def escaped(text: str) -> str:
    """As it reads, on one line."""
    return "".join(
        letter if unicodedata.category(letter) not in UNSEEN else ascii(letter)[1:-1] for letter in text
    )


def begin() -> None:
    """From now on what is logged goes to stderr in such lines."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(OneLine())
    logging.basicConfig(level=logging.INFO, handlers=[handler])
