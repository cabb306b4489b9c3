"""Compiled, worlds go the same way to the last bit; and nothing is compiled by accident."""

import copyreg
import json
import os
import subprocess
import sys
from concurrent.futures import Executor
from dataclasses import FrozenInstanceError, is_dataclass, replace
from typing import Any

import pytest

import protocol.drive
from coordinator import compiled
from coordinator.rehearsal.played import Played
from coordinator.rehearsal.rehearse import play_once
from coordinator.rehearsal.software_joints import joint_settings
from protocol.drive import Drive, Mode
from protocol.states import JointState
from protocol.status import Status
from simulator.network import PROFILES
from tests.bench.arms import arm

PROGRAM = "G90 G94\nG1 A-150 B-155 F1200\nM2"


@pytest.fixture(scope="module", autouse=True)
def _is_built() -> None:
    if not compiled.is_built():
        pytest.fail("no build fits these sources: run 'make fast'")


def courses(kind: str) -> dict[str, Any]:
    """What came of all worlds, from a process of its own."""
    told: dict[str, Any] = json.loads(
        subprocess.run(
            [sys.executable, "-m", "tests.compiled.courses", kind],
            cwd=compiled.ROOT, env={**os.environ, "PYTHONHASHSEED": "0"},
            capture_output=True, text=True, check=True,
        ).stdout
    )  # fmt: skip
    return told


def test_worlds_are_the_same_to_the_last_bit() -> None:
    source, built = courses("source"), courses("compiled")
    assert (source.pop("is compiled"), built.pop("is compiled")) == (False, True)
    assert source["by values"]["reports"]
    for name in source:
        assert built[name] == source[name], name


def place() -> str:
    return str(protocol.drive.__file__)


def once(seed: int) -> Played:
    described = arm(2)
    joints = joint_settings(described, seed)
    return play_once(described, PROGRAM, joints, PROFILES["home"], seed)


def test_rehearsal_gives_the_same_compiled(worker: Executor) -> None:
    assert worker.submit(once, 3).result() == once(3)


def test_workers_are_compiled_and_whoever_does_not_ask_is_not(worker: Executor) -> None:
    assert worker.submit(place).result().endswith(compiled.SUFFIX)
    assert place().endswith("drive.py")


def value() -> Drive:
    return Drive(7, 8, Mode.JOG, jog_velocity=-3)


def test_value_comes_whole_out_of_a_worker(worker: Executor) -> None:
    assert worker.submit(value).result() == value()


def not_told_to_pickle() -> list[str]:
    import tests.campaign.play  # noqa: F401  imports all that is compiled

    return [
        f"{module.__name__}.{name}"
        for module in list(sys.modules.values())
        if str(getattr(module, "__file__", "")).endswith(compiled.SUFFIX)
        for name, kind in vars(module).items()
        if isinstance(kind, type) and is_dataclass(kind) and kind.__module__ == module.__name__
        if kind not in copyreg.dispatch_table
    ]


def test_every_value_comes_whole_out_of_a_worker(worker: Executor) -> None:
    assert worker.submit(not_told_to_pickle).result() == []


def of_values() -> list[str]:
    """What Python's own machinery makes of a compiled value."""
    drive, status = value(), Status(boot=1, sequence=2, state=JointState.HELD)
    told = [
        repr(drive),
        repr(status),
        str(drive == replace(drive)),
        str(hash(drive) == hash(replace(drive))),
    ]
    told += [str(replace(drive, sequence=9) == drive), repr(replace(status, boot=4))]
    try:
        drive.sequence = 9  # type: ignore[misc]
    except FrozenInstanceError as error:
        told.append(str(error))
    try:
        Drive(1)  # type: ignore[call-arg]
    except TypeError:
        told.append("too few")
    return told


def test_value_is_the_same_to_who_looks_at_it(worker: Executor) -> None:
    assert worker.submit(of_values).result() == of_values()
    assert len(of_values()) == 8
