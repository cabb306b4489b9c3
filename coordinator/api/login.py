"""How a page shows its token once, and is known by a cookie from then on."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Request, Response
from pydantic import Field

from coordinator.api.authentication import COOKIE, address_of
from coordinator.api.bodies import Body
from coordinator.api.served_at import ServedAt
from coordinator.api.tokens import Role

DAYS_KEPT: Final = 30


class SessionBody(Body):
    """A token."""

    token: Annotated[str, Field(min_length=1, max_length=200, examples=["x7Qd" * 10 + "x7Q"])]


def session(served_at: ServedAt) -> APIRouter:
    """Routes of the login."""
    router = APIRouter()

    @router.get("/session")
    async def show(request: Request) -> dict[str, Any]:
        return {"role": request.state.role}

    @router.post("/session", response_model=None)
    async def log_in(
        body: SessionBody, request: Request, response: Response
    ) -> dict[str, Any] | Response:
        if served_at.access is None:
            return {"role": Role.OPERATE}
        role = served_at.access.role_of(body.token)
        if role is None:
            return served_at.access.refusal(body.token, address_of(request.scope))
        response.set_cookie(
            COOKIE, body.token, max_age=DAYS_KEPT * 86_400, path="/",
            secure=True, httponly=True, samesite="strict",
        )  # fmt: skip
        return {"role": role}

    @router.delete("/session")
    async def log_out(response: Response) -> dict[str, Any]:
        response.delete_cookie(COOKIE, path="/", secure=True, httponly=True, samesite="strict")
        return {"role": None}

    return router
