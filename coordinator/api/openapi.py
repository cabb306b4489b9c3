"""The OpenAPI document: what every route answers, and what it may answer besides.

All errors have one form (problems.py), and most can come from any route, as it is guarded; so they
are said here once and not at each. What a route answers where it does what it is asked stands in
`answers`; it is joined here, so that no answer is ever held against its description.
"""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Final

import orjson
from fastapi import FastAPI, Response
from fastapi.openapi.utils import get_openapi
from pydantic import TypeAdapter

from coordinator.api.problem_types import PROBLEM_TYPES
from coordinator.api.problems import MEDIA_TYPE, TYPE
from coordinator.config.settings import API_PREFIX

if TYPE_CHECKING:
    from coordinator.api.responses.table import DescribedResponse

ABOUT: Final = """\
The coordinator of one arm. Commands that move the arm are taken from one client at a time, which
names itself by the header `Unisono-Client`; hold and stop are taken from everybody. **Nothing here
is a safety-rated emergency stop.** Live values come by the WebSocket `/api/v1/feed`.

The end of a name is its unit: `_us` µs, `_s` s, `_deg` degrees, `_c` °C, `_v` V. Arm time counts
from when the laptop began; path time runs along a program's part and stands while the arm rests.
`POST /check`, `/check/curves`, `/runs` and `/queue/play` may take minutes: to close the request is
to cancel it, and who accepts `application/x-ndjson` has status 200 and lines of JSON: how far it
is, then `{"answer": …}` or `{"problem": …}`.
What is not known is `null`, never zero. Members may be added; ignore those that you do not know.
"""
_ALWAYS: Final = {
    400: "The request is malformed.",
    401: "A token is needed (not on loopback).",
    403: "Asked from another site, for another host, or beyond the token's role.",
    408: "The request took too long to arrive.",
    413: "The request is too large.",
    429: "Too many requests from this address.",
    500: "The coordinator made a mistake, or its data folder fails.",
    503: "The coordinator broke, is busy, or cannot record what would follow.",
}
_INPUT: Final = {422: "The request asks for what cannot be; `errors` says where."}
_NOT_FOUND: Final = {404: "There is none of that number or name."}
_CONFLICT: Final = {409: "The arm refuses: its state, or another client's control, forbids it."}
_PROBLEM: Final = {
    "type": "object",
    "title": "Problem",
    "description": "Problem details (RFC 9457). `type` is stable, `detail` a sentence for people.",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {
            "type": "string",
            "enum": [TYPE + code for code in PROBLEM_TYPES],
            "description": "\n".join(f"- `{code}`: {says}" for code, says in PROBLEM_TYPES.items()),
        },
        "title": {"type": "string"},
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "detail": {"type": "string"},
        "errors": {
            "type": "array",
            "description": "Where the request or the program is wrong.",
            "items": {
                "type": "object",
                "required": ["message"],
                "properties": {
                    "message": {"type": "string"},
                    "place": {"type": "string", "description": "In the request."},
                    "line": {"type": "integer", "description": "In the program, from 1."},
                    "column": {"type": "integer", "description": "In characters, from 1."},
                },
            },
        },
    },
    "example": {
        "type": f"{TYPE}not-homed",
        "title": "Conflict",
        "status": 409,
        "detail": "elbow is not homed; home it first",
    },
}


def document(app: FastAPI) -> None:
    """Give an app this document, and serve it."""

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _made(app)
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]

    @app.get(f"{API_PREFIX}/openapi.json", include_in_schema=False)
    def shown() -> Response:
        # No coroutine, so that a thread makes it: it takes too long for the loop that has an arm.
        return Response(orjson.dumps(app.openapi()), media_type="application/json")


def _made(app: FastAPI) -> dict[str, Any]:
    # Only who asks for the document needs the descriptions, which take a while to import.
    from coordinator.api.responses.table import RESPONSES

    made = get_openapi(title=app.title, version="1", description=ABOUT, routes=app.routes)
    schemas = made.setdefault("components", {}).setdefault("schemas", {})
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    schemas["Problem"] = _PROBLEM
    references = _add_schemas(schemas, RESPONSES.values())
    for path, operations in made["paths"].items():
        for method, operation in operations.items():
            response = RESPONSES.get(f"{method.upper()} {path.removeprefix(API_PREFIX)}")
            operation["responses"] = (
                _described(response, references) if response is not None else {}
            )
            _add_problems(path, method, operation)
    return made


def _add_schemas(
    schemas: dict[str, Any], responses: Iterable["DescribedResponse"]
) -> dict[type, Any]:
    """Add those of all responses; where each is."""
    adapters = {one.kind: one.adapter for one in responses if one.kind is not None}
    references, found = TypeAdapter.json_schemas(
        [(kind, "serialization", adapters[kind]) for kind in sorted(adapters, key=_name)],
        ref_template="#/components/schemas/{model}",
    )
    for name, schema in found["$defs"].items():
        assert name not in schemas, name
        schema.pop("additionalProperties", None)  # members may be added
        schemas[name] = schema
    return {kind: reference for (kind, _mode), reference in references.items()}


def _name(kind: type) -> str:
    return kind.__name__


def _described(response: "DescribedResponse", references: dict[type, Any]) -> dict[str, Any]:
    schema = references[response.kind] if response.kind is not None else {"type": "string"}
    said: dict[str, Any] = {
        "description": response.words,
        "content": {response.media_type: {"schema": schema, "example": response.example}},
    }
    for media_type, example in response.others.items():
        said["content"][media_type] = {"schema": {"type": "string"}, "example": example}
    if response.headers:
        said["headers"] = {
            name: {"description": words, "required": True, "schema": {"type": "string"}}
            for name, words in response.headers.items()
        }
    return {str(response.status): said}


def _add_problems(path: str, method: str, operation: dict[str, Any]) -> None:
    may = dict(_ALWAYS)
    if "parameters" in operation or "requestBody" in operation:
        may |= _INPUT
    if "{" in path:
        may |= _NOT_FOUND
    if method != "get":
        may |= _CONFLICT
    for status, words in may.items():
        operation["responses"][str(status)] = {
            "description": words,
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
