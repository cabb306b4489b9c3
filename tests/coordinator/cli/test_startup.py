"""What commands and the processes behind them must not wait for."""

import subprocess
import sys

HEAVY = (
    *("pydantic", "fastapi", "uvicorn", "sqlalchemy", "zeroconf", "websockets", "ruckig", "orjson"),
    "cryptography",
    *("simulator", "coordinator.rehearsal", "coordinator.motion", "coordinator.service"),
    *("coordinator.core.machine", "coordinator.api", "coordinator.store"),
    *("coordinator.accuracy", "tomlkit", "statistics"),
)


def loaded_by(module: str) -> set[str]:
    """All modules that a new process has once it has imported this one."""
    told = subprocess.run(
        [sys.executable, "-c", f"import sys, {module}; print(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    return set(told.stdout.split())


def test_the_command_line_begins_without_what_plans_serves_or_rehearses() -> None:
    loaded = loaded_by("coordinator.cli.command")
    assert "coordinator.cli.remote" in loaded
    assert loaded.isdisjoint(HEAVY)


def test_software_joints_begin_without_what_serves_or_keeps_records() -> None:
    loaded = loaded_by("coordinator.cli.simulating")
    assert "simulator.server" in loaded
    assert loaded.isdisjoint(
        ("fastapi", "uvicorn", "sqlalchemy", "alembic", "cryptography", "coordinator.service")
    )


def test_a_process_that_a_command_starts_begins_without_the_command_line() -> None:
    loaded = loaded_by("coordinator.cli.__main__")
    assert "coordinator.cli" in loaded
    assert loaded.isdisjoint(
        (*HEAVY, "typer", "rich", "coordinator.client", "coordinator.cli.command")
    )
