"""What has been said so far, kept on disk after every answer: whoever leaves set-up goes on where it was left."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from collector.durable import remove, replace_whole
from collector.first_run.facts import CannotSetUp
from collector.settings import Probe
from collector.source_tables import BrokerLogin, Measured, Name, Table, TimeField, WireName

PRIVATE = 0o600
"""Only the owner reads it: it names a broker's user, and the files beside it hold passwords."""


class SerialWay(Table):
    kind: Literal["serial"] = "serial"
    id: Name
    port: str = Field(min_length=1)
    baud: int = Field(default=115200, ge=300, le=4_000_000)


class BrokerWay(BrokerLogin):
    kind: Literal["mqtt"] = "mqtt"
    id: Name
    topic: tuple[str, ...] = ("#",)


class OneWireWay(Table):
    kind: Literal["one_wire"] = "one_wire"
    id: Name
    folder: str = "/sys/bus/w1/devices"


class FolderWay(Table):
    """A folder with a logger's files, and how they are laid out, as the newest of them shows."""

    kind: Literal["folder"] = "folder"
    id: Name
    folder: str = Field(min_length=1)
    time: TimeField
    delimiter: Literal[",", ";", "\t"] = ","
    decimal: Literal[".", ","] = "."


AnyWay = Annotated[SerialWay | BrokerWay | OneWireWay | FolderWay, Field(discriminator="kind")]


class Meaning(Measured):
    """What a key is where nothing on the wire says so; `scope` as facts.Device has it."""

    way: Name
    scope: str
    key: str = Field(min_length=1, max_length=200)


class LeftOut(Table):
    """A number that is no reading."""

    way: Name
    scope: str
    key: str


class Spot(Probe):
    """A probe as the settings will have it, and where it was heard. `source` is the id of its way here."""

    scope: str
    decode: str
    names: tuple[WireName, ...]
    time: TimeField | None = None


class Draft(Table):
    """All of it. `passed_over`: keys of devices that are no probes of this shop."""

    site: Name | None = None
    time_zone: str | None = None
    ways: tuple[AnyWay, ...] = ()
    meanings: tuple[Meaning, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    spots: tuple[Spot, ...] = ()
    passed_over: tuple[str, ...] = ()


def draft_path(settings: Path) -> Path:
    """Where the draft of a settings file lies."""
    return settings.with_name(settings.name + ".draft")


def read_draft(path: Path) -> Draft:
    """The draft, an empty one if there is none. Raises CannotSetUp for one that cannot be read."""
    try:
        return Draft.model_validate_json(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Draft()
    except OSError as error:
        raise CannotSetUp(
            f"{path}: cannot be read ({error.strerror}): make it readable, or delete it"
        ) from error
    except (ValidationError, UnicodeDecodeError) as error:
        raise CannotSetUp(f"{path}: is no draft of a settings file: delete it and begin anew") from error


def keep_draft(path: Path, draft: Draft) -> None:
    """Returns once it survives a power cut. Raises OSError."""
    replace_whole(path, draft.model_dump_json(exclude_defaults=False) + "\n", PRIVATE)


def drop_draft(path: Path) -> None:
    """Forgets it, once the settings are written."""
    if path.exists():
        remove(path)
