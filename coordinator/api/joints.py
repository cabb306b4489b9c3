"""What is worth knowing of one joint only now and then."""

from typing import Annotated, Any

from fastapi import APIRouter, Path

from coordinator.api.problems import NotFound
from coordinator.core.events import Refused
from coordinator.service import Service

JointPath = Annotated[str, Path(min_length=1, max_length=32, examples=["elbow"])]


def joints(service: Service) -> APIRouter:
    """Routes that read what is kept of a joint."""
    router = APIRouter()

    @router.get("/joints/{name}/homing")
    async def homing(name: JointPath) -> dict[str, Any]:
        try:
            found = await service.homing_of(name)
        except Refused as unknown:
            raise NotFound(unknown.message) from unknown
        # That none is known is an answer, which a page asks for of every joint.
        return found or {"homing": None, "edges": [], "middle": None, "home_offset_deg": None}

    return router
