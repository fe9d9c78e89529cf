"""Charts in files of their own: one .html each, with everything it needs inside, to be opened without a network."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path
from typing import Any

from dashboard.assessment import Assessment
from dashboard.cli.errors import CommandError
from dashboard.display import View

TOKEN = re.compile(r"--([a-z]+):\s*(#[0-9A-Fa-f]{6})")


def write_panel_chart(answer: Assessment, view: View, path: Path) -> None:
    """The panel page's chart. Raises CommandError if there is nothing to draw or the file cannot be written."""
    from dashboard.chart_data import chart_data
    from dashboard.figures import figure

    if answer.curve is None:
        raise CommandError("there is nothing to draw: the panel's temperature is not known")
    write_figure(_coloured(figure(answer, chart_data(answer, answer.curve), [], view), _light()), path)


def write_figure(figure: dict[str, Any], path: Path) -> None:
    """A Plotly figure as one file. Raises CommandError if it cannot be written."""
    import plotly.graph_objects as go

    try:
        go.Figure(figure).write_html(path, include_plotlyjs=True)
    except OSError as error:
        raise CommandError(f"{path}: cannot be written ({error.strerror})") from error


def _light() -> dict[str, str]:
    """The light theme's colours; the first value that the style sheet gives a name is the light one."""
    sheet = (files("dashboard") / "static" / "coldshed.css").read_text(encoding="utf-8")
    colours: dict[str, str] = {}
    for name, colour in TOKEN.findall(sheet):
        colours.setdefault(name, colour)
    return colours


def _coloured(value: Any, colours: dict[str, str]) -> Any:
    """The figure with "@name" tokens replaced."""
    if isinstance(value, dict):
        return {key: _coloured(item, colours) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_coloured(item, colours) for item in value]
    if isinstance(value, str) and value.startswith("@"):
        return colours[value[1:]]
    return value
