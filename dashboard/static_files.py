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
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
FOREVER = "public, max-age=31536000, immutable"


@dataclass(frozen=True)
class Held:
    """One file in memory, plain and gzipped."""

    plain: bytes
    packed: bytes
    kind: str


class StaticFiles:
    """dashboard/static and the installed Plotly's own file. `version` changes whenever any of them does."""

    def __init__(self) -> None:
        self._files = {name: _hold(data, name) for name, data in _ours().items()}
        self._files["plotly.min.js"] = _held_plotly()
        digest = hashlib.sha256()
        for name in sorted(self._files):
            digest.update(name.encode() + b"\0" + self._files[name].plain)
        self.version = digest.hexdigest()[:12]

    def router(self) -> APIRouter:
        """GET /static/{version}/{file}: kept for good, since its name follows its content."""
        routes = APIRouter()

        @routes.get("/static/{version}/{name:path}")
        def static(request: Request, version: str, name: str) -> Response:
            held = self._files.get(name)
            if held is None or version != self.version:
                raise HTTPException(404, "There is no such file.")
            headers = {"Cache-Control": FOREVER, "Vary": "Accept-Encoding"}
            if "gzip" in request.headers.get("accept-encoding", ""):
                return Response(
                    held.packed, headers=headers | {"Content-Encoding": "gzip"}, media_type=held.kind
                )
            return Response(held.plain, headers=headers, media_type=held.kind)

        return routes


def _hold(data: bytes, name: str) -> Held:
    return Held(data, gzip.compress(data, 6, mtime=0), KINDS[Path(name).suffix])


@functools.cache
def _held_plotly() -> Held:
    """Compressing it takes a fifth of a second: once in a process is enough."""
    return _hold(_plotly().read_bytes(), "plotly.min.js")


def _ours() -> dict[str, bytes]:
    folder = importlib.resources.files("dashboard") / "static"
    return {item.name: item.read_bytes() for item in folder.iterdir() if item.is_file()}


def _plotly() -> Path:
    """plotly.min.js beside the installed package, found without importing it (which is slow)."""
    spec = find_spec("plotly")
    if spec is None or spec.origin is None:
        raise RuntimeError(
            "plotly is not installed: the panel page has no chart without it; install coldshed anew"
        )
    return Path(spec.origin).parent / "package_data" / "plotly.min.js"
