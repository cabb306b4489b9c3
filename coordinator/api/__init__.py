"""The HTTP API, under /api/v1."""

from coordinator.api.app import create_app

__all__ = ["create_app"]
