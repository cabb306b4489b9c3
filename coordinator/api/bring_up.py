"""The bring-up of a joint: what is to be done, one step done, its sheet. Nothing moves by it."""

import asyncio
from collections.abc import Sequence
from importlib.metadata import version
from typing import Annotated, Final

from fastapi import APIRouter, Path, Request, Response

from coordinator.answers.bring_up import BringUp
from coordinator.api.bodies import BringUpBody
from coordinator.api.control_routes import asking
from coordinator.api.html_file import html_file
from coordinator.api.joints import JointPath, require_joint
from coordinator.api.json_response import json_response
from coordinator.api.problems import NotFound
from coordinator.bringup.basis import basis_of
from coordinator.bringup.facts import Against, Facts, Figures, Found, NotSo, Said, WrongSaid
from coordinator.bringup.figures import found_by
from coordinator.bringup.progress import (
    OTHER_BODY,
    SAME_BODY,
    Done,
    before_of,
    body_of,
    exchanged_with,
    newest_before,
    width_before,
)
from coordinator.bringup.progress import bring_up as progress
from coordinator.bringup.sheet import bring_up_sheet
from coordinator.bringup.steps import BY_CODE, STEPS, Aspect, Step
from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.codes.survey_word import SurveyPhase
from coordinator.core.events import Refused
from coordinator.core.snapshot.joint import JointSnapshot
from coordinator.service import Service
from coordinator.store.utc import utc_now
from protocol.constants import US

TOUCHED_US: Final = 60 * US
"""Whoever turned a joint's own control to see which it is says so within that."""
StepPath = Annotated[str, Path(min_length=1, max_length=32, examples=["identified"])]


def bring_up(service: Service) -> APIRouter:
    """Routes that ask for no control."""
    router, one_at_a_time = APIRouter(), asyncio.Lock()
    joints = service.arm.joints
    numbers = {joint.name: index + 1 for index, joint in enumerate(joints)}

    def heard(name: str) -> JointSnapshot:
        return next(one for one in service.snapshot().joints if one.name == name)

    async def told(name: str, done: Sequence[Done]) -> BringUp:
        joint = service.require_joint(name)
        identified = await service.bring_up.identified()
        others = {one.name: one.id for one in joints if one.name != name}
        exchanged = exchanged_with(joint.id, done, identified, others)
        return progress(joint, numbers[name], heard(name).firmware, done, exchanged)

    async def facts(name: str, done: Sequence[Done]) -> Facts:
        joint = service.require_joint(name)
        configured = next((one for one in reversed(done) if one.step == "configured"), None)
        behind = newest_before(done)
        survey = await service.newest_survey()
        results = survey.results if survey.phase is SurveyPhase.DONE else ()
        return Facts(
            joint,
            numbers[name],
            len(joints),
            heard(name),
            await service.homings.newest_of(name),
            await service.homings.of_joint(joint, behind),
            next((one for one in results if one.joint == name), None),
            touched=service.touched_within(TOUCHED_US),
            width_before_deg=width_before(now(name, done), done),
            configured={} if configured is None else configured.figures,
            behind=behind,
            survey_ended_us=survey.ended_us if results else None,
        )

    async def keep(name: str, one: Done) -> Response:
        await service.bring_up.keep(name, one)
        return json_response(await told(name, await service.bring_up.done(name)))

    def now(name: str, done: Sequence[Done]) -> dict[str, str]:
        joint = service.require_joint(name)
        return basis_of(joint, numbers[name], heard(name).firmware, body_of(joint.id, done))

    async def same_body(name: str, who: str) -> Response:
        done = await service.bring_up.done(name)
        before = before_of(service.require_joint(name).id, done)
        if before is None:
            raise Refused(
                RefusalCode.BRING_UP_NOT_SO,
                f"{name} has no other controller than the one with which it was brought up, or "
                "something was done with this one already",
            )
        body = before.basis.get(Aspect.BODY, "")
        basis = now(name, done) | {Aspect.BODY.value: body}
        response = await keep(name, Done(SAME_BODY, utc_now(), who, basis, {}))
        words = f"{name}: its controller alone was changed, said {who}"
        service.tell(Level.INFO, "brought-up", words)
        return response

    async def other_body(name: str, who: str) -> Response:
        done = await service.bring_up.done(name)
        basis, utc = now(name, done), utc_now()
        # Its number in the history makes it another one, whatever the wall clock says.
        body = f"changed {utc}, {len(done) + 1}"
        homing = await service.homings.newest_of(name)
        figures: Figures = {"homing_before": None if homing is None else homing.get("homing")}
        changed = Done(OTHER_BODY, utc, who, basis | {Aspect.BODY.value: body}, figures)
        response = await keep(name, changed)
        words = f"{name}: motor, gear, housing or magnets were changed, said {who}"
        service.tell(Level.ATTENTION, "brought-up", words)
        return response

    async def one_done(name: str, step: Step, said: Said, who: str) -> Response:
        done = await service.bring_up.done(name)
        try:
            found: Found | NotSo = found_by(step, said, await facts(name, done))
        except NotSo as error:
            found = error
        # What somebody saw counts at once, and what was measured against what was done before.
        saw = said.answer in step.bad_answers
        counts = isinstance(found, Against) and (saw or any(one.step == step.code for one in done))
        if not counts:
            _require_earlier(await told(name, done), step)
        if isinstance(found, Against):
            against = Done(step.code, utc_now(), who, now(name, done), found.figures)
            await service.bring_up.keep(name, against)
            words = f"{name}: {step.title.lower()} is not so, {who} was told: {found}"
            service.tell(Level.ATTENTION, "brought-up", f"{found}, said {who}" if saw else words)
        if isinstance(found, WrongSaid):
            raise Refused(RefusalCode.BRING_UP_INPUT, str(found)) from found
        if isinstance(found, NotSo):
            raise Refused(RefusalCode.BRING_UP_NOT_SO, str(found)) from found
        kept = Done(step.code, utc_now(), who, now(name, done), found.figures, found.picture)
        response = await keep(name, kept)
        service.tell(Level.INFO, "brought-up", f"{name}: {step.title.lower()}, said {who}")
        return response

    @router.get("/joints/{name}/bring-up")
    async def show(name: JointPath) -> Response:
        require_joint(service, name)
        return json_response(await told(name, await service.bring_up.done(name)))

    @router.get("/joints/{name}/bring-up/sheet", response_class=Response)
    async def sheet(name: JointPath) -> Response:
        require_joint(service, name)
        done = await service.bring_up.done(name)
        page = bring_up_sheet(
            service.arm.name, await told(name, done), done, utc_now(), version("unisono")
        )
        return html_file(page, f"bring-up-{name}.html", "inline")

    @router.post("/joints/{name}/bring-up/{step}")
    async def do(name: JointPath, step: StepPath, body: BringUpBody, request: Request) -> Response:
        require_joint(service, name)
        who = asking(request).name
        service.require_not_ending()
        async with one_at_a_time:  # what is earlier must stay so
            if step == SAME_BODY:
                return await same_body(name, who)
            if step == OTHER_BODY:
                return await other_body(name, who)
            if step not in BY_CODE:
                known = ", ".join([*BY_CODE, SAME_BODY, OTHER_BODY])
                raise NotFound(f"a bring-up has no step {step!r}; it has {known}")
            said = Said(body.answer, body.commanded_deg, body.measured_deg)
            return await one_done(name, BY_CODE[step], said, who)

    return router


def _require_earlier(told: BringUp, step: Step) -> None:
    """Raise Refused while an earlier step is to be done: each trusts in those before it."""
    order = [one.code for one in STEPS]
    if told.next is not None and order.index(told.next) < order.index(step.code):
        raise Refused(
            RefusalCode.BRING_UP_EARLIER,
            f"{told.joint}: {BY_CODE[told.next].title.lower()} comes first ({told.next})",
        )
