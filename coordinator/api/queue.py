"""The queue: what is played one after another. Who edits or plays it must have control."""

from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Literal

from fastapi import APIRouter, Request, Response
from pydantic import Field

from coordinator.api.bodies import Body, OptionsBody
from coordinator.api.control import Who
from coordinator.api.control_routes import ControlDesk
from coordinator.api.json_response import json_response
from coordinator.api.long_work import long_work, run_begun
from coordinator.playing.queue import AddEntry, ClearQueue, MoveEntry, RemoveEntry, SetOptions
from coordinator.programs.progress import Tell
from coordinator.service import Service
from coordinator.teaching.known import Id


class QueueBody(Body):
    """The revision of the queue that whoever asks has seen last."""

    revision: Annotated[int, Field(ge=0, le=2**53 - 1, examples=[7])]


class AddBody(Body):
    """One more at the end, to be played so."""

    type: Annotated[Literal["add"], Field(examples=["add"])]
    taught: Annotated[Id, Field(examples=[1])]
    options: Annotated[OptionsBody, Field(examples=[{"loops": 2}])] = OptionsBody()

    @property
    def edit(self) -> AddEntry:
        """The edit that it asks for."""
        return AddEntry(self.taught, self.options.options)


class SetOptionsBody(Body):
    """One played so, and not as before."""

    type: Annotated[Literal["set-options"], Field(examples=["set-options"])]
    entry: Annotated[Id, Field(examples=[1])]
    options: Annotated[OptionsBody, Field(examples=[{"optional_stop": True}])]

    @property
    def edit(self) -> SetOptions:
        """The edit that it asks for."""
        return SetOptions(self.entry, self.options.options)


class QueueEditBody(QueueBody):
    """An edit of the queue."""

    edit: Annotated[
        AddBody | SetOptionsBody | MoveEntry | RemoveEntry | ClearQueue,
        Field(
            discriminator="type", examples=[{"type": "add", "taught": 1, "options": {"loops": 2}}]
        ),
    ]


@dataclass(frozen=True, slots=True)
class _AsClient:
    """The client for which the queue is played, gone or not: another in control ends it."""

    desk: ControlDesk
    who: Who

    @property
    def name(self) -> str:
        return self.who.name

    def commanding(self) -> AbstractContextManager[object]:
        return self.desk.commanding_as(self.who)

    async def has_left(self) -> bool:
        self.desk.require(self.who)  # somebody may have taken control while it was planned
        return False  # who played the queue need not stay for what comes later


def queue(service: Service, desk: ControlDesk) -> APIRouter:
    """Routes of the queue."""
    router, player = APIRouter(), service.queue

    @router.get("/queue")
    async def show() -> Response:
        return json_response(await player.now())

    @router.post("/queue/edits")
    async def edit(body: QueueEditBody, request: Request) -> Response:
        with desk.commanding(request):
            asked = body.edit
            edit = asked.edit if isinstance(asked, AddBody | SetOptionsBody) else asked
            return json_response(await player.edit(body.revision, edit))

    @router.post("/queue/play", status_code=202)
    async def play(body: QueueBody, request: Request) -> Response:
        halts = service.runs.halts  # a stop that comes while anything is waited for counts

        async def work(tell: Tell) -> Response:
            with desk.commanding(request) as who:
                has_left = partial(desk.has_left, request, who)
                as_client = _AsClient(desk, who)
                return run_begun(await player.play(body.revision, as_client, halts, has_left, tell))

        return await long_work(request, work)

    return router
