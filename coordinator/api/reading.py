"""What can be asked: the arm's state, homings, runs and their reports."""

from typing import Any

from fastapi import APIRouter, Response

from coordinator.api.bodies import Number
from coordinator.api.problems import NotFound, problem
from coordinator.service import Service


def reading(service: Service) -> APIRouter:
    """Routes that change nothing."""
    router = APIRouter()

    @router.get("/healthz")
    async def health() -> Response:
        if service.failed.is_set():
            return problem(503, "failed", "the coordinator broke; see its log, then start it anew")
        return Response('{"status":"ok"}', media_type="application/json")

    @router.get("/arm")
    async def arm() -> dict[str, Any]:
        return service.snapshot()

    @router.get("/homings/{number}")
    async def homing(number: Number) -> dict[str, Any]:
        return _found(service.homing(number), f"there was no homing {number} since the start")

    @router.get("/runs")
    async def runs() -> dict[str, Any]:
        return {"runs": await service.runs()}

    @router.get("/runs/{number}")
    async def run(number: Number) -> dict[str, Any]:
        return _found(await service.progress(number), f"there was no run {number}")

    @router.get("/runs/{number}/report")
    async def report(number: Number) -> dict[str, Any]:
        return _found(await service.report(number), f"there was no run {number}")

    return router


def _found(value: dict[str, Any] | None, sentence: str) -> dict[str, Any]:
    if value is None:
        raise NotFound(sentence)
    return value
