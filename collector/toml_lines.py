"""Finds the line on which a key of a TOML file stands, so that an error can point at it.

tomllib gives values without positions. This scanner reads only table headers and bare keys, which is what
our settings files and resin cards are made of; for anything it does not recognise it answers with the
nearest enclosing table's line, never with a wrong key's line.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence

_HEADER = re.compile(r"^\s*(\[\[|\[)\s*([A-Za-z0-9_.\-\"' ]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"^\s*([A-Za-z0-9_\-]+|\"[^\"]*\"|'[^']*')((?:\s*\.\s*[A-Za-z0-9_\-]+)*)\s*=")

Path = Sequence[str | int]
LISTED = 12
"""Names told when none is near."""


def line_of(text: str, path: Path) -> int:
    """1-based line of `path` (keys; after an array of tables' name the entry's index); 1 if unknown."""
    want = [str(part) for part in path]
    best, best_depth = 1, 0
    table: list[str] = []
    counts: dict[tuple[str, ...], int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = _resolve([_bare(part) for part in header[2].split(".")], header[1] == "[[", counts)
            depth = _shared(table, want)
            if depth == len(table) and depth > best_depth:
                best, best_depth = number, depth
        elif key := _KEY.match(line):
            here = [*table, *(_bare(part) for part in (key[1] + key[2]).split("."))]
            depth = _shared(here, want)
            if depth == len(here) and depth > best_depth:
                best, best_depth = number, depth
    return best


def nearest(word: str, allowed: Iterable[str]) -> str:
    """'did you mean X?' or 'allowed: A, B': the end of an error about an unknown word."""
    names = sorted(allowed)
    close = difflib.get_close_matches(word, names, n=1, cutoff=0.6)
    if close:
        return f"did you mean {close[0]!r}?"
    rest = f" and {len(names) - LISTED} more" if len(names) > LISTED else ""
    return "allowed here: " + ", ".join(names[:LISTED]) + rest


def _resolve(parts: list[str], array: bool, counts: dict[tuple[str, ...], int]) -> list[str]:
    """The header's path with the index of every array of tables on its way put in."""
    path: list[str] = []
    for position, part in enumerate(parts):
        path.append(part)
        key = tuple(path)
        last = position == len(parts) - 1
        if array and last:
            counts[key] = counts.get(key, -1) + 1
        if key in counts:
            path.append(str(counts[key]))
    return path


def _bare(part: str) -> str:
    return part.strip().strip("\"'")


def _shared(here: Sequence[str], want: Sequence[str]) -> int:
    """How many leading parts agree."""
    count = 0
    for a, b in zip(here, want, strict=False):
        if a != b:
            break
        count += 1
    return count
