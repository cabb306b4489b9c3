"""Warnings that stand, and that somebody has acknowledged them. Nothing here moves anything."""

from fastapi import APIRouter, Request, Response

from coordinator.api.bodies import Number
from coordinator.api.control_routes import asking
from coordinator.api.json_response import json_response
from coordinator.api.problems import NotFound
from coordinator.service import Service


def warnings(service: Service) -> APIRouter:
    """Routes that ask for no control."""
    router = APIRouter()

    @router.get("/warnings")
    async def standing() -> Response:
        return json_response({"warnings": service.snapshot().warnings})

    @router.post("/warnings/{number}/acknowledge")
    async def acknowledge(number: Number, request: Request) -> Response:
        found = await service.acknowledge(number, asking(request).name)
        if found is None:
            raise NotFound(f"no warning {number} stands: it has ended, or there never was one")
        return json_response(found)

    return router
