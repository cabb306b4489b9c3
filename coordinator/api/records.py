"""What was: runs with their reports and programs, homings, and the journal."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from coordinator.api.bodies import Number
from coordinator.api.json_response import json_response
from coordinator.api.problems import NotFound
from coordinator.programs.size import MAX_PROGRAM_BYTES
from coordinator.service import Service

RunNumber = Annotated[
    int,
    Query(ge=1, le=2**53 - 1, description="Runs before the one of this number.", examples=[2]),
]
EventId = Annotated[
    int,
    Query(ge=1, le=2**53 - 1, description="Events before the one of this id.", examples=[100]),
]
FromLine = Annotated[
    int | None,
    Query(ge=1, le=MAX_PROGRAM_BYTES, description="Another line than the last.", examples=[7]),
]
Details = Annotated[
    bool, Query(description="Also the parts of what has a line of its own.", examples=[True])
]
Limit = Annotated[int, Query(ge=1, le=500, description="At most so many.", examples=[20])]


def program_text(text: str) -> Response:
    """A program; whoever wrote it, no browser may take it for a page."""
    headers = {"X-Content-Type-Options": "nosniff"}
    return Response(text, media_type="text/plain; charset=utf-8", headers=headers)


def records(service: Service) -> APIRouter:
    """Routes that read what is kept. Those of a run that goes on tell it as it is now."""
    router = APIRouter()

    @router.get("/homings/{number}")
    async def homing(number: Number) -> dict[str, Any]:
        return _found(await service.homings.homing(number), f"there was no homing {number}")

    @router.get("/runs")
    async def runs(before: RunNumber | None = None, limit: Limit = 100) -> dict[str, Any]:
        return {"runs": await service.runs.summaries(before, limit)}

    @router.get("/runs/{number}")
    async def run(number: Number) -> dict[str, Any]:
        return _found(await service.runs.progress(number), f"there was no run {number}")

    @router.get("/runs/{number}/report")
    async def report(number: Number) -> dict[str, Any]:
        return _found(await service.runs.report(number), f"there was no run {number}")

    @router.get("/runs/{number}/program", response_class=Response)
    async def program(number: Number) -> Response:
        text = await service.runs.program(number)
        if text is None:
            raise NotFound(f"no program of a run {number} is known")
        return program_text(text)

    @router.get("/runs/{number}/way")
    async def way(number: Number, from_line: FromLine = None) -> Response:
        found = await service.runs.way(number, from_line)
        if found is None:
            raise NotFound(f"no program of a run {number} is known")
        return json_response(found)

    @router.get("/events")
    async def events(
        before: EventId | None = None, limit: Limit = 100, details: Details = False
    ) -> dict[str, Any]:
        return {"events": await service.journal.newest(before, limit, details=details)}

    return router


def _found(value: dict[str, Any] | None, sentence: str) -> dict[str, Any]:
    if value is None:
        raise NotFound(sentence)
    return value
