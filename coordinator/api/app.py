"""The routes of the API. Each hands a value to the service or shows one."""

from typing import Annotated, Any, Final

from fastapi import FastAPI, Path, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from coordinator.api.guard import LoopbackOnly
from coordinator.api.problems import NotFound, add_handlers, problem
from coordinator.core import events
from coordinator.programs.size import MAX_PROGRAM_BYTES
from coordinator.service import Service
from coordinator.settings import API_PREFIX
from coordinator.stop_words import STOP_LEVELS, StopWord
from protocol.constants import PPM

MAX_BODY_BYTES: Final = 2 * MAX_PROGRAM_BYTES + 10_000
"""Of a program each line end takes two bytes in JSON, and even one of empty lines must fit."""
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]
JointName = Annotated[str, Field(min_length=1, max_length=32)]


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class HomeBody(_Body):
    """Joints to home; none named means all."""

    joints: Annotated[list[JointName], Field(max_length=64)] = []


class ProgramBody(_Body):
    """A program's text."""

    text: Annotated[str, Field(max_length=MAX_BODY_BYTES)]


class RunBody(ProgramBody):
    """A program to play, and what to call it."""

    name: Annotated[str, Field(min_length=1, max_length=255)]


class StopBody(_Body):
    """How to stop."""

    level: StopWord = "stop"


class OverrideBody(_Body):
    """Feed override in per cent of the program's speed."""

    percent: Annotated[float, Field(ge=5.0, le=100.0, allow_inf_nan=False)]


class JogBody(_Body):
    """Turn one joint; to be renewed several times a second."""

    joint: JointName
    velocity_deg_s: Annotated[float, Field(ge=-1e4, le=1e4, allow_inf_nan=False)]


class BlinkBody(_Body):
    """Show which joint it is."""

    joint: JointName


def create_app(service: Service) -> FastAPI:
    """The API of one arm's coordinator."""
    app = FastAPI(
        title="Unisono",
        openapi_url=f"{API_PREFIX}/openapi.json",
        docs_url=None,  # both pages would load scripts from elsewhere
        redoc_url=None,
    )
    add_handlers(app)
    app.add_middleware(LoopbackOnly, max_body_bytes=MAX_BODY_BYTES)
    _add_reading(app, service)
    _add_commands(app, service)
    return app


def _add_reading(app: FastAPI, service: Service) -> None:
    @app.get(f"{API_PREFIX}/healthz")
    async def health() -> Response:
        if service.failed.is_set():
            return problem(503, "failed", "the coordinator broke; see its log, then start it anew")
        return Response('{"status":"ok"}', media_type="application/json")

    @app.get(f"{API_PREFIX}/arm")
    async def arm() -> dict[str, Any]:
        return service.snapshot()

    @app.get(f"{API_PREFIX}/homings/{{number}}")
    async def homing(number: Number) -> dict[str, Any]:
        return _found(service.homing(number), f"there was no homing {number} since the start")

    @app.get(f"{API_PREFIX}/runs")
    async def runs() -> dict[str, Any]:
        return {"runs": service.runs()}

    @app.get(f"{API_PREFIX}/runs/{{number}}")
    async def run(number: Number) -> dict[str, Any]:
        return _found(await service.progress(number), f"there was no run {number}")

    @app.get(f"{API_PREFIX}/runs/{{number}}/report")
    async def report(number: Number) -> dict[str, Any]:
        return _found(await service.report(number), f"there was no run {number}")


def _add_commands(app: FastAPI, service: Service) -> None:
    def done(command: events.Command) -> dict[str, Any]:
        service.command(command)
        return {"phase": service.snapshot()["phase"]}

    @app.post(f"{API_PREFIX}/check")
    async def check(body: ProgramBody) -> Response:
        return Response(await service.check(body.text), media_type="application/json")

    @app.post(f"{API_PREFIX}/home", status_code=202)
    async def home(body: HomeBody, response: Response) -> dict[str, Any]:
        number = service.command(events.Home(tuple(body.joints)))
        response.headers["Location"] = f"{API_PREFIX}/homings/{number}"
        return {"homing": number}

    @app.post(f"{API_PREFIX}/runs", status_code=202)
    async def play(body: RunBody, request: Request, response: Response) -> dict[str, Any]:
        number = await service.play(body.name, body.text, request.is_disconnected)
        response.headers["Location"] = f"{API_PREFIX}/runs/{number}"
        return {"run": number}

    @app.post(f"{API_PREFIX}/hold")
    async def hold() -> dict[str, Any]:
        return done(events.Hold())

    @app.post(f"{API_PREFIX}/resume")
    async def resume() -> dict[str, Any]:
        return done(events.Resume())

    @app.post(f"{API_PREFIX}/stop")
    async def stop(body: StopBody) -> dict[str, Any]:
        return done(events.Stop(STOP_LEVELS[body.level]))

    @app.post(f"{API_PREFIX}/override")
    async def override(body: OverrideBody) -> dict[str, Any]:
        return done(events.Override(round(body.percent * PPM / 100)))

    @app.post(f"{API_PREFIX}/jog")
    async def jog(body: JogBody) -> dict[str, Any]:
        return done(events.Jog(body.joint, body.velocity_deg_s))

    @app.post(f"{API_PREFIX}/blink")
    async def blink(body: BlinkBody) -> dict[str, Any]:
        return done(events.Blink(body.joint))


def _found(value: dict[str, Any] | None, sentence: str) -> dict[str, Any]:
    if value is None:
        raise NotFound(sentence)
    return value
