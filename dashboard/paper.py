"""Pages made to be printed: no script, always light, one stylesheet, the same when served and as a file."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from dashboard import words
from dashboard.display import View


class Paper:
    """Templates for paper.

    version   of the static files that a served page links to; None for a file that must stand alone
    """

    def __init__(self, site: str, invented: bool, version: str | None = None) -> None:
        self._templates = Environment(
            loader=PackageLoader("dashboard"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        style = (files("dashboard") / "static" / "paper.css").read_text(encoding="utf-8")
        self._templates.globals.update(
            t=words.LABELS,
            cautions=words.CAUTIONS,
            site=site,
            invented=invented,
            v=version,
            style=None if version else style,
        )

    def html(self, template: str, view: View, **values: Any) -> str:
        """One page as text."""
        return self._templates.get_template(template).render(view=view, **values)
