"""Questions in a terminal: each with a default, asked again with what is allowed, left at any moment. Plain text."""

from __future__ import annotations

import getpass
import os
import select
import sys
from collections.abc import Callable, Sequence
from typing import TypeVar

T = TypeVar("T")


class Left(Exception):
    """The person has gone: end of input, or Ctrl-C."""


class Terminal:
    """Standard input and output, also a pipe."""

    def __init__(self) -> None:
        self._rest = b""

    def tell(self, text: str = "") -> None:
        print(text, flush=True)

    def ask(self, question: str, default: str = "") -> str:
        """What is typed; `default` for an empty line. Raises Left."""
        shown = f"{question} [{default}] " if default else f"{question} "
        print(shown, end="", flush=True)
        return self._line().strip() or default

    def secret(self, question: str) -> str:
        """What is typed, not shown where that can be had. Raises Left."""
        if not sys.stdin.isatty():
            return self.ask(question)
        try:
            return getpass.getpass(f"{question} ")
        except (EOFError, KeyboardInterrupt) as error:
            raise Left from error

    def until(self, question: str, default: str, check: Callable[[str], T]) -> T:
        """Asks until `check` takes the answer; what it raises says what is allowed. Raises Left."""
        while True:
            try:
                return check(self.ask(question, default))
            except ValueError as error:
                self.tell(f"  {error}")

    def choose(self, question: str, texts: Sequence[str], default: int = 1) -> int:
        """A number from 1; each choice stands on a line of its own. Raises Left."""
        for n, text in enumerate(texts, start=1):
            self.tell(f"  {n}  {text}")

        def check(said: str) -> int:
            if said.isdigit() and 1 <= int(said) <= len(texts):
                return int(said)
            raise ValueError(f"allowed: 1 to {len(texts)}")

        return self.until(question, str(default), check)

    def yes(self, question: str, default: bool = True) -> bool:
        """y or n. Raises Left."""

        def check(said: str) -> bool:
            word = said.lower()
            if word in ("y", "yes", "n", "no"):
                return word[0] == "y"
            raise ValueError("allowed: y or n")

        return self.until(f"{question} (y/n)", "y" if default else "n", check)

    def pressed(self, seconds: float) -> bool:
        """True once Enter was pressed, False after `seconds` without. Raises Left."""
        try:
            if b"\n" not in self._rest and not select.select([0], [], [], seconds)[0]:
                return False
            self._line()
        except KeyboardInterrupt as error:
            raise Left from error
        return True

    def _line(self) -> str:
        """Read by ourselves: a line that waits in Python's own buffer would not be seen by select()."""
        try:
            while b"\n" not in self._rest:
                came = os.read(0, 4096)
                if not came:
                    raise Left
                self._rest += came
        except KeyboardInterrupt as error:
            raise Left from error
        line, _, self._rest = self._rest.partition(b"\n")
        return line.decode("utf-8", "replace")
