"""Warnings that stand, and that somebody has seen them. Nothing here moves anything."""

from typing import Any

from fastapi import APIRouter, Request

from coordinator.api.bodies import Number
from coordinator.api.desk import asking
from coordinator.api.problems import NotFound
from coordinator.service import Service


def warnings(service: Service) -> APIRouter:
    """Routes that ask for no control."""
    router = APIRouter()

    @router.get("/warnings")
    async def standing() -> dict[str, Any]:
        return {"warnings": service.snapshot()["warnings"]}

    @router.post("/warnings/{number}/seen")
    async def seen(number: Number, request: Request) -> dict[str, Any]:
        found = await service.see(number, asking(request).name)
        if found is None:
            raise NotFound(f"no warning {number} stands: it has ended, or there never was one")
        return found

    return router
