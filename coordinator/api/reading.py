"""What can be asked of the arm as it is now."""

from typing import Any

from fastapi import APIRouter, Response

from coordinator.api.problems import problem
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

    return router
