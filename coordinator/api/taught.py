"""What was taught: waypoints, sequences and programs, their changes, and sequences as programs.

Whoever edits must have control, as whoever moves the arm: one teaches, others watch.
"""

import asyncio
import contextlib
from collections.abc import Iterator
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field

from coordinator.answers.taught import TaughtSnapshot
from coordinator.api.bodies import Body, Number, ProgramBody
from coordinator.api.control_routes import ControlDesk
from coordinator.api.correction import corrected, program_preview
from coordinator.api.hand import show_recorded
from coordinator.api.json_response import json_response
from coordinator.api.problems import NotFound
from coordinator.api.records import Limit, program_text
from coordinator.codes.level import Level
from coordinator.config.problems import MAX_PROBLEMS
from coordinator.programs import ProgramError
from coordinator.records.taught import TaughtNow
from coordinator.service import Service
from coordinator.teaching.correction import Correction, Shift
from coordinator.teaching.edits import AskedEdit
from coordinator.teaching.known import NoSuch, program_of, sequence_of
from coordinator.teaching.program import to_program
from coordinator.teaching.rewrite import Rewrite
from coordinator.teaching.taught import KeptProgram, Sequence, Taught
from coordinator.teaching.visit_edits import Record

Revision = Annotated[int, Field(ge=0, le=2**53 - 1, examples=[7])]
ChangeId = Annotated[int, Query(ge=1, le=2**53 - 1, description="Id of a change.", examples=[12])]
Of = Annotated[int, Query(ge=1, le=2**53 - 1, description="A sequence or program.", examples=[1])]


class RevisionBody(Body):
    """The revision that whoever asks has seen last."""

    revision: Revision


class EditBody(RevisionBody):
    """An edit of what was taught."""

    edit: Annotated[
        AskedEdit,
        Field(
            discriminator="type",
            examples=[{"type": "record", "sequence": 1, "name": "above the tray"}],
        ),
    ]


class WrittenBody(RevisionBody, ProgramBody):
    """A sequence's program, as it shall be."""


class ShiftBody(Body):
    """A shift to look at; nothing is changed."""

    shift: Annotated[
        Shift,
        Field(examples=[{"type": "shift", "offsets_deg": {"elbow": 0.4}, "why": "magnet moved"}]),
    ]


@contextlib.contextmanager
def _in_path() -> Iterator[None]:
    """What a path names and is not there is not found; what a body names is wrong."""
    try:
        yield
    except NoSuch as error:
        raise NotFound(str(error)) from error


def taught(service: Service, desk: ControlDesk) -> APIRouter:
    """Routes of what was taught."""
    router, keeper = APIRouter(), service.taught

    def told(now: TaughtNow) -> Response:
        all_of_it = now.taught
        snapshot = TaughtSnapshot(
            revision=now.revision,
            waypoints=tuple(all_of_it.waypoints.values()),
            sequences=tuple(all_of_it.sequences.values()),
            programs=tuple(all_of_it.programs.values()),
            undo=now.undo,
            redo=now.redo,
        )
        return json_response(snapshot)

    async def then(change: int | None) -> Taught:
        if change is None:
            return (await keeper.now()).taught
        found = await keeper.as_after(change)
        if found is None:
            raise NotFound(f"there was no change {change}")
        return found

    @router.get("/taught")
    async def show() -> Response:
        return told(await keeper.now())

    @router.post("/taught/edits")
    async def edit(body: EditBody, request: Request) -> Response:
        with desk.commanding(request) as who:
            wanted = body.edit
            edit = await corrected(service, wanted) if isinstance(wanted, Shift) else wanted
            desk.require(who)  # that may take long
            now = await keeper.edit(body.revision, edit, who.name)
            if isinstance(edit, Record):
                show_recorded(service, who)
            if isinstance(edit, Correction) and now.revision != body.revision:
                words = edit.words(now.taught)
                service.tell(Level.INFO, "taught", f"{who.name} {words}")
            return told(now)

    @router.post("/taught/undo")
    async def undo(body: RevisionBody, request: Request) -> Response:
        with desk.commanding(request):
            return told(await keeper.undo(body.revision))

    @router.post("/taught/redo")
    async def redo(body: RevisionBody, request: Request) -> Response:
        with desk.commanding(request):
            return told(await keeper.redo(body.revision))

    @router.post("/taught/shift")
    async def preview(body: ShiftBody) -> Response:
        waypoints = body.shift.preview((await keeper.now()).taught, service.arm)
        programs = (await corrected(service, body.shift)).programs
        shown = [program_preview(one) for one in programs if one.after.changed or one.obstacles]
        return json_response({"waypoints": waypoints, "programs": shown})

    @router.get("/taught/results")
    async def results() -> Response:
        found = await service.runs.newest_of_taught()
        now = (await keeper.now()).taught
        played = {one["taught"] for one in found}
        wanted: list[Sequence | KeptProgram] = [
            one for one in now.sequences.values() if one.id in played
        ]
        wanted += [one for one in now.programs.values() if one.id in played]
        # Of long sequences that takes a while, in which the arm is driven.
        digests = await asyncio.to_thread(
            lambda: {one.id: keeper.digest(now, one) for one in wanted}
        )
        told = [one for one in found if one["taught"] in digests]
        for one in told:
            one["same_text"] = one.pop("taught_sha256") == digests[one["taught"]]
        return json_response({"runs": told})

    @router.get("/taught/changes")
    async def changes(
        before: ChangeId | None = None, limit: Limit = 100, sequence: Of | None = None
    ) -> Response:
        return json_response({"changes": await keeper.changes(before, limit, sequence)})

    @router.get("/taught/sequences/{number}/program", response_class=Response)
    async def program(number: Number, change: ChangeId | None = None) -> Response:
        all_of_it = await then(change)
        with _in_path():
            sequence = sequence_of(all_of_it, number)
        return program_text(to_program(sequence, all_of_it, service.arm))

    @router.get("/taught/programs/{number}/text", response_class=Response)
    async def text(number: Number, change: ChangeId | None = None) -> Response:
        all_of_it = await then(change)
        with _in_path():
            program = program_of(all_of_it, number)
        return program_text(await keeper.program_text(program))

    @router.put("/taught/sequences/{number}/program")
    async def write(number: Number, body: WrittenBody, request: Request) -> Response:
        with _in_path():
            sequence_of((await keeper.now()).taught, number)
        with desk.commanding(request) as who:
            visits, problems = await service.runs.read_visits(body.text)
            if problems:
                raise ProgramError(problems)
            desk.require(who)  # reading takes a while
            rewrite = Rewrite(number, tuple(visits))
            return told(await keeper.edit(body.revision, rewrite, who.name))

    @router.post("/taught/check")
    async def check(body: ProgramBody) -> Response:
        problems = (await service.runs.read_visits(body.text))[1]
        return json_response({"errors": problems[:MAX_PROBLEMS]})

    return router
