"""The colours of coldshed.css itself: read in every light, and told apart by every eye."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import pytest

from tests.colour import DEFICIENCIES, contrast, difference, linear, seen

STATIC = Path(__file__).parents[2] / "dashboard" / "static"
CSS, PAGES = ((STATIC / name).read_text(encoding="utf-8") for name in ("coldshed.css", "pages.css"))
LIGHTS = {"light": ":root", "dark": ':root[data-theme="dark"]', "sun": ':root[data-theme="sun"]'}
TEXT = (
    *((ink, ground) for ink in ("ink", "soft", "link") for ground in ("paper", "strip")),
    *(
        ("paper", "ink"),
        ("onact", "act"),
        ("ongo", "go"),
        ("oncare", "care"),
        ("tg", "strip"),
        ("ink", "tint"),
    ),
)
"""What is written on what; the ink bar of an alarm, a chosen button and a toast are paper on ink."""
DRAWN = (
    *(("line", "paper"), ("line", "strip"), ("air", "strip"), ("dew", "strip"), ("go", "tint")),
    *(("ink", "paper"), ("ink", "strip"), ("link", "paper"), ("link", "strip")),
)
"""Edges of what can be tapped or filled in, the chart's lines, and the ring around what has focus."""
FILLS = ("act", "go", "care")
APART, FROM_THE_STRIP, IN_GREY = 30.0, 20.0, 12.0
"""CIEDE2000 and L*: our own limits. A just noticeable difference is about 1 (common practice, no source)."""


def tokens(light: str) -> dict[str, str]:
    block = CSS.split(f"{LIGHTS[light]} {{")[1].split("\n}")[0]
    return dict(re.findall(r"--(\w+): (#\w+);", block))


@pytest.mark.parametrize("light", LIGHTS)
def test_every_text_is_legible_and_every_edge_is_seen(light: str) -> None:
    """WCAG 2.2: 4.5 for text (1.4.3), 3 for what is not text (1.4.11)."""
    found = tokens(light)
    for pairs, least in ((TEXT, 4.5), (DRAWN, 3.0)):
        for one, other in pairs:
            assert contrast(found[one], found[other]) >= least, (one, other)


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize("deficiency", [None, *DEFICIENCIES])
def test_kinds_of_strips_are_told_apart_by_every_eye(light: str, deficiency: str | None) -> None:
    found = {name: seen(linear(value), deficiency) for name, value in tokens(light).items()}
    for one, other in combinations(FILLS, 2):
        assert difference(found[one], found[other]) >= APART, (one, other)
    for fill in FILLS:
        assert difference(found[fill], found["strip"]) >= FROM_THE_STRIP, fill


@pytest.mark.parametrize("light", LIGHTS)
def test_kinds_of_strips_are_told_apart_in_grey(light: str) -> None:
    grey = {name: float(seen(linear(value))[0]) for name, value in tokens(light).items()}
    for one, other in combinations((*FILLS, "strip"), 2):
        assert abs(grey[one] - grey[other]) >= IN_GREY, (one, other)


def test_no_colour_and_no_size_of_type_stands_outside_the_tokens() -> None:
    rules = CSS.split("/* 2 Ground. */")[1] + PAGES
    assert re.findall(r"#[0-9a-f]{3,6}\b(?=[^{}]*;)", rules) == []
    sizes = set(re.findall(r"font(?:-size)?: ([^;]*rem[^;]*);", rules))
    assert sizes <= {"1rem"}, sizes
