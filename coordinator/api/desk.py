"""Control at the service's time, and the routes by which a client takes it and gives it back."""

import contextlib
from collections.abc import Iterator
from typing import Any

from fastapi import APIRouter, HTTPException, Request

from coordinator.api.control import MOVING, Control, Who, who_is
from coordinator.core.events import Hold, Refused
from coordinator.links.clock import arm_now_us
from coordinator.service import Service


class Desk:
    """Who commands one service's arm."""

    def __init__(self, service: Service) -> None:
        self.control = Control()
        self._service = service

    async def hear(self, request: Request) -> None:
        """A client asked something: to be called for every route. Never refuses."""
        self.control.heard(request.headers.get("unisono-client", ""), arm_now_us())

    @contextlib.contextmanager
    def commanding(self, request: Request) -> Iterator[Who]:
        """The client that commands motion in here. Raises Refused while another has control.

        Control that came with the command goes with it where that is refused.
        """
        who = asking(request)
        grant = self.control.command(who, arm_now_us(), moving=self._moving())
        try:
            yield who
        except BaseException:
            self.control.came_to_nothing(grant)
            raise
        self.control.carried_out(grant)

    def require(self, who: Who) -> None:
        """Raise Refused if control was taken over meanwhile."""
        self.control.require(who, arm_now_us())

    def state(self) -> dict[str, Any]:
        """Who has control."""
        return self.control.state(arm_now_us(), moving=self._moving())

    def take(self, who: Who) -> None:
        """Take control; what moves for somebody else is stopped first."""
        before = self.control.take(who, arm_now_us(), moving=self._moving())
        if before is None:
            return
        with contextlib.suppress(Refused):  # nothing moves, or nothing can be sent any more
            self._service.command(Hold(), who.name)
        self._service.tell(
            "attention",
            "control-taken",
            f"{who.name} ({who.public}) took control from {before.name} ({before.public}); "
            "what moved was told to come to rest",
        )

    def _moving(self) -> bool:
        return self._service.phase in MOVING


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


def taking(desk: Desk) -> APIRouter:
    """Routes of control itself."""
    router = APIRouter()

    def shown(request: Request) -> dict[str, Any]:
        return {**desk.state(), "you": asking(request).public}

    @router.get("/control")
    async def show(request: Request) -> dict[str, Any]:
        return shown(request)

    @router.post("/control/take")
    async def take(request: Request) -> dict[str, Any]:
        desk.take(asking(request))
        return shown(request)

    @router.post("/control/release")
    async def release(request: Request) -> dict[str, Any]:
        desk.control.release(asking(request))
        return shown(request)

    return router
