"""The table [notices] of coldshed.toml: who is told of alarms away from the pages, and where their addresses stand.

Addresses hold passwords, so the settings only say where they are: in a file of its own or in the environment. Quiet
hours are not here: people enter those on the pages.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Self

from pydantic import Field, field_validator, model_validator

from collector.source_tables import Name, Table


class NoticeAddressError(OSError):
    """Where an address should stand there is none; the text says whose, why and what to do."""


class Recipient(Table):
    """One who is told.

    name      as the pages show it, for quiet hours
    url_file  a file with one address in each line, read anew each time; or
    url_env   the environment variable that holds one
    """

    name: Name
    url_file: str | None = None
    url_env: str | None = Field(default=None, pattern=r"^[A-Za-z_][A-Za-z0-9_]*$")

    @model_validator(mode="after")
    def _one_place(self) -> Self:
        if (self.url_file is None) == (self.url_env is None):
            raise ValueError("say where the address stands: either url_file or url_env")
        return self


class Notices(Table):
    """Who is told. `public_url` under [serve] goes into each notice, so that a tap leads to the page."""

    to: tuple[Recipient, ...] = Field(min_length=1)

    @field_validator("to")
    @classmethod
    def _names_differ(cls, to: tuple[Recipient, ...]) -> tuple[Recipient, ...]:
        names = [one.name for one in to]
        for index, name in enumerate(names):
            if name in names[:index]:
                raise ValueError(f"two are called {name!r}: each needs a name of its own")
        return to


def addresses(to: Recipient, folder: Path, environment: Mapping[str, str]) -> list[str]:
    """The addresses of one who is told, as they stand there now. Raises NoticeAddressError, which holds none."""
    if to.url_env is not None:
        text, where = environment.get(to.url_env, ""), f"the environment variable {to.url_env}"
    else:
        assert to.url_file is not None
        path = folder / to.url_file
        where = str(path)
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            why = error.strerror if isinstance(error, OSError) else "it is no UTF-8 text"
            raise NoticeAddressError(
                f"notices to {to.name}: {where} cannot be read ({why}): put an address there"
            ) from error
    found = [line.strip() for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not found:
        raise NoticeAddressError(f"notices to {to.name}: no address in {where}: put one there, in one line")
    return found
