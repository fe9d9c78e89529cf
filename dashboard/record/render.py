"""The record as HTML: with style sheets of the server, or all in one file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from dashboard.display import View
from dashboard.record.page import page
from dashboard.record.results import Results
from dashboard.record.used import Used
from dashboard.words import LABELS, RECORD

SHOWN_HASH = 16
"""Digits of the record's digest on every sheet; all of it stands on the last."""


def html(
    used: Used,
    results: Results,
    sha256: str,
    view: View,
    *,
    invented: bool = False,
    sheets: Mapping[str, str] | None = None,
) -> str:
    """One whole page. `sheets`: "v" and "margins" of the server that has the style; None: put it into the page."""
    made = page(used, results, sha256, view)
    style: dict[str, Any] = {"css": "", "v": "", "margins": ""}
    if sheets is None:
        style["css"] = Markup(_css() + margins(made.title, sha256))
    return _environment().get_template("record.html").render(
        p=made, r=RECORD, invented=LABELS["invented"] if invented else "", unproven=LABELS["unproven"],
        **style | dict(sheets or {}),
    )  # fmt: skip


def margins(title: str, sha256: str) -> str:
    """What stands on the edge of every sheet: what record this is, its digest, and the page's number."""
    font = 'font: 10pt system-ui, "DejaVu Sans", sans-serif'
    number = f'"{RECORD["page_of"]} " counter(page) " {RECORD["of"]} " counter(pages)'
    boxes = {
        "@top-left": _string(title),
        "@bottom-left": _string(f"SHA-256 {sha256[:SHOWN_HASH]}"),
        "@bottom-right": number,
    }
    return "@page {" + "".join(f"{at} {{ content: {text}; {font}; }}" for at, text in boxes.items()) + "}"


def _string(text: str) -> str:
    """A CSS string; whatever could end it, or a style element, as an escape (CSS Syntax 3, 4.3.7)."""
    return '"' + re.sub(r"[^A-Za-z0-9 .:,-]", lambda found: f"\\{ord(found[0]):x} ", text) + '"'


@cache
def _css() -> str:
    return files("dashboard").joinpath("static/record.css").read_text(encoding="utf-8")


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("dashboard"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
