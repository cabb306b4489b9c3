"""What can be commanded. Each route hands a command to the service.

What moves the arm is taken only from the client that has control.
"""

from typing import Any

from fastapi import APIRouter, HTTPException, Request, Response

from coordinator.api import bodies
from coordinator.api.desk import Desk, name_of
from coordinator.api.tokens import Role
from coordinator.core import events
from coordinator.service import Service
from coordinator.settings import API_PREFIX
from coordinator.stop_words import STOP_LEVELS
from protocol.constants import PPM
from protocol.drive import StopLevel


def commands(service: Service, desk: Desk) -> APIRouter:
    """Routes that may move the arm or stop it, and the check of a program."""
    router = APIRouter()

    def done(command: events.Command, who: str) -> dict[str, Any]:
        service.command(command, who)
        return {"phase": service.phase}

    @router.post("/check")
    async def check(body: bodies.ProgramBody) -> Response:
        return Response(await service.check(body.text), media_type="application/json")

    @router.post("/home", status_code=202)
    async def home(body: bodies.HomeBody, request: Request, response: Response) -> dict[str, Any]:
        with desk.commanding(request) as who:
            number = service.command(events.Home(tuple(body.joints)), who.name)
        response.headers["Location"] = f"{API_PREFIX}/homings/{number}"
        return {"homing": number}

    @router.post("/runs", status_code=202)
    async def play(body: bodies.RunBody, request: Request, response: Response) -> dict[str, Any]:
        with desk.commanding(request) as who:

            async def has_left() -> bool:
                left = await request.is_disconnected()
                desk.require(who)  # planning took a while, in which somebody may have taken control
                return left

            number = await service.play(body.name, body.text, has_left, who.name)
        response.headers["Location"] = f"{API_PREFIX}/runs/{number}"
        return {"run": number}

    @router.post("/hold")
    async def hold(request: Request) -> dict[str, Any]:
        return done(events.Hold(), name_of(request))

    @router.post("/resume")
    async def resume(request: Request) -> dict[str, Any]:
        with desk.commanding(request) as who:
            return done(events.Resume(), who.name)

    @router.post("/stop")
    async def stop(body: bodies.StopBody, request: Request) -> dict[str, Any]:
        if STOP_LEVELS[body.level] is not StopLevel.STOP and request.state.role is Role.WATCH:
            # A raised arm may fall: that is for whoever may move it.
            raise HTTPException(403, f"this token may stop, but not {body.level}")
        return done(events.Stop(STOP_LEVELS[body.level]), name_of(request))

    @router.post("/override")
    async def override(body: bodies.OverrideBody, request: Request) -> dict[str, Any]:
        with desk.commanding(request) as who:
            return done(events.Override(round(body.percent * PPM / 100)), who.name)

    @router.post("/jog")
    async def jog(body: bodies.JogBody, request: Request) -> dict[str, Any]:
        with desk.commanding(request) as who:
            return done(events.Jog(body.joint, body.velocity_deg_s), who.name)

    @router.post("/blink")
    async def blink(body: bodies.BlinkBody, request: Request) -> dict[str, Any]:
        return done(events.Blink(body.joint), name_of(request))

    return router
