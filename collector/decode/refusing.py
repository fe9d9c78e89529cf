"""How a decoder's helpers give up: one exception that carries the refusal."""

from __future__ import annotations

from collector.arrival import Refusal


class NotTaken(Exception):
    """The bytes, or one value in them, are not taken; `refusal` says why and what is allowed."""

    def __init__(self, kind: str, text: str) -> None:
        super().__init__(text)
        self.refusal = Refusal(kind, text)


def shown(payload: bytes) -> str:
    """The beginning of the bytes, with anything that could harm a log or a page spelt out."""
    return repr(payload[:60])[1:]
