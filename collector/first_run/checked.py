"""What a person typed, as checked tables; what is wrong with it in words for a form, which has no lines and no keys."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from collector.first_run.facts import CannotSetUp
from collector.first_run.text import quoted
from collector.settings import Settings, SettingsError, parse
from collector.source_tables import Table

T = TypeVar("T", bound=Table)


def made(table: type[T], **values: Any) -> T:
    """A table of checked values. Raises CannotSetUp in words."""
    try:
        return table(**values)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "this"
        message = str(first["msg"]).removeprefix("Value error, ")
        if first["type"] == "string_pattern_mismatch":
            message = "up to 64 characters, none of them / + #"
        raise CannotSetUp(f"{where} {first['input']!r}: {message}") from error


def named(site: str, time_zone: str) -> Settings:
    """Settings of that name and zone. Raises CannotSetUp in words."""
    try:
        return parse(f"site = {quoted(site)}\ntime_zone = {quoted(time_zone)}\n", Path("set-up"))
    except SettingsError as error:
        raise CannotSetUp(_without_lines(error)) from error


def _without_lines(error: SettingsError) -> str:
    """A person on a form has neither lines nor keys."""
    text = re.sub(r"^set-up:\d+: \w+: ", "", str(error), flags=re.MULTILINE)
    return re.sub(r"String should match pattern.*", "a name has no / + # and no control characters", text)
