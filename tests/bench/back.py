"""How soon all joints are back after the laptop slept, or its coordinator stood still."""

import signal
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from coordinator.client import Client
from coordinator.client.values import ArmSnapshot
from tests.bench.figures import Progress, percentile, share, show
from tests.e2e.harness import Bench, Process, bench
from tests.e2e.test_sleep import ASLEEP

GOAL_S: Final = 5.0
HEARD_US: Final = 500_000
STILL_S: Final = 2.0
"""Longer than the silence after which a joint counts as lost."""
LOOK_S: Final = 0.02
PATIENCE_S: Final = 60.0


def table(joints: int, times: int, seed: int) -> None:
    """Print the table, with how often all joints were back in time."""
    rows = []
    for what, sleeps in (("stood still for 2 s", False), ("slept for an hour", True)):
        linked_s, locked_s = _measure(what, joints, times, seed, sleeps=sleeps)
        in_time = share(sum(one <= GOAL_S for one in linked_s) / len(linked_s))
        rows.append((what, times, *_figures(linked_s), in_time, *_figures(locked_s)))
    show(
        f"From waking until all of {joints} joints are back, s; goal {GOAL_S:g} s",
        ("the coordinator", "times", "heard p50", "max", "in time", "clocks known p50", "max"),
        rows,
        "Software joints on loopback, network home. Heard: linked, each status under 0.5 s old.",
    )


def _figures(values_s: list[float]) -> tuple[str, str]:
    return f"{percentile(values_s, 50):.2f}", f"{max(values_s):.2f}"


def _measure(
    what: str, joints: int, times: int, seed: int, *, sleeps: bool
) -> tuple[list[float], list[float]]:
    linked_s, locked_s = [], []
    progress = Progress(what, times)
    with TemporaryDirectory() as folder, bench(Path(folder), joints) as arm:
        slept = Path(folder) / "slept"
        arm.simulate(network="home", seed=seed)
        coordinator = arm.serve(wrapper=("-c", ASLEEP.format(slept=str(slept))))
        arm.until_linked()
        for k in range(times):
            _until(arm, _locked, time.monotonic())
            before = arm.arm_now()["session"]
            woke_s = _asleep(coordinator, slept, k + 1 if sleeps else None)
            old = before if sleeps else None
            linked_s.append(_until(arm, partial(_heard, old_session=old), woke_s))
            locked_s.append(_until(arm, _locked, woke_s))
            progress.step()
    return linked_s, locked_s


def _asleep(coordinator: Process, slept: Path, hours: int | None) -> float:
    """Stand still for a while, by the clock that counts sleep for an hour; when it woke."""
    coordinator.popen.send_signal(signal.SIGSTOP)
    time.sleep(STILL_S)
    if hours is not None:
        slept.write_text(str(hours * 3600 * 10**9))
    coordinator.popen.send_signal(signal.SIGCONT)
    return time.monotonic()


def _until(arm: Bench, condition: Callable[[ArmSnapshot], bool], since_s: float) -> float:
    """How long it takes from then until the arm's state is such."""
    with Client(arm.url) as client:
        while time.monotonic() - since_s < PATIENCE_S:
            if condition(client.arm()):
                return time.monotonic() - since_s
            time.sleep(LOOK_S)
    raise TimeoutError(f"not back within {PATIENCE_S:g} s")


def _heard(state: ArmSnapshot, old_session: str | None = None) -> bool:
    return state.session != old_session and all(
        joint.link == "up" and joint.age_us is not None and joint.age_us < HEARD_US
        for joint in state.joints
    )


def _locked(state: ArmSnapshot) -> bool:
    return _heard(state) and all(joint.clock.locked for joint in state.joints)
