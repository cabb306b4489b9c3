"""Warnings that stand, and what people say of their alarms. Nothing here moves anything."""

from fastapi import APIRouter, Request, Response

from coordinator.api.bodies import Number, ShelveBody
from coordinator.api.control_routes import asking
from coordinator.api.json_response import json_response
from coordinator.api.problems import NotFound
from coordinator.service import Service


def warnings(service: Service) -> APIRouter:
    """Routes that ask for no control."""
    router = APIRouter()

    @router.get("/warnings")
    async def standing() -> Response:
        arm = service.snapshot()
        return json_response({"warnings": arm.warnings, "alarms": arm.alarms})

    @router.post("/warnings/{number}/acknowledge")
    async def acknowledge(number: Number, request: Request) -> Response:
        found = await service.acknowledge(number, asking(request).name)
        if found is None:
            raise NotFound(f"no warning {number} stands: it has ended, or there never was one")
        return json_response(found)

    @router.post("/warnings/{number}/shelve")
    async def shelve(number: Number, body: ShelveBody, request: Request) -> Response:
        found = await service.shelve(number, body.for_s, asking(request).name)
        if found is None:
            raise NotFound(f"no warning {number} stands: it has ended, or there never was one")
        return json_response(found)

    @router.post("/warnings/{number}/unshelve")
    async def unshelve(number: Number, request: Request) -> Response:
        found = await service.unshelve(number, asking(request).name)
        if found is None:
            raise NotFound(f"nothing of the number {number} is shelved")
        return json_response(found)

    return router
