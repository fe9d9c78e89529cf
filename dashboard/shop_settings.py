"""What the shop is set to, as plain lines for the page: made from the settings by whoever may read them.

No password, address of a person, or token stands in any of it.
"""

from __future__ import annotations

from dataclasses import dataclass

from model.verdict import Say


@dataclass(frozen=True)
class Line:
    """One setting. `line`: of the settings file; None: it is not in the file. `fixed`: it cannot be set at all."""

    name: str
    value: Say | str
    line: int | None = None
    fixed: bool = False


@dataclass(frozen=True)
class Group:
    """Lines under one heading."""

    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class ShopSettings:
    """All of them; `file` as a person would name it."""

    file: str
    groups: tuple[Group, ...]
