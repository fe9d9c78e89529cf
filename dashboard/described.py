"""What the application says of itself in OpenAPI: for each operation what it answers, refusals included.

Nobody is served this (there is no machine-made manual): tests ask the application all that it allows, and hold every
answer to it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fastapi import FastAPI

Json = dict[str, Any]
PROBLEM: Json = {
    "type": "object",
    "required": ["error"],
    "properties": {
        "error": {
            "type": "object",
            "required": ["what", "do"],
            "properties": {
                "what": {"type": "string", "minLength": 1},
                "do": {"type": "string", "minLength": 1},
            },
            "additionalProperties": False,
        },
        "door": {"type": "string"},
    },
}
"""dashboard.security.problem."""
REFUSED = {
    "400": "names no host, or is nested too deeply",
    "401": "nobody is signed in, or a password or PIN is wrong",
    "403": "takes more, or came from another site",
    "404": "there is none",
    "405": "that method is not used",
    "408": "came too slowly",
    "409": "makes no sense after what was logged",
    "413": "is too large",
    "415": "is of a kind that is not taken",
    "421": "another name than ours",
    "422": "is not of the form that is described",
    "429": "too fast",
    "431": "too many headers",
    "503": "cannot be stored or read now",
}
OWN_KIND = {
    "/worker.js": "text/javascript",
    "/static/{version}/{name}": "*/*",
    "/door/trail.csv": "text/csv",
    "/api/panels/{panel_id}/record.csv": "text/csv",
    "/api/changes": "text/event-stream",
    "/panels/{panel_id}/photos/{digest}": "image/*",
    "/panels/{panel_id}/record.css": "text/css",
    "/help/pictures/{name}": "image/svg+xml",
}


def describe(app: FastAPI) -> None:
    """Makes app.openapi() say what is answered."""
    plain = app.openapi

    def described() -> Json:
        made = plain()
        for path, method, operation in _operations(made):
            operation["responses"] = _responses(path, method)
        made["components"]["schemas"]["Problem"] = PROBLEM
        return made

    app.openapi = described  # type: ignore[method-assign]


def _operations(made: Json) -> Iterator[tuple[str, str, Json]]:
    for path, methods in made["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def _responses(path: str, method: str) -> Json:
    """Where a person may stand before it, a refusal is a page."""
    page = method == "get" and not path.startswith(("/api/", "/static/"))
    kind = OWN_KIND.get(path, "text/html" if page else "application/json")
    problem: Json = {"application/json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    refusal = problem | ({"text/html": {}} if page else {})
    answers: Json = {"200": {"description": "done, or what was asked for", "content": {kind: {}}}}
    return answers | {code: {"description": text, "content": refusal} for code, text in REFUSED.items()}
