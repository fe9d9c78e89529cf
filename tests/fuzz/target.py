"""What can be fed: see tests/fuzz/targets.py."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass


@dataclass(frozen=True)
class Target:
    """feed takes any bytes and raises for none; seeds are good input, to be spoilt; reads: modules it covers."""

    feed: Callable[[bytes], None]
    seeds: tuple[bytes, ...]
    reads: tuple[str, ...]


def unless(error: type[Exception], feed: Callable[[bytes], object]) -> Callable[[bytes], None]:
    """Feeds, and takes the reader's own way to refuse."""

    def fed(data: bytes) -> None:
        with suppress(error):
            feed(data)

    return fed
