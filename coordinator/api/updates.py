"""New firmware for a joint: the signed file comes as the body, how it goes stands in the feed."""

import asyncio
from typing import Final

from fastapi import APIRouter, Request, Response

from coordinator.api.control_routes import ControlDesk
from coordinator.api.joints import JointPath, require_joint
from coordinator.api.json_response import json_response
from coordinator.api.problems import NotFound
from coordinator.codes.refusal import RefusalCode
from coordinator.config.settings import API_PREFIX
from coordinator.core.events import CancelUpdate, Refused, Update
from coordinator.core.updating.signed import ImageMistake, SignedImage, read_signed
from coordinator.service import Service

_FILE: Final = {
    "requestBody": {
        "required": True,
        "content": {
            "application/octet-stream": {
                "schema": {"type": "string", "format": "binary"},
                "example": "header, signature and image",
            }
        },
    }
}
"""A body that is no JSON."""


def updates(service: Service, desk: ControlDesk) -> APIRouter:
    """Routes that give a joint new firmware, and take that back while it can be."""
    router = APIRouter()

    def newest(name: str) -> Response:
        update = service.newest_update()
        if update is None or update.joint != name:
            require_joint(service, name)
            raise NotFound(
                f"no update of {name} is known: none was asked for since the coordinator began, or "
                "another joint's after it"
            )
        return json_response(update)

    @router.get("/joints/{name}/update")
    async def show(name: JointPath) -> Response:
        return newest(name)

    @router.post("/joints/{name}/update", status_code=202, openapi_extra=_FILE)
    async def update(name: JointPath, request: Request) -> Response:
        with desk.commanding(request) as who:
            service.require_not_ending()
            service.require_updatable(name)
            file = await asyncio.to_thread(_read, await request.body())
            desk.require(who)  # whoever took over meanwhile did not ask for it
            service.command(Update(name, file), who.name)
        response = newest(name)
        response.status_code = 202
        response.headers["Location"] = f"{API_PREFIX}/joints/{name}/update"
        return response

    @router.delete("/joints/{name}/update")
    async def cancel(name: JointPath, request: Request) -> Response:
        with desk.commanding(request) as who:
            service.command(CancelUpdate(name), who.name)
        return newest(name)

    return router


def _read(body: bytes) -> SignedImage:
    try:
        return read_signed("the file", body)
    except ImageMistake as error:
        raise Refused(RefusalCode.IMAGE_UNCLEAR, str(error)) from error
