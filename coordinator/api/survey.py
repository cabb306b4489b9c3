"""A survey of the joints' links: begin one, see how it goes and what it found, cancel it."""

from typing import Final

from fastapi import APIRouter, Request, Response

from coordinator.api.bodies import SurveyBody
from coordinator.api.control_routes import name_of
from coordinator.api.json_response import json_response
from coordinator.config.settings import API_PREFIX
from coordinator.core.events import CancelSurvey, Survey
from coordinator.service import Service
from protocol.constants import US

_PLACE: Final = f"{API_PREFIX}/survey"


def survey(service: Service) -> APIRouter:
    """Routes of the newest survey. Nothing moves, so they need no control."""
    router = APIRouter()

    async def newest() -> Response:
        return json_response(await service.newest_survey())

    @router.get("/survey")
    async def show() -> Response:
        return await newest()

    @router.post("/survey", status_code=202)
    async def begin(body: SurveyBody, request: Request) -> Response:
        service.command(Survey(tuple(body.joints), round(body.for_s * US)), name_of(request))
        response = await newest()
        response.status_code = 202
        response.headers["Location"] = _PLACE
        return response

    @router.delete("/survey")
    async def cancel(request: Request) -> Response:
        service.command(CancelSurvey(), name_of(request))
        return await newest()

    return router
