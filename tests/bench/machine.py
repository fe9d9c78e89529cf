"""What the figures were taken on, in words."""

from __future__ import annotations

import gzip
import importlib.metadata
import os
import platform
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import apsw

from tests.services import MissingProgram, find

PROGRAMS = {
    "Mosquitto": ("mosquitto", "mosquitto"),
    "InfluxDB": ("influxd", "influxdb"),
    "VictoriaMetrics": ("victoria-metrics", "victoria-metrics"),
    "Chromium": ("chromium", "chromium"),
}
"""Program and Debian package of each; some of the programs do not know their own version."""
LIBRARIES = (
    "numpy",
    "scipy",
    "psychrolib",
    "paho-mqtt",
    "pydantic",
    "fastapi",
    "uvicorn",
    "plotly",
    "influxdb-client",
)
NUMBERED = re.compile(r"\d+\.\d+(?:\.\d+)*")


def machine() -> dict[str, str]:
    """By what it is called in the help; nothing that names this one computer."""
    return {
        "processor": f"{_processor()}, {len(os.sched_getaffinity(0))} cores",
        "memory": f"{os.sysconf('SC_PAGE_SIZE') * os.sysconf('SC_PHYS_PAGES') / 2**30:.1f} GiB",
        "system": f"{_system()}, Linux {platform.release().partition('-')[0]}",
        "programs": ", ".join(
            [f"Python {platform.python_version()}", f"SQLite {apsw.sqlite_lib_version()}", *_versions()]
        ),
        "libraries": ", ".join(f"{name} {importlib.metadata.version(name)}" for name in LIBRARIES),
    }


def _processor() -> str:
    found = re.findall(r"^model name\s*:\s*(.+)$", Path("/proc/cpuinfo").read_text(), re.MULTILINE)
    return " ".join(found[0].split()) if found else platform.machine()


def _system() -> str:
    try:
        return platform.freedesktop_os_release()["PRETTY_NAME"]
    except OSError:
        return platform.system()


def _versions() -> Iterator[str]:
    for name, (program, package) in PROGRAMS.items():
        try:
            path = Path(find(program))
        except MissingProgram:
            continue
        changes = path.parent.parent / "share" / "doc" / package / "changelog.Debian.gz"
        if changes.is_file():
            with gzip.open(changes, "rt", encoding="utf-8") as lines:
                said = lines.readline().partition("(")[2].partition(")")[0]
        else:
            said = subprocess.run(
                [path, "--version"], capture_output=True, text=True, timeout=20, check=False
            ).stdout
        version = NUMBERED.search(said)
        yield f"{name} {version[0]}" if version else name
