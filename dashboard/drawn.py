"""Pieces of a page as HTML, each by what it shows: of many panels few have changed since the page before."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from jinja2 import Environment
from markupsafe import Markup


class Drawn:
    """Of one template; keeps the pieces of the last page. Safe to call from several threads: at worst a piece is
    drawn twice.
    """

    def __init__(self, templates: Environment, name: str) -> None:
        self._templates, self._name = templates, name
        self._kept: dict[tuple[Any, ...], Markup] = {}

    def all(self, pieces: Iterable[dict[str, Any]]) -> Markup:
        """One below the other; each by the values, all hashable, that its template takes."""
        template, before, now = self._templates.get_template(self._name), self._kept, []
        kept: dict[tuple[Any, ...], Markup] = {}
        for values in pieces:
            key = tuple(values.values())
            kept[key] = before.get(key) or Markup(template.render(values).rstrip("\n"))
            now.append(kept[key])
        self._kept = kept
        return Markup("\n").join(now)
