"""The API of an arm none of whose joints is there, without a socket."""

from collections.abc import AsyncIterator
from pathlib import Path

import httpx2
import pytest

from coordinator.api import create_app
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import API_PREFIX, DEMO_ARM
from coordinator.service import Service

BASE = "http://127.0.0.1:8750" + API_PREFIX


@pytest.fixture(name="service")
async def service_of(tmp_path: Path) -> AsyncIterator[Service]:
    """It refuses every motion, but not for control."""
    make_key(tmp_path)
    service = Service(load_arm(DEMO_ARM), tmp_path, "127.0.0.1")
    yield service
    await service.close()


@pytest.fixture(name="http")
async def http_of(service: Service) -> AsyncIterator[httpx2.AsyncClient]:
    """Its API."""
    transport = httpx2.ASGITransport(create_app(service))
    async with httpx2.AsyncClient(transport=transport, base_url=BASE) as http:
        yield http
