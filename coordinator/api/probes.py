"""What a supervisor and a monitoring system ask, at the root, where they look for it."""

from fastapi import FastAPI
from starlette.responses import Response

from coordinator.api.metrics import Metrics
from coordinator.api.problems import problem
from coordinator.service import Service


def healthy(service: Service) -> Response:
    """Whether the process is worth keeping."""
    if service.failed.is_set():
        return problem(503, "failed", "the coordinator broke; see its log, then start it anew")
    return _ok()


def ready(service: Service) -> Response:
    """Whether the arm can be commanded through it now."""
    if service.ready:
        return _ok()
    if service.failed.is_set():
        return healthy(service)
    return problem(503, "not-ready", "the coordinator is beginning or ending")


def add_probes(app: FastAPI, service: Service, metrics: Metrics) -> None:
    """Serve `/healthz`, `/readyz` and `/metrics`."""

    @app.get("/healthz", include_in_schema=False)
    async def _healthz() -> Response:
        return healthy(service)

    @app.get("/readyz", include_in_schema=False)
    async def _readyz() -> Response:
        return ready(service)

    @app.get("/metrics", include_in_schema=False)
    async def _metrics() -> Response:
        return metrics.response()


def _ok() -> Response:
    return Response('{"status":"ok"}', media_type="application/json")
