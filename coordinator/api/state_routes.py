"""What can be asked of the arm as it is now."""

from fastapi import APIRouter, Response

from coordinator.api.json_response import json_response
from coordinator.api.probes import healthy
from coordinator.service import Service


def reading(service: Service) -> APIRouter:
    """Routes that change nothing."""
    router = APIRouter()

    @router.get("/healthz")
    async def health() -> Response:
        return healthy(service)

    @router.get("/arm")
    async def arm() -> Response:
        return json_response(service.snapshot())

    @router.get("/arm/file", response_class=Response)
    async def file() -> Response:
        # Whoever wrote it, no browser may take it for a page.
        headers = {"X-Content-Type-Options": "nosniff"}
        return Response(service.arm.text, media_type="text/plain; charset=utf-8", headers=headers)

    return router
