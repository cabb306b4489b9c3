"""What was: runs with their reports and programs, homings, and the journal."""

import asyncio
from importlib.metadata import version
from typing import Annotated, Any, Final

from fastapi import APIRouter, HTTPException, Query, Request, Response

from coordinator.api.bodies import Number
from coordinator.api.html_file import html_file
from coordinator.api.json_response import json_response
from coordinator.api.problems import NotFound, busy
from coordinator.api.tokens import Role
from coordinator.programs.size import MAX_PROGRAM_BYTES
from coordinator.run_record.conduct import MOST_LINES
from coordinator.run_record.record import WhatIsKept, run_record
from coordinator.service import Service
from coordinator.store.utc import utc_now

CONFIRMED_US: Final = 2_000_000
"""After a run's end, what still belongs to it: a stop that is not confirmed within a second has its
line only then."""

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
    router, record_made = APIRouter(), asyncio.Lock()

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

    @router.get("/runs/{number}/record", response_class=Response)
    async def record(number: Number) -> Response:
        if record_made.locked():  # several at once would be felt by the arm's loop
            return busy("a record is being made already; try again later")
        async with record_made:
            return await recorded(number)

    async def recorded(number: int) -> Response:
        report = _found(await service.runs.report(number), f"there was no run {number}")
        ended_us = report.get("ended_at_us")
        until_us = ended_us + CONFIRMED_US if isinstance(ended_us, int) else None
        kept = WhatIsKept(
            report=report,
            program=await service.runs.program(number),
            journal=await service.journal.of_run(number, until_us, MOST_LINES),
            made_utc=utc_now(),
            made_by=version("unisono"),
        )
        # In a thread: the longest program takes long enough to be felt by the arm's loop.
        page = await asyncio.to_thread(run_record, kept)
        return html_file(page, f"run-{number}.html", "attachment")

    @router.get("/runs/{number}/way")
    async def way(number: Number, request: Request, from_line: FromLine = None) -> Response:
        if request.state.role is Role.WATCH:
            # It takes the planner, which whoever may not move the arm is not to keep from who may.
            raise HTTPException(403, "this token may watch, but not have a way back planned")
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
