"""The tables [forward] and [read_from] of coldshed.toml: the time-series server to which a site sends its readings, and
that from which a dashboard reads those of sites.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from collector.source_tables import Name, Table

Server = Literal["influxdb", "influxdb-1", "victoria-metrics"]
SiteName = Annotated[Name, Field(pattern=r"^[^:]+$")]
"""Without a colon, which stands between a site and its probe."""


class Forward(Table):
    """A time-series server that takes line protocol.

    server      "influxdb": lines go to /api/v2/write; "influxdb-1": to /write, as 1.x before 1.8 wants it;
                "victoria-metrics": to /api/v2/write. It also says how the server is asked whether it has them
    bucket      the database with influxdb-1; victoria-metrics has none and looks away
    token_file  holds a token; with influxdb-1 "user:password"
    """

    server: Server = "influxdb"
    url: str = Field(pattern=r"^https?://")
    bucket: str = Field(min_length=1)
    org: str = "-"
    token_file: str | None = None


class ReadFrom(Table):
    """Where this machine's dashboard reads from, in the place of probes of its own.

    server      as under [forward]: "influxdb" and "influxdb-1" are asked by InfluxQL, "victoria-metrics" for exports
    url         for a cluster of victoria-metrics up to what comes before /api/v1
    bucket      the database; victoria-metrics has none
    token_file  holds a token; with influxdb-1 "user:password"
    sites       whose readings are shown: each as its own settings call it
    """

    server: Server
    url: str = Field(pattern=r"^https?://")
    bucket: str = ""
    token_file: str | None = None
    sites: tuple[SiteName, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _is_whole(self) -> Self:
        if self.server != "victoria-metrics" and not self.bucket:
            raise ValueError(f"bucket is missing: {self.server} keeps readings in one")
        if len(set(self.sites)) < len(self.sites):
            raise ValueError("a site stands twice in 'sites': name each once")
        return self
