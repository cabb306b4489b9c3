"""Control at the service's time, and the routes by which a client takes it and gives it back."""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import asdict

from fastapi import APIRouter, HTTPException, Request

from coordinator.answers.control import ControlState
from coordinator.api.control import Control, Who, who_is
from coordinator.codes.level import Level
from coordinator.core.events import Because, Hold, Refused
from coordinator.links.clock import arm_now_us
from coordinator.service import Service


class ControlDesk:
    """Who commands one service's arm."""

    def __init__(self, service: Service, now: Callable[[], int] = arm_now_us) -> None:
        self.control = Control()
        self.now = now
        """Arm time, in µs."""
        self._service = service

    async def hear(self, request: Request) -> None:
        """A client asked something: to be called for every route. Never refuses."""
        self.control.heard(request.headers.get("unisono-client", ""), self.now())

    def commanding(self, request: Request) -> contextlib.AbstractContextManager[Who]:
        """The client that commands motion in here. Raises Refused while another has control."""
        return self.commanding_as(asking(request))

    @contextlib.contextmanager
    def commanding_as(self, who: Who) -> Iterator[Who]:
        """The same for a client that is known.

        Control that came with the command goes with it where that is refused.
        """
        grant = self.control.command(who, self.now(), moving=self._service.busy)
        try:
            yield who
        except BaseException:
            self.control.came_to_nothing(grant)
            raise
        self.control.carried_out(grant)

    def has(self, who: Who) -> bool:
        """Whether it has control now."""
        return self.state().holder == who.public

    def require(self, who: Who) -> None:
        """Raise Refused if control was taken over meanwhile."""
        self.control.require(who, self.now())

    async def has_left(self, request: Request, who: Who) -> bool:
        """Whether a client that plans a play has left; Refused if it has control no more, as
        planning may take long.
        """
        left = await request.is_disconnected()
        self.require(who)
        return left

    def state(self) -> ControlState:
        """Who has control."""
        return self.control.state(self.now(), moving=self._service.busy)

    def take(self, who: Who) -> None:
        """Take control; what moves for somebody else is stopped first."""
        before = self.control.take(who, self.now(), moving=self._service.busy)
        if before is None:
            return
        with contextlib.suppress(Refused):  # nothing moves, or nothing can be sent any more
            self._service.command(Hold(Because.TAKEN_OVER), who.name, detail=True)
        self._service.tell(
            Level.ATTENTION,
            "control-taken",
            f"{who.name} ({who.public}) took control from {before.name} ({before.public}); "
            "what moved was told to come to rest",
        )


def asking(request: Request) -> Who:
    """The client behind a request. Raises HTTPException for one that names itself wrongly."""
    headers = request.headers
    try:
        return who_is(headers.get("unisono-client"), headers.get("unisono-client-name"))
    except ValueError as error:
        raise HTTPException(400, str(error)) from error


def name_of(request: Request) -> str:
    """What to call the client behind a request, for what is refused to nobody."""
    try:
        return asking(request).name
    except HTTPException:
        return "somebody"


def taking(desk: ControlDesk) -> APIRouter:
    """Routes of control itself."""
    router = APIRouter()

    def shown(request: Request) -> dict[str, str | int | None]:
        return {**asdict(desk.state()), "you": asking(request).public}

    @router.get("/control")
    async def show(request: Request) -> dict[str, str | int | None]:
        return shown(request)

    @router.post("/control/take")
    async def take(request: Request) -> dict[str, str | int | None]:
        desk.take(asking(request))
        return shown(request)

    @router.post("/control/release")
    async def release(request: Request) -> dict[str, str | int | None]:
        desk.control.release(asking(request))
        return shown(request)

    return router
