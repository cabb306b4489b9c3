"""What is worth knowing of one joint only now and then."""

import asyncio
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.exceptions import RequestValidationError
from pydantic import AwareDatetime

from coordinator.api.history_csv import history_csv
from coordinator.api.json_response import json_response
from coordinator.api.problems import NotFound
from coordinator.config.joint import Joint
from coordinator.core.events import Refused
from coordinator.history.levels import LEAST_POINTS, MOST_POINTS
from coordinator.service import Service
from coordinator.store.utc import unix_now_s

CSV: Final = "text/csv"
USUAL_POINTS: Final = 400
"""Of a chart: about one for two dots of a screen."""
USUAL_S: Final = 3_600
EARLIEST: Final = datetime(1970, 1, 1, tzinfo=UTC)
LATEST: Final = datetime(2200, 1, 1, tzinfo=UTC)
_NONE_FOUND: Final[dict[str, Any]] = {
    "homing": None, "edges": [], "middle": None, "home_offset_deg": None, "shift_deg": None,
    "temperature_c": None, "controller": None, "figures": None, "wandered_deg": None,
    "reference": None, "since_reference_deg": None,
}  # fmt: skip

JointPath = Annotated[str, Path(min_length=1, max_length=32, examples=["elbow"])]
From = Annotated[
    AwareDatetime | None,
    Query(
        alias="from",
        description="From this instant on (ISO 8601 with its zone); an hour before `to` without.",
        examples=["2026-05-01T09:00:00Z"],
    ),
]
HopFrom = Annotated[
    AwareDatetime | None,
    Query(
        alias="from",
        description="How its hop wears is told by what it was from this instant on, such as of a "
        "repair (ISO 8601 with its zone); of the last 365 days at most.",
        examples=["2026-05-01T09:00:00Z"],
    ),
]
To = Annotated[
    AwareDatetime | None,
    Query(description="Up to this instant; now without.", examples=["2026-05-01T10:00:00Z"]),
]
Points = Annotated[
    int,
    Query(
        ge=LEAST_POINTS, le=MOST_POINTS, description="At most so many stretches.", examples=[400]
    ),
]
Form = Annotated[
    Literal["json", "csv"] | None,
    Query(
        alias="format",
        description="`csv` for a table (RFC 4180); else what `Accept` asks for.",
        examples=["csv"],
    ),
]


def joints(service: Service) -> APIRouter:
    """Routes that read what is kept of a joint."""
    router = APIRouter()

    @router.get("/joints/{name}/homing")
    async def homing(name: JointPath) -> dict[str, Any]:
        require_joint(service, name)
        found = await service.homings.newest_of(name)
        # That none is known is an answer, which a page asks for of every joint.
        return found or _NONE_FOUND

    @router.get("/joints/{name}/homings")
    async def homings(name: JointPath) -> Response:
        return json_response(await service.homings.of_joint(require_joint(service, name)))

    @router.get("/joints/{name}/history")
    async def history(
        name: JointPath,
        request: Request,
        since: From = None,
        to: To = None,
        points: Points = USUAL_POINTS,
        form: Form = None,
    ) -> Response:
        require_joint(service, name)
        now_s = unix_now_s()
        from_s, to_s = _span(since, to, now_s)
        found = await service.history.history(name, from_s, to_s, points, now_s)
        if form == "csv" or (form is None and _prefers_csv(request)):
            table = await asyncio.to_thread(history_csv, found)
            return Response(table, media_type=CSV, headers=_saved(name))
        # A thread would spare the loop nothing: all the while orjson lets no other one run. 2,000
        # stretches take it a millisecond or so.
        return json_response(found)

    @router.get("/joints/{name}/wear")
    async def wear(name: JointPath, since: HopFrom = None) -> Response:
        require_joint(service, name)
        from_s, now_s = 0 if since is None else _instant("from", since), unix_now_s()
        if since is not None and from_s > now_s:
            # As if there were nothing to tell: a year that was mistyped must not look like that.
            _wrong("from", f"is {since.isoformat()}, but must not be to come")
        return json_response(await service.history.wear(name, now_s, from_s))

    return router


def require_joint(service: Service, name: str) -> Joint:
    """The arm's joint of that name. Raises NotFound with those that there are."""
    try:
        return service.require_joint(name)
    except Refused as unknown:
        raise NotFound(unknown.message) from unknown


def _span(since: datetime | None, to: datetime | None, now_s: int) -> tuple[int, int]:
    """From and to in Unix time. Raises RequestValidationError where they are none."""
    end = to or datetime.fromtimestamp(now_s, UTC)
    begin = since or max(EARLIEST, end - timedelta(seconds=USUAL_S))
    from_s, to_s = _instant("from", begin), _instant("to", end)
    if from_s >= to_s:
        _wrong("from", f"is {begin.isoformat()}, but must be before {end.isoformat()}")
    return from_s, to_s


def _instant(place: str, at: datetime) -> int:
    """In Unix time. Raises RequestValidationError where it is out of bounds."""
    if not EARLIEST <= at <= LATEST:
        _wrong(place, f"is {at.isoformat()}, but must be from 1970 to 2200")
    return int(at.timestamp())


def _wrong(place: str, message: str) -> None:
    raise RequestValidationError([{"loc": ("query", place), "msg": message, "type": "value_error"}])


def _prefers_csv(request: Request) -> bool:
    """Whether CSV is asked for and JSON is not (a browser takes anything, which is JSON here)."""
    accepted = request.headers.get("accept", "")
    return CSV in accepted and "application/json" not in accepted


def _saved(name: str) -> dict[str, str]:
    """It is a file to be saved, whatever is in it."""
    return {
        "Content-Disposition": f'attachment; filename="{name}-history.csv"',
        "X-Content-Type-Options": "nosniff",
        "Vary": "Accept",
    }
