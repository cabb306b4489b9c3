"""How the API is served: with bounds on what connections may cost."""

from pathlib import Path

import uvicorn
from fastapi import FastAPI

from coordinator.api.connection import MAX_CONNECTIONS, BoundedHttp
from coordinator.api.feed_socket import MAX_WATCHERS
from coordinator.api.websocket import BoundedWebSocket


def server_config(app: FastAPI, certificate: Path | None = None) -> uvicorn.Config:
    """For an app on a port that is given when it is served; HTTPS with a certificate and its key.

    Watchers have room of their own: however many there are, a stop gets through.
    """
    return uvicorn.Config(
        app,
        http=BoundedHttp,
        ws=BoundedWebSocket,
        ws_max_size=1024,  # nobody has anything to say on the feed
        ws_per_message_deflate=False,
        log_config=None,
        access_log=False,
        lifespan="off",
        server_header=False,
        proxy_headers=False,  # nobody may say for another where it comes from
        limit_concurrency=MAX_CONNECTIONS + MAX_WATCHERS,
        timeout_graceful_shutdown=1,
        ssl_certfile=certificate,
    )
