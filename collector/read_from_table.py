"""The table [read_from] of coldshed.toml: the server from which a dashboard reads the readings of sites."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from collector.source_tables import Name, Table
from collector.web_address import without_login

Server = Literal["influxdb", "influxdb-1", "victoria-metrics"]
SiteName = Annotated[Name, Field(pattern=r"^[^:]+$")]
"""Without a colon, which stands between a site and its probe."""


class ReadFrom(Table):
    """Where this machine's dashboard reads from, in the place of probes of its own.

    server      as under [forward]: "influxdb" and "influxdb-1" are asked by InfluxQL, "victoria-metrics" for exports
    url         for a cluster of victoria-metrics up to what comes before /api/v1
    bucket      the database; victoria-metrics has none
    token_file  holds a token; with influxdb-1 "user:password"
    ca_file     PEM of the authority that signed the server's certificate, where that is one of your own
    sites       whose readings are shown: each as its own settings call it
    """

    server: Server
    url: str = Field(pattern=r"^https?://")
    bucket: str = ""
    token_file: str | None = None
    ca_file: str | None = None
    sites: tuple[SiteName, ...] = Field(min_length=1)

    @field_validator("url")
    @classmethod
    def _has_no_login(cls, url: str) -> str:
        if without_login(url) != url:
            raise ValueError(
                "more than an address: what logs in stands alone in the file that token_file names"
            )
        return url

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        if self.server != "victoria-metrics" and not self.bucket:
            raise ValueError(f"bucket is missing: {self.server} keeps readings in one")
        if len(set(self.sites)) < len(self.sites):
            raise ValueError("a site stands twice in 'sites': name each once")
        return self
