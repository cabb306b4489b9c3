"""Rehearsals over the API: begin one, see how it goes, cancel it, look at its plot."""

from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Response
from pydantic import Field

from coordinator.api.bodies import Number, SwitchedBody
from coordinator.api.problems import NotFound
from coordinator.codes.refusal import RefusalCode
from coordinator.config.settings import API_PREFIX
from coordinator.core.events import Refused
from coordinator.programs.size import size_mistake
from coordinator.service import Service
from coordinator.workers.rehearsals import Rehearsals, Wish

MAX_REPETITIONS: Final = 500
"""Some minutes for a short program; more are for the command line."""
Network = Literal["quiet", "home", "busy", "hostile"]
NETWORK: Final = "home"
REPETITIONS: Final = 20
CHOICE: Final = "rehearsal"
"""Key of the setting that remembers the network and the number of repetitions asked for last."""


class RehearsalBody(SwitchedBody):
    """A program to rehearse, on which network and how often."""

    name: Annotated[str, Field(min_length=1, max_length=255, examples=["prick_out_tray.nc"])]
    network: Annotated[Network, Field(examples=["home"])] = NETWORK
    repetitions: Annotated[int, Field(ge=1, le=MAX_REPETITIONS, examples=[2])] = REPETITIONS


def rehearsals(kept: Rehearsals, service: Service) -> APIRouter:
    """Routes of one arm's rehearsals. Nothing real moves, so they need no control."""
    router = APIRouter()

    last: dict[str, Any] = {}

    @router.get("/rehearsals")
    async def chosen() -> dict[str, Any]:
        return (
            last
            or await service.choices.last(CHOICE)
            or {"network": NETWORK, "repetitions": REPETITIONS}
        )

    @router.post("/rehearsals", status_code=202)
    async def begin(body: RehearsalBody, response: Response) -> dict[str, Any]:
        if sentence := size_mistake(body.name, len(body.text.encode(errors="replace"))):
            raise Refused(RefusalCode.PROGRAM_TOO_LARGE, sentence)
        told = tuple(service.snapshot().joints)
        wish = Wish(body.name, body.text, body.network, body.repetitions, body.switches, told)
        number = kept.begin(wish)
        last.update(network=body.network, repetitions=body.repetitions)
        service.choices.remember(CHOICE, dict(last))
        response.headers["Location"] = f"{API_PREFIX}/rehearsals/{number}"
        return {"rehearsal": number}

    @router.get("/rehearsals/{number}")
    async def state(number: Number) -> dict[str, Any]:
        found = kept.state(number)
        if found is None:
            raise NotFound(f"there is no rehearsal {number}")
        return found

    @router.delete("/rehearsals/{number}")
    async def cancel(number: Number) -> dict[str, Any]:
        if not await kept.cancel(number):
            raise NotFound(f"there is no rehearsal {number}")
        found = kept.state(number)
        assert found is not None
        return found

    @router.get("/rehearsals/{number}/plot")
    async def picture(number: Number) -> Response:
        found = await kept.picture(number)
        if found is None:
            raise NotFound(f"rehearsal {number} has nothing to draw")
        return Response(found, media_type="image/svg+xml")

    return router
