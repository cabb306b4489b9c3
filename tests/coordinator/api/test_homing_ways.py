"""What the API tells of how joints will home, and of an arm whose joints home only while held."""

from dataclasses import replace
from pathlib import Path

import httpx2

from coordinator.api import create_app
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.service import Service
from tests.coordinator.api.conftest import BASE
from tests.coordinator.api.test_api import problem


async def test_ways_are_told_before_any_joint_is_heard_and_homing_waits_for_a_hand(
    tmp_path: Path,
) -> None:
    make_key(tmp_path)
    arm = replace(load_arm(DEMO_ARM), homing_while_held=True)
    service = Service(arm, tmp_path, "127.0.0.1")
    await service.open()
    transport = httpx2.ASGITransport(create_app(service))
    try:
        async with httpx2.AsyncClient(transport=transport, base_url=BASE) as http:
            told = (await http.get("/arm")).json()
            assert told["homing_while_held"] is True
            ways = told["homing_ways"]
            assert [way["joint"] for way in ways] == list(arm.homing_order)
            shoulder = next(way for way in ways if way["joint"] == "shoulder")
            assert shoulder == {
                "joint": "shoulder", "angle_known": False, "searches": "larger",
                "travel_deg": 190.0, "on_sensor": None, "backoff_deg": 5.0, "speed_deg_s": 15.0,
                "may_collide": "the trays and the bench, with all that it carries",
            }  # fmt: skip
            problem(await http.post("/home", json={}), 409, "held-only")
            problem(await http.post("/home", json={"joints": ["elbow"]}), 409, "held-only")
            # Who was refused has no control by that.
            assert (await http.get("/control")).json()["holder"] is None
    finally:
        await service.close()
