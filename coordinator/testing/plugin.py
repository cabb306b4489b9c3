"""What pytest loads by its entry point: the fixtures `arm` and `live_arm`, and what they go by.

Imports pytest and nothing else at first: whoever has no test of an arm waits for nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pytest

if TYPE_CHECKING:
    from coordinator.config.arm import Arm
    from coordinator.testing.live_arm import LiveArm
    from coordinator.testing.virtual_arm import VirtualArm

MARK: Final = "unisono_arm"
FILE_OPTION: Final = "unisono_arm_file"
DEFAULT_FILE: Final = "arm.toml"
_HELP: Final = (
    'unisono_arm(file="arm.toml", network="quiet", seed=1): the arm that the fixtures arm and '
    "live_arm simulate; the file is named from pytest's root folder"
)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Say which option there is in pytest's configuration."""
    parser.addini(
        FILE_OPTION,
        f"arm file of the fixtures arm and live_arm, from pytest's root folder; {DEFAULT_FILE} "
        "unless it is set",
        default="",
    )


def pytest_configure(config: pytest.Config) -> None:
    """Make the mark known."""
    config.addinivalue_line("markers", _HELP)


@pytest.fixture
def arm(request: pytest.FixtureRequest) -> "VirtualArm":
    """Your arm in virtual time, switched on, all joints connected and none homed."""
    from coordinator.rehearsal.meeting import RehearsalError
    from coordinator.testing.virtual_arm import VirtualArm

    wanted = _wanted(request)
    read = _read(wanted)
    try:
        return VirtualArm(read, network=wanted.network, seed=wanted.seed)
    except RehearsalError as error:
        why = str(error)
    pytest.fail(why, pytrace=False)


@pytest.fixture
def live_arm(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator["LiveArm"]:
    """Your arm on loopback: software joints and `unisono serve` as processes, all linked."""
    from coordinator.testing.live_arm import NotLive, live

    wanted = _wanted(request)
    folder = tmp_path / "live_arm"
    folder.mkdir()
    read = _read(wanted)
    try:
        with live(read, folder, network=wanted.network, seed=wanted.seed) as made:
            yield made
            return
    except NotLive as error:
        why = str(error)
    pytest.fail(why, pytrace=False)


@dataclass(frozen=True, slots=True)
class _Wanted:
    """Which arm a test asks for."""

    file: Path
    named_by: str
    """Who named the file; empty where nobody did."""
    network: str
    seed: int


def _wanted(request: pytest.FixtureRequest) -> _Wanted:
    """What mark and configuration say: of several marks the closest counts, word by word."""
    from simulator.network import PROFILES

    asked: dict[str, Any] = {}
    for mark in reversed(list(request.node.iter_markers(MARK))):
        if mark.args:
            pytest.fail(f"{MARK} takes names: file=, network=, seed=", pytrace=False)
        asked |= mark.kwargs
    marked, configured = asked.pop("file", None), request.config.getini(FILE_OPTION)
    named_by = f"@pytest.mark.{MARK}" if marked else FILE_OPTION if configured else ""
    file = marked or configured or DEFAULT_FILE
    network, seed = asked.pop("network", "quiet"), asked.pop("seed", 1)
    if asked:
        pytest.fail(
            f"{MARK} has no {', '.join(asked)}; it takes file, network and seed", pytrace=False
        )
    if network not in PROFILES:
        pytest.fail(
            f"{MARK}: network is {network!r}, but must be one of {', '.join(PROFILES)}",
            pytrace=False,
        )
    if not isinstance(seed, int):
        pytest.fail(f"{MARK}: seed is {seed!r}, but must be a whole number", pytrace=False)
    return _Wanted(request.config.rootpath / file, named_by, network, seed)


def _read(wanted: _Wanted) -> "Arm":
    from coordinator.config.arm import ArmFileError, load_arm

    try:
        return load_arm(wanted.file)
    except ArmFileError as error:
        why = str(error)
    if wanted.named_by:
        why += f"\n(named by {wanted.named_by})"
    elif not wanted.file.exists():
        why += "\n(looked for in pytest's root folder: "
        why += f"neither {FILE_OPTION} nor a mark names another file)"
    pytest.fail(why, pytrace=False)
