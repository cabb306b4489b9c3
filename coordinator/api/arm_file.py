"""The arm file in somebody's hands: read, looked at while it is typed, and written at rest."""

from fastapi import APIRouter, Request, Response

from coordinator.api.bodies import ArmFileBody, ArmTextBody
from coordinator.api.control_routes import ControlDesk
from coordinator.api.json_response import json_response
from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.service import Service


def arm_file(service: Service, desk: ControlDesk) -> APIRouter:
    """Routes of the file on the disk. What the coordinator runs by is `GET /arm/file`."""
    router = APIRouter()

    def require_rest() -> None:
        if service.busy:
            raise Refused(
                RefusalCode.NOT_AT_REST,
                "something moves, or will without another command: the arm file is written only "
                "while nothing does",
            )

    @router.get("/arm/file/now")
    async def now() -> Response:
        return json_response(await service.arm_file.now())

    @router.post("/arm/file/check")
    async def check(body: ArmTextBody) -> Response:
        return json_response(await service.arm_file.look_at(body.text))

    @router.put("/arm/file")
    async def write(body: ArmFileBody, request: Request) -> Response:
        # Nothing moves by it, but the arm will be moved by it after its next start.
        with desk.commanding(request) as who:
            service.require_not_ending()
            require_rest()
            written = await service.arm_file.write(body.text, body.instead_of)
        service.tell(
            Level.ATTENTION,
            "arm-file-written",
            f"{who.name} wrote {written.file}; the coordinator takes it at its next start",
        )
        return json_response(written)

    return router
