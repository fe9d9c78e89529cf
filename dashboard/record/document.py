"""The record as one JSON document, and whether such a document is what it says it is."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from dashboard.record.results import Results
from dashboard.record.used import FORMAT, Json, RecordError, Used
from dashboard.record.work_out import work_out

RELATIVE = 1e-9
"""So far may a number be from what it is worked out to again: another processor rounds its last bits otherwise."""


def document(used: Used, results: Results | None = None) -> Json:
    """`results` if they were worked out already."""
    made: Json = {"format": FORMAT, "used": used.to_json(), "results": (results or work_out(used)).to_json()}
    return made | {"sha256": digest(made)}


def digest(made: Mapping[str, Any]) -> str:
    """SHA-256, hexadecimal, of the document without its own digest: keys sorted, no spaces, UTF-8 (RFC 8259)."""
    rest = {name: value for name, value in made.items() if name != "sha256"}
    text = json.dumps(rest, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def to_text(made: Mapping[str, Any]) -> str:
    """The document's file."""
    return json.dumps(made, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"


def read(path: Path) -> Json:
    """A record's file. Raises RecordError for one that cannot be read or is no record of ours."""
    try:
        made = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise RecordError(f"{path}: cannot be read: {error}") from error
    except (ValueError, RecursionError) as error:
        raise RecordError(f"{path}: not JSON, or cut off ({error}): write the record anew") from error
    if not isinstance(made, dict) or not {"format", "used", "results", "sha256"} <= made.keys():
        raise RecordError(f"{path}: no record of ours: take what 'coldshed record PANEL --json' writes")
    if made["format"] != FORMAT:
        raise RecordError(
            f"{path}: a record of format {made['format']!r}; this release reads {FORMAT}: use the release that wrote it"
        )
    return made


def differing(made: Mapping[str, Any]) -> Iterator[str]:
    """Everything in a document that is not what its own readings and entries come to, in words.

    Raises RecordError if nothing can be worked out from it.
    """
    used = Used.from_json(made["used"])
    if made["sha256"] != digest(made):
        yield "the record was altered after it was written: its digest is not that of its content"
    for raw, series in zip(made["used"]["series"], used.series, strict=True):
        n, sha256 = series.digest()
        if (raw["n"], raw["sha256"]) != (n, sha256):
            yield f"readings of {series.probe}, {series.quantity.value}: altered, {n} of {raw['n']} are there"
    try:
        found = work_out(used).to_json()
    except (KeyError, TypeError, ValueError) as error:
        raise RecordError(
            f"its entries make no panel any more ({error!r}): the record was altered"
        ) from error
    yield from _unlike("", made["results"], found)


def _unlike(where: str, told: Any, found: Any) -> Iterator[str]:
    """Each number or word that differs, by its place."""
    if isinstance(found, dict) and isinstance(told, dict):
        for name in sorted(found.keys() | told.keys()):
            yield from _unlike(f"{where}.{name}" if where else name, told.get(name), found.get(name))
    elif isinstance(found, list) and isinstance(told, list) and len(found) == len(told):
        for index, (one, other) in enumerate(zip(told, found, strict=True), start=1):
            yield from _unlike(f"{where}[{index}]", one, other)
    elif not _alike(told, found):
        yield f"{where}: the record says {_short(told)}, its readings come to {_short(found)}"


def _alike(told: Any, found: Any) -> bool:
    if isinstance(found, float) and isinstance(told, (int, float)) and not isinstance(told, bool):
        return math.isclose(told, found, rel_tol=RELATIVE, abs_tol=RELATIVE)
    return type(told) is type(found) and bool(told == found)


def _short(value: Any) -> str:
    if isinstance(value, Sequence) and not isinstance(value, str):
        return f"{len(value)} values"
    return "nothing" if value is None else f"{value!r}"
