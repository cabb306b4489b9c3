"""Every error as problem details (RFC 9457) with a stable `type`.

A type is `urn:unisono:problem:` and a code: the core's own for what it refuses, `program` for a
program with mistakes, `invalid` for a request that is malformed, and those in this file.
"""

import json
from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from coordinator.codes.refusal import INPUT_CODES
from coordinator.config.arm import ArmFileError
from coordinator.config.problems import MAX_PROBLEMS
from coordinator.core.events import Refused
from coordinator.programs import ProgramError
from coordinator.store import StoreError
from coordinator.teaching.taught import TaughtError
from coordinator.workers.planner import PlannerBusy

TYPE: Final = "urn:unisono:problem:"
MOST_TOLD: Final = 40
"""Letters of a value that is wrong."""
MEDIA_TYPE: Final = "application/problem+json"

RETRY_S: Final = 5
"""After which the longest program is usually checked."""
_HTTP_CODES: Final = {
    400: "malformed",
    403: "role",
    404: "not-found",
    405: "method-not-allowed",
    413: "too-large",
    415: "content-type",
}


class NotFound(Exception):
    """There is no such run or homing; the text is the sentence."""


def problem(
    status: int, code: str, detail: str, *, headers: dict[str, str] | None = None, **more: Any
) -> JSONResponse:
    """A response with problem details; `more` are extension members."""
    body = {
        "type": TYPE + code,
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        **more,
    }
    return JSONResponse(body, status, headers=headers, media_type=MEDIA_TYPE)


def _value(asked: object) -> str:
    """Behind a sentence on what was asked, what that was; nothing where it is no plain value."""
    if not isinstance(asked, str | int | float):
        return ""
    told = json.dumps(asked)
    return f"; it is {told if len(told) <= MOST_TOLD else told[:MOST_TOLD] + '…'}"


def busy(detail: str, headers: dict[str, str] | None = None) -> JSONResponse:
    """The same is done for somebody else: come back in a while."""
    return problem(503, "busy", detail, headers={"Retry-After": str(RETRY_S), **(headers or {})})


def add_handlers(app: FastAPI) -> None:
    """Let every error of an app be told in this form."""

    @app.exception_handler(Refused)
    async def refused(_request: Request, error: Refused) -> JSONResponse:
        status = 422 if error.code in INPUT_CODES else 409
        return problem(status, error.code, error.message)

    @app.exception_handler(PlannerBusy)
    async def planner_busy(_request: Request, error: PlannerBusy) -> JSONResponse:
        return busy(str(error))

    @app.exception_handler(ProgramError)
    async def wrong_program(_request: Request, error: ProgramError) -> JSONResponse:
        errors = [
            {"line": found.line, "column": found.column, "message": found.message}
            for found in error.problems
        ]
        count = f"more than {MAX_PROBLEMS}" if len(errors) > MAX_PROBLEMS else len(errors)
        detail = f"{error.of} has {count} mistake{'s' if len(errors) > 1 else ''}"
        return problem(422, "program", detail, errors=errors)

    @app.exception_handler(ArmFileError)
    async def wrong_arm_file(_request: Request, error: ArmFileError) -> JSONResponse:
        errors = [{"line": one.line, "message": one.message} for one in error.mistakes]
        count = len(errors)
        detail = f"the text has {count} mistake{'' if count == 1 else 's'}: nothing is written"
        return problem(422, "arm-file", detail, errors=errors[:MAX_PROBLEMS])

    @app.exception_handler(NotFound)
    async def not_found(_request: Request, error: NotFound) -> JSONResponse:
        return problem(404, "not-found", str(error))

    @app.exception_handler(TaughtError)
    async def wrong_edit(_request: Request, error: TaughtError) -> JSONResponse:
        return problem(422, "taught", str(error))

    @app.exception_handler(RequestValidationError)
    async def invalid(_request: Request, error: RequestValidationError) -> JSONResponse:
        errors = [
            {
                "place": "/".join(str(part) for part in found["loc"]),
                "message": f"{found['msg']}{_value(found.get('input'))}",
            }
            for found in error.errors()
        ]
        detail = "; ".join(f"{found['place']}: {found['message']}" for found in errors)
        return problem(422, "invalid", detail, errors=errors)

    @app.exception_handler(HTTPException)
    async def http(_request: Request, error: HTTPException) -> JSONResponse:
        code = _HTTP_CODES.get(error.status_code, "http")
        headers = dict(error.headers) if error.headers else None
        return problem(error.status_code, code, error.detail, headers=headers)

    @app.exception_handler(StoreError)
    async def disk(_request: Request, error: StoreError) -> JSONResponse:
        return problem(503, "store", str(error))

    @app.exception_handler(Exception)
    async def broken(_request: Request, _error: Exception) -> JSONResponse:
        return problem(500, "internal", "the coordinator made a mistake; its log says more")
