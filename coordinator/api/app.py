"""The app: the API's parts under their prefix, and the page."""

from fastapi import Depends, FastAPI

from coordinator.api.bodies import MAX_BODY_BYTES
from coordinator.api.commands import commands
from coordinator.api.desk import Desk, taking
from coordinator.api.document import document
from coordinator.api.feed import Feed
from coordinator.api.guard import Guard
from coordinator.api.joints import joints
from coordinator.api.metrics import Metrics
from coordinator.api.page import add_page
from coordinator.api.place import ON_LOOPBACK, Place
from coordinator.api.probes import add_probes
from coordinator.api.problems import add_handlers
from coordinator.api.reading import reading
from coordinator.api.records import records
from coordinator.api.rehearsals import rehearsals
from coordinator.api.session import session
from coordinator.api.warnings import warnings
from coordinator.api.watching import watching
from coordinator.rehearsing import Rehearsals
from coordinator.service import Service
from coordinator.settings import API_PREFIX


def create_app(service: Service, place: Place = ON_LOOPBACK) -> FastAPI:
    """The API and the page of one arm's coordinator."""
    app = FastAPI(
        title="Unisono",
        openapi_url=None,  # document.py serves it
        docs_url=None,  # both pages would load scripts from elsewhere
        redoc_url=None,
    )
    document(app)
    add_handlers(app)
    app.add_middleware(Guard, place=place, max_body_bytes=MAX_BODY_BYTES)
    desk = Desk(service)
    app.state.rehearsals = Rehearsals(service.arm)
    for part in (
        reading(service),
        joints(service),
        records(service),
        commands(service, desk),
        taking(desk),
        warnings(service),
        session(place),
        rehearsals(app.state.rehearsals, service),
    ):
        app.include_router(part, prefix=API_PREFIX, dependencies=[Depends(desk.hear)])
    feed = app.state.feed = Feed(service, desk)
    app.include_router(watching(feed, desk), prefix=API_PREFIX)
    add_probes(app, service, Metrics(service, feed))
    add_page(app)
    return app
