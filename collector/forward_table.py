"""The table [forward] of coldshed.toml: to which time-series server readings are sent on."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Self

from pydantic import Field

from collector.source_tables import Table


class Forward(Table):
    """A time-series server that takes line protocol.

    server      "influxdb": lines go to /api/v2/write; "influxdb-1": to /write, as 1.x before 1.8 wants it;
                "victoria-metrics": to /api/v2/write. It also says how the server is asked whether it has them
    bucket      the database with influxdb-1; victoria-metrics has none and looks away
    token_file  holds a token (victoria-metrics: a bearer token); with influxdb-1 "user:password"
    ca_file     PEM of the authority that signed the server's certificate, where that is one of your own
    """

    server: Literal["influxdb", "influxdb-1", "victoria-metrics"] = "influxdb"
    url: str = Field(pattern=r"^https?://")
    bucket: str = Field(min_length=1)
    org: str = "-"
    token_file: str | None = None
    ca_file: str | None = None

    def with_files_in(self, folder: Path) -> Self:
        """The same with the files that it names looked for in `folder`."""
        files = {"token_file": self.token_file, "ca_file": self.ca_file}
        return self.model_copy(
            update={key: str(folder / name) for key, name in files.items() if name is not None}
        )
