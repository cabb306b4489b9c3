"""What can be asked of the arm as it is now."""

from typing import Any

from fastapi import APIRouter, Response

from coordinator.api.probes import healthy
from coordinator.service import Service


def reading(service: Service) -> APIRouter:
    """Routes that change nothing."""
    router = APIRouter()

    @router.get("/healthz")
    async def health() -> Response:
        return healthy(service)

    @router.get("/arm")
    async def arm() -> dict[str, Any]:
        return service.snapshot()

    return router
