"""Warnings that stand, and that somebody has seen them. Nothing here moves anything."""

from typing import Any

from fastapi import APIRouter

from coordinator.api.bodies import Number
from coordinator.api.problems import NotFound
from coordinator.service import Service


def warnings(service: Service) -> APIRouter:
    """Routes for whoever may watch."""
    router = APIRouter()

    @router.get("/warnings")
    async def standing() -> dict[str, Any]:
        return {"warnings": service.snapshot()["warnings"]}

    @router.post("/warnings/{number}/seen")
    async def seen(number: Number) -> dict[str, Any]:
        found = service.see(number)
        if found is None:
            raise NotFound(f"no warning {number} stands: it has ended, or there never was one")
        return found

    return router
