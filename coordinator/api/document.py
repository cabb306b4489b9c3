"""The OpenAPI document: what every route may answer besides what it is for.

All errors have one form (problems.py), and most can come from any route, as it is guarded; so they
are said here once and not at each.
"""

from typing import Any, Final

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from coordinator.api.problems import MEDIA_TYPE, TYPE

ABOUT: Final = """\
The coordinator of one arm. Commands that move the arm are taken from one client at a time, which
names itself by the header `Unisono-Client`; hold and stop are taken from everybody. **Nothing here
is a safety-rated emergency stop.** Live values come by the WebSocket `/api/v1/feed`.
"""
_ALWAYS: Final = {
    400: "The request is malformed.",
    401: "A token is needed (not on loopback).",
    403: "Asked from another site, for another host, or beyond the token's role.",
    408: "The request took too long to arrive.",
    413: "The request is too large.",
    422: "The request asks for what cannot be; `errors` says where.",
    429: "Too many requests from this address.",
    500: "The coordinator made a mistake, or its data folder fails.",
    503: "The coordinator broke, is busy, or cannot record what would follow.",
}
_NOT_FOUND: Final = {404: "There is none of that number."}
_CONFLICT: Final = {409: "The arm refuses: its state, or another client's control, forbids it."}
_SCHEMA: Final = {
    "type": "object",
    "title": "Problem",
    "description": "Problem details (RFC 9457). `type` is stable, `detail` a sentence for people.",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string", "pattern": f"^{TYPE}[a-z-]+$"},
        "title": {"type": "string"},
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "detail": {"type": "string"},
        "errors": {"type": "array", "items": {"type": "object"}},
    },
    "example": {
        "type": f"{TYPE}joint-not-homed",
        "title": "Conflict",
        "status": 409,
        "detail": "elbow is not homed; home it first",
    },
}


def document(app: FastAPI) -> None:
    """Give an app this document."""

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            made = get_openapi(title=app.title, version="1", description=ABOUT, routes=app.routes)
            for path, operations in made["paths"].items():
                for method, operation in operations.items():
                    _add_problems(path, method, operation)
            schemas = made.setdefault("components", {}).setdefault("schemas", {})
            for unused in ("HTTPValidationError", "ValidationError"):
                schemas.pop(unused, None)
            schemas["Problem"] = _SCHEMA
            app.openapi_schema = made
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]


def _add_problems(path: str, method: str, operation: dict[str, Any]) -> None:
    may = dict(_ALWAYS)
    if "{" in path:
        may |= _NOT_FOUND
    if method != "get":
        may |= _CONFLICT
    for status, words in may.items():
        operation["responses"][str(status)] = {
            "description": words,
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
