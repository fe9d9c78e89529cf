"""The table [serve] of coldshed.toml: where the pages are served, and what phones call this computer by."""

from __future__ import annotations

import ipaddress

from pydantic import Field, field_validator

from collector.source_tables import Table
from collector.web_address import web_address


class Serve(Table):
    """Where the pages are served. What others can reach starts only where accounts exist: 'coldshed account add'.

    public_url   what a phone calls this computer by, "http://shed.lan:8137": labels lead there, and requests under
                 that name are answered. What carries them to the loopback port is the shop's own: a tunnel, a proxy
    """

    host: str = "127.0.0.1"
    port: int = Field(default=8137, ge=1, le=65535)
    public_url: str | None = None

    @field_validator("host")
    @classmethod
    def _of_this_computer(cls, host: str) -> str:
        if host != "localhost":
            try:
                ipaddress.ip_address(host)
            except ValueError as error:
                raise ValueError('write an address of this computer, or "0.0.0.0" for all of them') from error
        return host

    @field_validator("public_url")
    @classmethod
    def _an_address(cls, url: str | None) -> str | None:
        return None if url is None else web_address(url)
