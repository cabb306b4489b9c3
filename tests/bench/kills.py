"""Where the rest stands after a kill: real processes on real sockets, the truth log as judge.

One joint is a process of its own, the other joints are another, the coordinator a third. In
mid-move, at a random served_at, `kill -9` ends the joint or the coordinator. What counts is the
true path time at which each of the rest came to rest, and when, by the machine's raw monotonic
clock.
"""

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any, Final

from coordinator.config.arm import load_arm
from coordinator.core.configure import arm_ramp
from coordinator.core.run.permit import WINDOW_MAX_US
from tests.bench.figures import Progress, ms, show
from tests.campaign.invariants.since_start import horizon_us, window_us
from tests.e2e.harness import Bench, Process, bench, until

PATIENCE_S = 180.0
TARGETS_DEG: Final = (-150, -60)
MOVE_S: Final = 30
"""Longer than anybody waits before the kill, and than the rest needs after it."""
BEGIN_US: Final = 700_000
"""Path time behind the ramp of a start at full rate (0.52 s for this arm)."""
AT_RANDOM_US: Final = 1_500_000


@dataclass(slots=True)
class Kills:
    """Kills of one kind over one network. Times in µs."""

    start_skew_us: list[float] = field(default_factory=list)
    """Largest difference of path time among the rest, once all stand."""
    rest_us: list[float] = field(default_factory=list)
    """From the kill until the last one stood."""
    window_us: list[float] = field(default_factory=list)
    """The permit's window at the kill: what the path times may differ by."""
    permit_and_ramp_us: list[float] = field(default_factory=list)
    """What the rest may take: see `allowed_us`."""
    tries: int = 0
    """Runs that were held, or could not begin, before it came to a kill."""

    def take(
        self,
        killed_us: float,
        rests: Sequence[Mapping[str, Any]],
        window_us: float,
        permit_and_ramp_us: float,
    ) -> None:
        """Take in the truth log's lines of the joints that were left."""
        paths = [line["path_us"] for line in rests]
        self.start_skew_us.append(max(paths) - min(paths))
        self.rest_us.append(max(line["at_ns"] for line in rests) / 1000 - killed_us)
        self.window_us.append(window_us)
        self.permit_and_ramp_us.append(permit_and_ramp_us)

    @property
    def apart(self) -> int:
        """Kills after which the rest stood further apart than the window."""
        return sum(a > b for a, b in zip(self.start_skew_us, self.window_us, strict=True))

    @property
    def late(self) -> int:
        """Kills after which the rest took longer than permit and ramp."""
        return sum(a > b for a, b in zip(self.rest_us, self.permit_and_ramp_us, strict=True))


def allowed_us(worst_delay_us: int, ramp_us: float, *, joint: bool) -> tuple[float, float]:
    """The window, and permit plus ramp, on links whose worst link delay is this (design section 5).

    The permit reaches to the horizon. A killed joint's last permit is what the others still stop
    at, or up to a window beyond.
    """
    window = window_us(worst_delay_us)
    return window, horizon_us(worst_delay_us) + ramp_us + (window if joint else 0.0)


def table(networks: Sequence[str], joints: int, count: int, seed: int) -> list[str]:
    """Kill so often on each network, and print where and when the rest stood; gives what was
    broken: the widest window, which holds whatever the worst link delay was when the last permit
    was given.
    """
    rows: list[tuple[object, ...]] = []
    broken = []
    for network in networks:
        for what, kills in _measure(network, joints, count, seed).items():
            broken += [
                f"{network}, {what} killed: {start_skew_us / 1000:.0f} ms of path time apart"
                for start_skew_us in kills.start_skew_us
                if start_skew_us > WINDOW_MAX_US
            ]
            rows.append(
                (
                    f"{network}, {what}",
                    len(kills.start_skew_us),
                    kills.tries,
                    ms(kills.start_skew_us, 50),
                    ms(kills.start_skew_us, 100),
                    ms(kills.window_us, 50),
                    sum(skew == 0 for skew in kills.start_skew_us),
                    kills.apart,
                    ms(kills.rest_us, 50),
                    ms(kills.rest_us, 100),
                    ms(kills.permit_and_ramp_us, 50),
                    kills.late,
                )
            )
    show(
        f"{joints} joints in mid-move on real sockets, one process killed: where and when the rest "
        "stood, in ms of path time and of true time; truth by the raw monotonic clock",
        (
            "network, killed", "kills", "tried again", "apart p50", "max", "window p50", "level",
            "beyond", "kill to rest p50", "max", "permit + ramp p50", "later",
        ),
        rows,
        "The joint killed is one in the middle of the arm. Level: kills after which all the rest "
        "stood at the same path time.",
        "Beyond and later: kills after which they stood further apart than the window, or later "
        "than permit and ramp, of that very kill: both follow from the slowest "
        "link's worst delay before it.",
        "Tried again: runs that were held, or refused, before the kill.",
    )  # fmt: skip
    return broken


def _measure(network: str, joints: int, count: int, seed: int) -> dict[str, Kills]:
    found = {"a joint": Kills(), "the coordinator": Kills()}
    progress = Progress(f"{network}, kills", 2 * count)
    with TemporaryDirectory() as folder, bench(Path(folder), joints) as arm:
        stage = _Stage(arm, network, Random(seed))
        for _ in range(count):
            for what, kills in found.items():
                stage.kill(kills, joint=what == "a joint")
                progress.step()
    return found


class _Stage:
    """An arm whose processes are killed and started again."""

    def __init__(self, arm: Bench, network: str, random: Random) -> None:
        described = load_arm(arm.arm)
        self._bench, self._network, self._random = arm, network, random
        self._words = described.words
        self._ramp_us = arm_ramp(described).duration_us
        self._name = arm.joints[len(arm.joints) // 2]
        self._others = [name for name in arm.joints if name != self._name]
        arm.simulate(*self._others, network=network, seed=random.getrandbits(32))
        self._victim = self._start_victim()
        self._coordinator = arm.serve()
        self._home()

    def kill(self, kills: Kills, *, joint: bool) -> None:
        """Play, kill in mid-move, take down what became of the rest, and bring all back."""
        arm = self._bench
        kills.tries += self._move()
        worst_delay_us = max(one["worst_delay_us"] or 0 for one in arm.states().values())
        apart_us, rest_us = allowed_us(worst_delay_us, self._ramp_us, joint=joint)
        before = len(arm.truths())
        killed_us = _kill(self._victim if joint else self._coordinator)
        rest = self._others if joint else arm.joints
        kills.take(killed_us, arm.until_truth("hold", *rest, since=before), apart_us, rest_us)
        if joint:
            self._victim = self._start_victim()
            until(lambda: not self._is_running(), "the end of the run", PATIENCE_S)
        else:
            self._coordinator = arm.serve()
        self._home()

    def _start_victim(self) -> Process:
        seed = self._random.getrandbits(32)
        return self._bench.simulate(self._name, network=self._network, seed=seed)

    def _home(self) -> None:
        """Home the joints that have to be, again where an outage of the network ended it."""
        arm = self._bench

        def done() -> bool:
            joints = arm.states()
            if not all(one["link"] == "up" and one["state"] for one in joints.values()):
                return False
            unhomed = [name for name, one in joints.items() if not one["homed"]]
            return not unhomed or arm.unisono("home", *unhomed).returncode == 0

        until(done, "all joints homed", PATIENCE_S)

    def _move(self) -> int:
        """Be in mid-move at a random served_at; how many runs were held or refused before."""
        arm, tries, run = self._bench, -1, None
        past_us = BEGIN_US + self._random.randrange(AT_RANDOM_US)
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            if run is None or (run.popen.poll() is not None and not self._is_running()):
                tries, run = tries + 1, arm.play(self._program())
            now = arm.arm_now()
            if now["phase"] == "held":
                arm.unisono("stop")
            elif now["phase"] == "moving" and now["run"]["path_us"] >= past_us:
                return tries
            time.sleep(0.02)
        raise TimeoutError(f"no run was in mid-move within {PATIENCE_S:g} s")

    def _program(self) -> str:
        at_deg = next(iter(self._bench.states().values()))["position_deg"]
        target = max(TARGETS_DEG, key=lambda one: abs(one - at_deg))
        places = " ".join(f"{word}{target}" for word in self._words)
        return f"G93 G1 F{60 / MOVE_S:g} {places}\nM2\n"

    def _is_running(self) -> bool:
        run = self._bench.arm_now()["run"]
        return bool(run and run["phase"] != "ended")


def _kill(process: Process) -> float:
    """Kill a process; when that was, in µs of true time, not before it was dead."""
    process.kill()
    return time.clock_gettime_ns(time.CLOCK_MONOTONIC_RAW) / 1000
