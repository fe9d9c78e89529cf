"""JSON as a hostile stranger may send it: one strict reading of the bytes, or one sentence why there is none.

Standard: RFC 8259, in UTF-8 without a byte order mark. Beyond it we refuse what Python's reader lets through
and what two readers could understand differently: duplicate keys (RFC 8259 section 4), NaN and Infinity,
numbers too large for a double. Size and depth are limited so that no payload costs more than a moment.

A payload that a fast parser takes, and that plainly has none of that, is done with; any other is read again by
the strict one, which is slower and says what is wrong. A test holds the two to the same documents.
"""

from __future__ import annotations

import json
import math
import re

from pydantic_core import from_json

from collector.arrival import Refusal

MAX_BYTES = 64 * 1024
MAX_DEPTH = 16
MAX_DIGITS = 30
HUGE = 1e30
"""Beyond what any probe measures, and what MAX_DIGITS can write."""

_STRING = re.compile(rb'"(?:[^"\\]|\\.)*"', re.DOTALL)
_BLANK_AFTER_QUOTE = re.compile(rb'"[ \t\n\r]+:')
_NOT_BRACKET = re.compile(rb"[^\[\]{}]+")


class NotUsable(Exception):
    """The payload is not JSON that can be used; `refusal` says why and what is allowed."""

    def __init__(self, kind: str, text: str) -> None:
        super().__init__(text)
        self.refusal = Refusal(kind, text)


class _Unclear(ValueError):
    """Valid for Python's reader, but not one clear value."""


def load(payload: bytes) -> object:
    """The document, with finite numbers only. Raises NotUsable, and nothing else, for any bytes."""
    if len(payload) > MAX_BYTES:
        return strictly(payload)
    try:
        document = from_json(payload, allow_inf_nan=False)
        # A key's closing quote stands right before its colon unless there is white space after quotes.
        if payload.count(b'":') == _keys(document, 1) and not _BLANK_AFTER_QUOTE.search(payload):
            return document
    except ValueError:
        pass  # the strict reader knows why, or takes it
    return strictly(payload)


def plain_table(payload: bytes) -> dict[str, object] | None:
    """A small object without objects or lists in it; None if it is anything else, or had better be asked of load().

    No key stands in it twice: it has as many as there are colons. A number may be infinite: see HUGE.
    """
    if len(payload) > MAX_BYTES:
        return None
    try:
        table = from_json(payload, allow_inf_nan=False)
    except ValueError:
        return None
    if type(table) is dict and len(table) == payload.count(b":") and b"[" not in payload:
        return table
    return None


def _keys(document: object, depth: int) -> int:
    """How many keys all its objects have. Raises ValueError for what the strict reader might refuse."""
    if isinstance(document, dict | list):
        if depth > MAX_DEPTH:
            raise ValueError("deep")
        own, inner = (len(document), document.values()) if isinstance(document, dict) else (0, document)
        return own + sum([_keys(item, depth + 1) for item in inner if type(item) is not str])
    if isinstance(document, float | int) and not -HUGE < document < HUGE:
        raise ValueError("large")
    return 0


def strictly(payload: bytes) -> object:
    """Like load(), always with the strict parser."""
    if len(payload) > MAX_BYTES:
        raise NotUsable("too large", f"{len(payload)} bytes; allowed: up to {MAX_BYTES}")
    if _depth(payload) > MAX_DEPTH:
        raise NotUsable("too deep", f"nested more than {MAX_DEPTH} levels deep; allowed: up to {MAX_DEPTH}")
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError as error:
        raise NotUsable("not JSON", f"byte {error.start} is not UTF-8; allowed: JSON in UTF-8") from error
    if not text.strip():
        raise NotUsable("empty", "an empty payload; allowed: a JSON document")
    try:
        return json.loads(
            text,
            object_pairs_hook=_pairs,
            parse_float=_float,
            parse_int=_int,
            parse_constant=_constant,
        )
    except _Unclear as error:
        raise NotUsable("not clear", str(error)) from error
    except ValueError as error:
        raise NotUsable("not JSON", f"not JSON: {error}; allowed: RFC 8259 in UTF-8") from error


def _depth(payload: bytes) -> int:
    """How deep the brackets outside of strings go, counted before any reader recurses into them."""
    deepest = now = 0
    for bracket in _NOT_BRACKET.sub(b"", _STRING.sub(b"", payload)):
        now += 1 if bracket in b"[{" else -1
        deepest = max(deepest, now)
    return deepest


def _pairs(pairs: list[tuple[str, object]]) -> dict[str, object]:
    table = dict(pairs)
    if len(table) != len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise _Unclear(f"the key {twice[:60]!r} stands twice in one object; allowed: once")
    return table


def _float(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise _Unclear(f"the number {text[:40]} is larger than a double can hold")
    return value


def _int(text: str) -> int:
    if len(text) > MAX_DIGITS:
        raise _Unclear(f"a number of {len(text)} digits; allowed: up to {MAX_DIGITS}")
    return int(text)


def _constant(text: str) -> float:
    raise _Unclear(f"{text} is not a number; allowed: finite numbers")
