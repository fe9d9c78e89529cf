"""Takes keys out of one table of a parsed card, and says where and why when it cannot."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

Path = tuple[str | int, ...]


class CardError(Exception):
    """A card that cannot be used: `path` names the key, tables first; `message` what is wrong and the fix."""

    def __init__(self, path: Path, message: str) -> None:
        super().__init__(f"{'.'.join(str(part) for part in path) or 'card'}: {message}")
        self.path = path
        self.message = message


class Table:
    """One table of the card; each method takes one key out of it or says what is wrong with it."""

    def __init__(self, raw: Mapping[str, Any], path: Path, allowed: Iterable[str]) -> None:
        self._raw = raw
        self._path = path
        for key in raw:
            if key not in allowed:
                raise CardError((*path, key), f"unknown key; {_nearest(key, allowed)}")

    def __contains__(self, key: str) -> bool:
        return key in self._raw

    def table(self, key: str, allowed: Iterable[str]) -> Table:
        value = self._raw.get(key, {})
        if not isinstance(value, Mapping):
            raise CardError((*self._path, key), f"must be a table: write [{key}] above its keys")
        return Table(value, (*self._path, key), allowed)

    def tables(self, key: str, allowed: Iterable[str]) -> list[Table]:
        """The tables under [[key]], in the file's order; none if the key is left out."""
        value = self._raw.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
            raise CardError((*self._path, key), f"must be a list of tables: write [[{key}]] above each one")
        return [Table(item, (*self._path, key, index), allowed) for index, item in enumerate(value)]

    def wrong(self, key: str, message: str) -> CardError:
        """An error about one key of this table, to be raised."""
        return CardError((*self._path, key), message)

    def text(self, key: str) -> str:
        value = self._need(key)
        if not isinstance(value, str) or not value.strip():
            raise self._wrong(key, value, "a text in quotes, not empty")
        return value.strip()

    def word(self, key: str, allowed: tuple[str, ...]) -> str:
        value = self._need(key)
        if value not in allowed:
            raise self._wrong(key, value, " or ".join(f'"{word}"' for word in allowed))
        return str(value)

    def flag(self, key: str) -> bool:
        value = self._need(key)
        if not isinstance(value, bool):
            raise self._wrong(key, value, "true or false, without quotes")
        return value

    def number(self, key: str, low: float, high: float) -> float:
        return self._number(key, self._need(key), low, high)

    def optional(self, key: str, low: float, high: float) -> float | None:
        return self.number(key, low, high) if key in self._raw else None

    def range(self, key: str, low: float, high: float) -> tuple[float, float]:
        """A number, or a list [lower, upper] of two."""
        value = self._need(key)
        if not isinstance(value, list):
            number = self._number(key, value, low, high)
            return number, number
        if len(value) != 2:
            raise self._wrong(key, value, "one number, or a range [lower, upper]")
        first, last = (self._number(key, item, low, high) for item in value)
        if first > last:
            raise CardError((*self._path, key), f"range runs backwards: write [{last:g}, {first:g}]")
        return first, last

    def _need(self, key: str) -> Any:
        if key not in self._raw:
            raise CardError((*self._path, key), "missing: every card must give it")
        return self._raw[key]

    def _number(self, key: str, value: Any, low: float, high: float) -> float:
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
            raise self._wrong(key, value, "a number without quotes; the unit belongs to the key's name")
        if not low <= value <= high:
            raise self._wrong(key, value, f"between {low:g} and {high:g}")
        return float(value)

    def _wrong(self, key: str, value: Any, allowed: str) -> CardError:
        return CardError((*self._path, key), f"got {value!r}; allowed: {allowed}")


def _nearest(word: str, allowed: Iterable[str]) -> str:
    names = list(allowed)
    for name in names:
        if name.startswith(f"{word}_"):
            return f"write {name!r}: the unit belongs to the name"
    best = max(names, key=lambda name: _likeness(word, name))
    return f"did you mean {best!r}?" if _likeness(word, best) >= 0.5 else "allowed here: " + ", ".join(names)


def _likeness(one: str, other: str) -> float:
    """Share of letter pairs two words have in common (Dice), 0 to 1."""
    pairs, others = ({word[i : i + 2] for i in range(len(word) - 1)} for word in (one.lower(), other.lower()))
    return 2.0 * len(pairs & others) / max(len(pairs) + len(others), 1)
