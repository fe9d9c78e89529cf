"""Invented shops for the tests of the collector."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from collector.settings import Settings, parse

LINES = """
[source.decode]
kind = "text_line"
field = [
  { key = "T", quantity = "temperature", unit = "degC" },
  { key = "RH", quantity = "relative_humidity", unit = "%" },
]
"""

LOGGER = """
[source.decode]
kind = "logger_csv"
time = { key = "time", unit = "iso8601", zone = "Europe/Oslo" }
field = [
  { key = "panel", quantity = "temperature", unit = "degC", name = "L1" },
  { key = "air", quantity = "relative_humidity", unit = "%", name = "L2" },
]
"""


PLAIN_JSON = """
[source.decode]
kind = "json_map"
field = [
  { key = "/T", quantity = "temperature", unit = "degC" },
  { key = "/RH", quantity = "relative_humidity", unit = "%" },
]
"""


def broker(port: int = 1883, id: str = "broker") -> str:
    return (
        f'[[source]]\nid = "{id}"\nkind = "mqtt"\nhost = "127.0.0.1"\nport = {port}\n'
        f'topic = ["shed/+"]\n{PLAIN_JSON}'
    )


def serial(port: str, id: str = "usb") -> str:
    return f'[[source]]\nid = "{id}"\nkind = "serial"\nport = "{port}"\n{LINES}'


def folder(id: str = "logger") -> str:
    return f'[[source]]\nid = "{id}"\nkind = "folder"\nfolder = "inbox"\n{LOGGER}'


def probe(
    id: str, source: str, zone: str = "shed", place: str = "surface", name: str = "", interval_s: float = 10
) -> str:
    """`name`: what it is called on the wire, if not by its id."""
    return (
        f'[[probe]]\nid = "{id}"\nsource = "{source}"\nname = "{name or id}"\nzone = "{zone}"\n'
        f'place = "{place}"\ninterval_s = {interval_s}\n'
    )


def shop(at: Path, *tables: str) -> Settings:
    """A shop whose files lie in the folder `at`."""
    return parse(shop_text(tables), at / "coldshed.toml")


def shop_text(tables: Iterable[str]) -> str:
    return 'site = "invented"\ntime_zone = "Europe/Oslo"\n' + "\n".join(tables)
