"""The app: the API's parts under their prefix, and the page."""

import secrets

from fastapi import Depends, FastAPI

from coordinator.api.arm_file import arm_file
from coordinator.api.bodies import MAX_BODY_BYTES
from coordinator.api.bring_up import bring_up
from coordinator.api.commands import commands
from coordinator.api.control_routes import ControlDesk, taking
from coordinator.api.feed_socket import watching
from coordinator.api.hand import Hand
from coordinator.api.joints import joints
from coordinator.api.live_feed import LiveFeed, Seen
from coordinator.api.login import session
from coordinator.api.metrics import Metrics
from coordinator.api.middleware import RequestChecks
from coordinator.api.openapi import document
from coordinator.api.page import add_page
from coordinator.api.probes import add_probes
from coordinator.api.problems import add_handlers
from coordinator.api.queue import queue
from coordinator.api.records import records
from coordinator.api.rehearsals import rehearsals
from coordinator.api.served_at import ON_LOOPBACK, ServedAt
from coordinator.api.state_routes import reading
from coordinator.api.survey import survey
from coordinator.api.taught import taught
from coordinator.api.touch import TouchHands
from coordinator.api.updates import updates
from coordinator.api.warnings import warnings
from coordinator.config.settings import API_PREFIX
from coordinator.service import Service
from coordinator.workers.rehearsals import Rehearsals


def create_app(service: Service, served_at: ServedAt = ON_LOOPBACK) -> FastAPI:
    """The API and the page of one arm's coordinator."""
    app = FastAPI(
        title="Unisono",
        openapi_url=None,  # document.py serves it
        docs_url=None,  # both pages would load scripts from elsewhere
        redoc_url=None,
    )
    document(app)
    add_handlers(app)
    app.add_middleware(RequestChecks, served_at=served_at, max_body_bytes=MAX_BODY_BYTES)
    desk = ControlDesk(service)
    app.state.control = desk.control
    app.state.rehearsals = Rehearsals(service.arm)
    for part in (
        reading(service),
        arm_file(service, desk),
        joints(service),
        bring_up(service),
        updates(service, desk),
        survey(service),
        records(service),
        commands(service, desk),
        taking(desk),
        warnings(service),
        taught(service, desk),
        queue(service, desk),
        session(served_at),
        rehearsals(app.state.rehearsals, service),
    ):
        app.include_router(part, prefix=API_PREFIX, dependencies=[Depends(desk.hear)])
    TouchHands(service, desk, client_id=secrets.token_hex(12))
    feed = app.state.feed = LiveFeed(
        lambda: Seen(
            service.snapshot(), desk.state(), service.taught.revision, service.queue.queue
        ),
        service.preview,
        service.failed,
    )
    app.include_router(watching(feed, desk, Hand(service, desk)), prefix=API_PREFIX)
    add_probes(app, service, Metrics(service, feed))
    add_page(app)
    return app
