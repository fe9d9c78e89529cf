"""Files that never change while serve runs: read, compressed and named by their content once."""

from __future__ import annotations

import functools
import gzip
import hashlib
import importlib.resources
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

from fastapi import APIRouter, HTTPException, Request, Response

KINDS = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
FOREVER = "public, max-age=31536000, immutable"


PLOTLY = "plotly.min.js"
JOINED = {"coldshed.css": ("coldshed.css", "pages.css")}
"""Served as one file: what all pages share, and what only single pages have."""


@dataclass(frozen=True)
class Held:
    """One file in memory, plain and gzipped, if that is smaller."""

    plain: bytes
    packed: bytes | None
    kind: str


class StaticFiles:
    """dashboard/static and the installed Plotly's own file.

    version   another one whenever any of ours changes
    plotly    the same for Plotly, which is large and changes seldom: an update of ours does not fetch it anew
    """

    def __init__(self) -> None:
        self._ours = {name: _hold(data, name) for name, data in _ours().items()}
        self._plotly = {PLOTLY: _held_plotly()}
        self.version = _digest(self._ours)
        self.plotly = _digest(self._plotly)

    @property
    def names(self) -> list[str]:
        """Our own files."""
        return sorted(self._ours)

    def text(self, name: str) -> str:
        """One of our own files, to be served elsewhere."""
        return self._ours[name].plain.decode()

    def router(self) -> APIRouter:
        """GET /static/{version}/{file}: kept for good, since its name follows its content."""
        routes = APIRouter()
        versions = {self.version: self._ours, self.plotly: self._plotly}

        @routes.get("/static/{version}/{name:path}")
        def static(request: Request, version: str, name: str) -> Response:
            held = versions.get(version, {}).get(name)
            if held is None:
                raise HTTPException(404, "There is no such file.")
            headers = {"Cache-Control": FOREVER}
            if held.packed is None:
                return Response(held.plain, headers=headers, media_type=held.kind)
            headers["Vary"] = "Accept-Encoding"
            if not takes_gzip(request):
                return Response(held.plain, headers=headers, media_type=held.kind)
            headers["Content-Encoding"] = "gzip"
            return Response(held.packed, headers=headers, media_type=held.kind)

        return routes


def takes_gzip(request: Request) -> bool:
    """Whether the answer may be packed. No page holds a secret beside what a request says, which packing would leak."""
    return "gzip" in request.headers.get("accept-encoding", "")


def _digest(files: dict[str, Held]) -> str:
    digest = hashlib.sha256()
    for name in sorted(files):
        digest.update(name.encode() + b"\0" + files[name].plain)
    return digest.hexdigest()[:12]


def _hold(data: bytes, name: str) -> Held:
    packed = gzip.compress(data, 9, mtime=0)
    return Held(data, packed if len(packed) < len(data) else None, KINDS[Path(name).suffix])


@functools.cache
def _held_plotly() -> Held:
    """Compressing it takes a fifth of a second: once in a process is enough."""
    return _hold(_plotly().read_bytes(), PLOTLY)


def _ours() -> dict[str, bytes]:
    folder = importlib.resources.files("dashboard") / "static"
    found = {item.name: item.read_bytes() for item in folder.iterdir() if item.is_file()}
    joined = {whole: b"\n".join(found.pop(part) for part in parts) for whole, parts in JOINED.items()}
    return found | joined


def _plotly() -> Path:
    """plotly.min.js beside the installed package, found without importing it (which is slow)."""
    spec = find_spec("plotly")
    if spec is None or spec.origin is None:
        raise RuntimeError(
            "plotly is not installed: the panel page has no chart without it; install coldshed anew"
        )
    return Path(spec.origin).parent / "package_data" / PLOTLY
