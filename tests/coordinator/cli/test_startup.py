"""What `unisono stop` must not wait for."""

import subprocess
import sys

HEAVY = (
    *("pydantic", "fastapi", "uvicorn", "sqlalchemy", "zeroconf", "websockets", "ruckig", "orjson"),
    *("simulator", "coordinator.rehearsal", "coordinator.motion", "coordinator.service"),
    *("coordinator.core.machine", "coordinator.api", "coordinator.store"),
)


def test_the_command_line_begins_without_what_plans_serves_or_rehearses() -> None:
    told = subprocess.run(
        [sys.executable, "-c", "import sys, coordinator.cli; print(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = set(told.stdout.split())
    assert "coordinator.cli.remote" in loaded
    assert loaded.isdisjoint(HEAVY)
