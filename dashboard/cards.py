"""Resin cards on disk: the invented ones that ship, and the shop's own in a `cards` folder beside the settings.

A card of the shop's own replaces a shipped one of the same name. A file that cannot be used is an error with
file, line and key; the other cards are still there.
"""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

from collector.toml_lines import line_of
from model.resin_card import CardError, ResinCard, parse_card


class CardFileError(ValueError):
    """A card's file cannot be used; the text says where, why and what is allowed."""


def read_card(path: Path) -> ResinCard:
    """Reads one card. Raises CardFileError naming file, line and key."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise CardFileError(f"{path}: cannot be read: {error}") from error
    return card_of(text, str(path))


def card_of(text: str, path: str) -> ResinCard:
    """The card in a file's text. Raises CardFileError naming file, line and key."""
    try:
        return replace(parse_card(tomllib.loads(text)), digest=digest_of(text))
    except tomllib.TOMLDecodeError as error:
        raise CardFileError(f"{path}: not TOML: {error}") from error
    except CardError as error:
        key = ".".join(str(part) for part in error.path) or "card"
        raise CardFileError(f"{path}:{line_of(text, error.path)}: {key}: {error.message}") from error


def digest_of(text: str) -> str:
    """SHA-256 of a card's text, hexadecimal."""
    return hashlib.sha256(text.encode()).hexdigest()


class CardShelf:
    """All cards there are. Files are read again when they change, so that a corrected card counts at once."""

    def __init__(self, own: Path | None) -> None:
        self._own = own
        self._read: dict[Path, tuple[int, ResinCard | CardFileError]] = {}

    def names(self) -> list[str]:
        """Ids of the cards that can be used, the shop's own first."""
        own = [card.id for card in self._usable(self._own_files())]
        return own + [card.id for card in self._usable(_shipped()) if card.id not in own]

    def get(self, name: str) -> ResinCard | None:
        """The card called `name`, None if there is none that can be used."""
        for card in (*self._usable(self._own_files()), *self._usable(_shipped())):
            if card.id == name:
                return card
        return None

    def text(self, name: str) -> str | None:
        """The text of the card called `name`, None if there is none that can be used."""
        for path in (*self._own_files(), *_shipped()):
            if isinstance(card := self._load(path), ResinCard) and card.id == name:
                return path.read_text(encoding="utf-8")
        return None

    def facts(self) -> dict[str, tuple[float, float]]:
        """By id the least and the greatest temperature that a card covers, degC."""
        cards = (card for name in self.names() if (card := self.get(name)) is not None)
        return {card.id: (card.minimum_C, card.maximum_C) for card in cards}

    def errors(self) -> list[str]:
        """What is wrong with files of the shop's own."""
        return [
            str(found) for path in self._own_files() if isinstance(found := self._load(path), CardFileError)
        ]

    def replaced(self) -> list[tuple[Path, str]]:
        """Files of the shop's own whose card has the id of a shipped one, or of another file before it."""
        taken, found = {card.id for card in self._usable(_shipped())}, []
        for path in self._own_files():
            if isinstance(card := self._load(path), ResinCard):
                if card.id in taken:
                    found.append((path, card.id))
                taken.add(card.id)
        return found

    def _own_files(self) -> list[Path]:
        return sorted(self._own.glob("*.toml")) if self._own and self._own.is_dir() else []

    def _usable(self, paths: list[Path]) -> list[ResinCard]:
        return [card for path in paths if isinstance(card := self._load(path), ResinCard)]

    def _load(self, path: Path) -> ResinCard | CardFileError:
        changed = path.stat().st_mtime_ns
        known = self._read.get(path)
        if known is None or known[0] != changed:
            try:
                known = (changed, read_card(path))
            except CardFileError as error:
                known = (changed, error)
            self._read[path] = known
        return known[1]


def _shipped() -> list[Path]:
    return sorted(
        Path(str(item))
        for item in files("model").joinpath("resin_cards").iterdir()
        if item.name.endswith(".toml")
    )
