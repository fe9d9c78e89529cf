"""Hands a message to the Apprise library, which knows how to reach mail, phones and machines by an address.

An address may hold a password: it is read when it is needed, kept nowhere, and never logged. The library is imported
only here and only when something is sent: a shop without notices needs no such library.
"""

from __future__ import annotations

import logging
import re
import warnings
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from dashboard.notice_words import Message

LOUD = ("apprise", "urllib3.connectionpool", "urllib3.util.retry", "requests")
"""Libraries whose log lines may hold an address."""


class AddressError(OSError):
    """An address cannot be used; the text says whose, why and what to do, and does not hold it."""


class _Quiet(logging.Filter):
    """Lets no line of a library through, whatever its level; keeps only the number of an answer that was refused.

    The library sends on threads of its own, so it is the last number that anybody was told; two attempts that fail in
    the same instant may swap theirs. Nothing but a word to a person hangs on it.
    """

    def __init__(self) -> None:
        super().__init__()
        self.answer = ""

    def filter(self, record: logging.LogRecord) -> bool:
        found = re.search(r"error=(\d{3})\b", record.getMessage())
        if found:
            self.answer = found[1]
        return False


_QUIET = _Quiet()


class Apprise:
    """Sends to people by name. `addresses`: by name a function that reads them anew; it may raise AddressError."""

    def __init__(self, addresses: Mapping[str, Callable[[], Sequence[str]]]) -> None:
        self._addresses = addresses
        for name in LOUD:
            logging.getLogger(name).addFilter(_QUIET)

    def __call__(self, name: str, message: Message) -> str | None:
        """None once every address of that name has taken it; else why not, without any address."""
        try:
            listed = self._addresses[name]()
            targets = [self._target(name, number, one) for number, one in enumerate(listed, start=1)]
        except AddressError as error:
            return str(error)
        for number, target in enumerate(targets, start=1):
            _QUIET.answer = ""
            if not target.notify(title=message.title, body=message.body, body_format="text"):
                said = _QUIET.answer
                return f"address {number} answers {said}" if said else f"address {number} did not take it"
        return None

    @staticmethod
    def _target(name: str, number: int, address: str) -> Any:
        library = _library()
        target = library.Apprise()
        with warnings.catch_warnings():
            # Its first address loads every kind of target there is, some of which warn of what they need.
            warnings.simplefilter("ignore")
            understood = target.add(address)
        if not understood:
            raise AddressError(
                f"address {number} of {name} is none that the Apprise library knows: write it as its pages show,"
                " such as json://127.0.0.1:8080/path"
            )
        return target


def check_addresses(name: str, addresses: Sequence[str]) -> None:
    """Raises AddressError for one that cannot be used; sends nothing."""
    for number, address in enumerate(addresses, start=1):
        Apprise._target(name, number, address)


def _library() -> Any:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import apprise
    except ImportError as error:
        raise AddressError("the Apprise library is missing: install coldshed[notices]") from error
    return apprise
