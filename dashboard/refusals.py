"""Tells the log what was refused and who had asked: OWASP ASVS 5.0.0, 16.3.3."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from http import HTTPStatus
from logging import getLogger

from starlette.datastructures import Headers
from starlette.types import Scope

log = getLogger("coldshed.door")
EVERY_S = 60.0
LONGEST = 100
TOLD = frozenset({400, 403, 405, 408, 409, 413, 415, 421, 422, 429, 431})
"""Statuses of requests that nobody makes by the pages alone; a page of a stranger or one that is not there is none."""


class Refusals:
    """One line a minute for each status, with how many had none since: nobody fills a disk by asking. For one thread.

    steady   seconds of a clock that is never set
    """

    def __init__(self, steady: Callable[[], float]) -> None:
        self._steady = steady
        self._next_s: dict[int, float] = {}
        self._untold = Counter[int]()

    def tell(self, status: int, scope: Scope) -> None:
        """What came from outside stands in quotes and is cut; an address without what follows its "?"."""
        now = self._steady()
        if now < self._next_s.get(status, now):
            self._untold[status] += 1
            return
        self._next_s[status] = now + EVERY_S
        headers, untold = Headers(scope=scope), self._untold.pop(status, 0)
        told = [f"refused: {status} {HTTPStatus(status).phrase}", _who(scope)]
        told.append(f"{scope['method'][:10]} {scope['path'][:LONGEST]!r}")
        told += [f"{name} {headers[name][:LONGEST]!r}" for name in ("host", "origin") if name in headers]
        log.warning(
            "%s", " · ".join([*told, *([f"{untold} more since the last such line"] if untold else [])])
        )


def _who(scope: Scope) -> str:
    """As the door has it, if it was asked; else whom the connection is with."""
    address = scope.get("state", {}).get("address") or (scope.get("client") or ("",))[0]
    return str(address)
