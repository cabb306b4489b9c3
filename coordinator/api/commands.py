"""What can be commanded. Each route hands a command to the service.

What moves the arm is taken only from the client that has control.
"""

from functools import partial
from typing import Any, Final

from fastapi import APIRouter, HTTPException, Request, Response

from coordinator.api import bodies
from coordinator.api.control_routes import ControlDesk, asking, name_of
from coordinator.api.hand import Hand
from coordinator.api.joints import JointPath
from coordinator.api.json_response import json_response
from coordinator.api.long_text import LongText
from coordinator.api.long_work import long_work, run_begun
from coordinator.api.tokens import Role
from coordinator.config.settings import API_PREFIX
from coordinator.core import events
from coordinator.core.stop_words import STOP_LEVELS
from coordinator.playing.runs import Wanted
from coordinator.programs.progress import Tell
from coordinator.service import Service
from protocol.constants import PPM
from protocol.drive import StopLevel

_TEXT: Final = {
    "requestBody": {
        "required": True,
        "content": {"text/plain": {"schema": {"type": "string"}, "example": "G0 A-35 B-20\nM2\n"}},
    }
}
"""A body that is no JSON."""


def commands(service: Service, desk: ControlDesk) -> APIRouter:
    """Routes that may move the arm or stop it, and the check of a program."""
    router, hand, long = APIRouter(), Hand(service, desk), LongText()

    def taken() -> dict[str, Any]:
        return {"phase": service.phase, "unconfirmed": service.unstopped}

    def done(command: events.Command, who: str) -> dict[str, Any]:
        service.command(command, who)
        return taken()

    @router.post("/texts", status_code=201, openapi_extra=_TEXT)
    async def send(request: Request) -> dict[str, str]:
        return {"sha256": await long.take(await request.body())}

    @router.post("/check")
    async def check(body: bodies.LongBody, request: Request) -> Response:
        text = long.of(body, "the program")

        async def work(tell: Tell) -> Response:
            found = await service.runs.check(text, body.switches, tell)
            return Response(found, media_type="application/json")

        return await long_work(request, work)

    @router.post("/check/curves")
    async def curves(body: bodies.LongBody, request: Request) -> Response:
        text = long.of(body, "the program")

        async def work(tell: Tell) -> Response:
            return json_response(await service.runs.curves(text, body.switches, tell))

        return await long_work(request, work)

    @router.post("/home", status_code=202)
    async def home(
        body: bodies.HomeBody, request: Request, response: Response
    ) -> dict[str, int | None]:
        with desk.commanding(request) as who:
            number = service.command(events.Home(tuple(body.joints)), who.name)
        response.headers["Location"] = f"{API_PREFIX}/homings/{number}"
        return {"homing": number}

    @router.post("/joints/{name}/home/accept")
    async def accept_home(name: JointPath, request: Request) -> dict[str, Any]:
        # Nothing moves by it, but the arm may afterwards.
        with desk.commanding(request) as who:
            await service.accept_home(name, who.name)
        return taken()

    @router.post("/runs", status_code=202)
    async def play(body: bodies.RunBody, request: Request) -> Response:
        halts = service.runs.halts  # a stop that comes while anything is waited for counts

        async def work(tell: Tell) -> Response:
            with desk.commanding(request) as who:
                has_left = partial(desk.has_left, request, who)
                text = long.of(body, body.name)
                if body.taught is not None:
                    await service.taught.require_text(body.taught, text)
                wanted = Wanted(body.name, text, body.options, body.taught)
                return run_begun(await service.runs.play(wanted, has_left, who.name, halts, tell))

        return await long_work(request, work)

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

    @router.post("/output")
    async def output(body: bodies.OutputBody, request: Request) -> dict[str, Any]:
        with desk.commanding(request) as who:
            return done(events.Switch(body.output, body.on), who.name)

    @router.post("/jog")
    async def jog(body: bodies.JogBody, request: Request) -> dict[str, Any]:
        hand.jog(events.Jog(body.velocities_deg_s), asking(request))
        return taken()

    @router.post("/step")
    async def step(body: bodies.StepBody, request: Request) -> dict[str, Any]:
        hand.jog(events.Step(body.joint, body.by_deg, body.speed_deg_s), asking(request))
        return taken()

    @router.post("/go")
    async def go(body: bodies.GoBody, request: Request) -> dict[str, Any]:
        await service.taught.now()  # so that the hand knows it
        hand.jog(hand.go_to(body), asking(request))
        return taken()

    @router.post("/blink")
    async def blink(body: bodies.BlinkBody, request: Request) -> dict[str, Any]:
        return done(events.Blink(body.joint), name_of(request))

    return router
