"""What the application says of itself in OpenAPI: what each operation takes, what it answers, and what it refuses.

Nobody is served this (there is no machine-made manual): tests ask the application all that it allows, and hold every
answer to it.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from typing import Any

from fastapi import FastAPI
from pydantic import TypeAdapter

from dashboard.api.answers import ANSWERS
from dashboard.api.parameters import BY_HAND
from dashboard.door.least import TABLE, Least
from dashboard.door.visitor import Role
from dashboard.security import PICTURES

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
        "door": {"enum": ["sign in", "sign", "not yours", "again"]},
    },
    "additionalProperties": False,
}
"""dashboard.security.problem. door: what would open it."""
REFUSED = {
    "400": "names no host, tells something twice, or is nested too deeply",
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
BEYOND_ITS_FORM = {
    "GET /api/mix/pots": "it asks for nothing, or for one quantity in two units",
    "GET /api/mix": "one quantity is told in two units",
    "GET /api/panels/{panel_id}/tonight/if": "its times do not lie in a row, or not within three days",
    "POST /api/panels/{panel_id}/photos/{entry}": "the picture's first bytes are of another kind",
}
"""Operations that refuse what is of their form, and when: no schema can say it."""
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
BODIES: dict[str, Json] = {
    "POST /api/panels/{panel_id}/photos/{entry}": {
        "required": True,
        "content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in sorted(PICTURES)},
    },
    # Nothing of it is read; being JSON it comes from a page of ours.
    "POST /door/out": {"required": True, "content": {"application/json": {"schema": {}}}},
}
"""Bodies that the routes read by hand."""
SCHEMES: Json = {
    "session": {"type": "apiKey", "in": "cookie", "name": "coldshed"},
    "token": {"type": "http", "scheme": "bearer"},
}


def describe(app: FastAPI) -> None:
    """Makes app.openapi() say what is taken and answered."""
    plain = app.openapi

    def described() -> Json:
        made = deepcopy(plain())  # which keeps what it made
        schemas = made["components"]["schemas"]
        schemas["Problem"] = PROBLEM
        answers, named = _answers()
        schemas |= named
        made["components"]["securitySchemes"] = SCHEMES
        for path, method, operation in _operations(made):
            key = f"{method.upper()} {path}"
            operation["responses"] = _responses(path, method, key, answers.get(key))
            operation["security"] = _security(TABLE.get(key.replace("{name}", "{name:path}"), TABLE.get(key)))
            if key in BODIES:
                operation["requestBody"] = BODIES[key]
            if key in BY_HAND:
                operation.setdefault("parameters", []).extend(BY_HAND[key])
        _link(made)
        return made

    app.openapi = described  # type: ignore[method-assign]


def _operations(made: Json) -> Iterator[tuple[str, str, Json]]:
    for path, methods in made["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def _answers() -> tuple[dict[str, Json], Json]:
    """By operation the schema of what it answers, and the schemas those name."""
    adapters = [(key, "serialization", TypeAdapter(kind)) for key, kind in ANSWERS.items()]
    found, rest = TypeAdapter.json_schemas(
        adapters,  # type: ignore[arg-type]  # "serialization" is one of its two words
        ref_template="#/components/schemas/answer.{model}",
    )
    named = {f"answer.{name}": schema for name, schema in rest.get("$defs", {}).items()}
    for schema in (*found.values(), *named.values()):
        _exact(schema)
    return {str(key): schema for (key, _), schema in found.items()}, named


def _exact(schema: Json) -> None:
    """An answer has every property of its type, None among them, and no other."""
    if "properties" in schema:
        schema["required"] = sorted(schema["properties"])
        schema["additionalProperties"] = False


def _responses(path: str, method: str, key: str, answer: Json | None) -> Json:
    """Where a person may stand before it, a refusal is a page."""
    page = method == "get" and not path.startswith("/api/")
    kind = OWN_KIND.get(path, "text/html" if page else "application/json")
    problem: Json = {"application/json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    refusal = problem | ({"text/html": {}} if page else {})
    shown: Json = {"schema": answer} if answer is not None else {}
    made: Json = {"200": {"description": "done, or what was asked for", "content": {kind: shown}}}
    if method == "get":
        made["304"] = {"description": "nothing has changed since the answer whose ETag was sent"}
    made |= {code: {"description": text, "content": refusal} for code, text in REFUSED.items()}
    if key in BEYOND_ITS_FORM:
        code = "415" if "photos" in key else "422"
        made[code] = made[code] | {"description": f"{REFUSED[code]}; or {BEYOND_ITS_FORM[key]}"}
    return made


def _security(least: Least | None) -> list[Json]:
    """Where the house is open nobody is asked; else a session, or a token with the scope."""
    if least is None or least.role is Role.ANYONE:
        return []
    return [{"session": []}] + ([{"token": []}] if least.scope else [])


def _link(made: Json) -> None:
    """A panel that was registered is there for every operation of a panel."""
    registered = made["paths"]["/api/panels"]["post"]["responses"]["200"]
    registered["links"] = {
        operation["operationId"]: {
            "operationId": operation["operationId"],
            "parameters": {"panel_id": "$response.body#/panel"},
        }
        for path, _, operation in _operations(made)
        if "{panel_id}" in path
    }
