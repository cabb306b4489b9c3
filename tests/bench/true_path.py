"""True positions and switches over whole runs on real sockets, beside what the plan says.

The joints write where they truly are into their truth log, many times a second and whenever an
output switches, by the raw monotonic clock, which is arm time here. What the plan says of that
instant follows from the program's points, the starts that the report states, and the arm's ramp.
"""

import asyncio
import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Final

from coordinator.core.configure import arm_ramp
from coordinator.core.events import Refused, Resume
from coordinator.links.clock import arm_now_us
from coordinator.motion import Part
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.service import Service
from coordinator.testing.live_arm import run_before_others
from protocol.constants import ACTIVE_INTERVAL_US, PATH_TOLERANCE_US
from protocol.pathtime import Course
from protocol.ramp import Ramp
from simulator.port import JointPort, world_us
from simulator.unit import WorldTruth
from tests.bench.arms import GRIPPER
from tests.bench.figures import Progress, show, whole
from tests.bench.long_program import AWAY_COUNTS, program
from tests.bench.on_sockets import POLL_S, REACTION_S, homed, play, run, until
from tests.bench.planned import PlannedPart, switches
from tests.bench.software import Bench, software_joints
from tests.e2e.harness import before_others

SAMPLE_S: Final = 0.005
NEAR_US: Final = 200_000
"""Clocks become better and worse within a second: what was known of one this near counts."""
Truth = dict[str, Any]


@dataclass(slots=True)
class Compared:
    """Runs over one kind of network."""

    samples: int = 0
    away_counts: float = 0.0
    """Furthest of a joint from the plan at its own path time."""
    beside_deg: float = 0.0
    """Furthest of a joint from the plan at the arm's path time: what its clock makes of it."""
    path_error_us: float = 0.0
    """Furthest of a joint's path time from the arm's."""
    uncertainty_us: float = 0.0
    beyond_us: float = float("-inf")
    """By how much a path time was further off than its clock's uncertainty; below 0 if never."""
    switched: int = 0
    to_switch: int = 0
    switch_path_us: float = 0.0
    """Furthest of a switch from its place on the joint's own path time."""
    switch_late_us: float = 0.0
    """Furthest of a switch from the instant at which the arm's path time is there."""
    holds: int = 0
    unfinished: int = 0


def measure(network: str, joints: int, runs: int, seed: int) -> Compared:
    """Play so often over one kind of network."""
    with software_joints(joints, network, seed, more=GRIPPER, watched=sample) as bench:
        text = program(bench.arm.words)
        with before_others():
            return run(_measure(bench, network, text, runs))


async def _measure(bench: Bench, network: str, text: str, runs: int) -> Compared:
    found, progress = Compared(), Progress(f"{network}, true paths", runs)
    async with homed(bench) as service:
        for _ in range(runs):
            judged, truths = await played(bench, service, text)
            judged.take(truths, found)
            progress.step()
    return found


async def played(bench: Bench, service: Service, text: str) -> tuple["Judged", list[Truth]]:
    """Play once to the end, resuming what is held: by what to judge it, and what truly happened."""
    bench.new_truths()
    counts = service._core.start_counts()
    assert counts is not None
    # As the process beside it plans what is played.
    (part,) = plan_text(text, bench.arm, pose_at(bench.arm, counts))
    number = await play(service, "whole", text)
    known: list[tuple[int, list[float]]] = []
    watching = asyncio.create_task(_know(service, known))
    try:
        while str(service.phase) != "idle":
            await until(lambda: str(service.phase) in ("idle", "held"), f"run {number}")
            if str(service.phase) == "held":
                await asyncio.sleep(REACTION_S)
                # It may have ended meanwhile, or a joint may not be back yet.
                with contextlib.suppress(Refused):
                    service.command(Resume())
    finally:
        watching.cancel()
    report = await service.runs.report(number)
    assert report is not None
    judged = Judged(part, report, known, arm_ramp(bench.arm))
    return judged, bench.new_truths()


async def _know(service: Service, known: list[tuple[int, list[float]]]) -> None:
    """Keep what is known of the clocks, and when."""
    while True:
        now = arm_now_us()
        bounds = [link.clock_uncertainty_us(now) or 0.0 for link in service._core.links]
        known.append((now, bounds))
        await asyncio.sleep(POLL_S)


@dataclass
class Judged:
    """One run: its plan, its report, and what was known of the clocks when."""

    part: Part
    report: Mapping[str, Any]
    known: Sequence[tuple[int, Sequence[float]]]
    ramp: Ramp
    names: list[str] = field(init=False)

    def __post_init__(self) -> None:
        self.names = [joint.name for joint in self.part.arm.joints]

    def take(self, truths: Sequence[Truth], found: Compared) -> None:
        """Compare what truly happened in the run."""
        found.holds += len(self.report["holds"])
        found.unfinished += self.report["outcome"] != "finished"
        shift = self._shift(truths)
        samples = [truth for truth in truths if truth["event"] == "sample"]
        asked = {truth["path_us"] for truth in samples}
        asked |= {self._course(truth).at(truth["at_ns"] / 1000)[0] for truth in samples}
        plan = PlannedPart(self.part)
        planned = {path_us: plan.counts(path_us) for path_us in sorted(asked)}
        for truth in samples:
            k, at_us = self.names.index(truth["joint"]), truth["at_ns"] / 1000
            arm_path_us = self._course(truth).at(at_us)[0]
            here = truth["position"] - shift[k]
            scale = abs(self.part.arm.joints[k].counts_per_degree)
            error_us, uncertainty_us = abs(truth["path_us"] - arm_path_us), self._bound_us(k, at_us)
            found.samples += 1
            found.away_counts = max(found.away_counts, abs(here - planned[truth["path_us"]][k]))
            beside = abs(here - planned[arm_path_us][k]) / scale
            found.beside_deg = max(found.beside_deg, beside)
            found.path_error_us = max(found.path_error_us, error_us)
            found.uncertainty_us = max(found.uncertainty_us, uncertainty_us)
            found.beyond_us = max(found.beyond_us, error_us - uncertainty_us - PATH_TOLERANCE_US)
        self._take_switches(truths, found)

    def _take_switches(self, truths: Sequence[Truth], found: Compared) -> None:
        to_switch = switches(self.part)
        switched = [truth for truth in truths if truth["event"] == "outputs"]
        found.to_switch += len(to_switch)
        for (path_us, k, mask, values), truth in zip(to_switch, switched, strict=False):
            if truth["joint"] != self.names[k] or truth["outputs"] & mask != values:
                continue
            found.switched += 1
            found.switch_path_us = max(found.switch_path_us, abs(truth["path_us"] - path_us))
            if self._falls(truth, truths):
                continue
            due_us = self._course(truth).when(path_us)
            late_us = float("inf") if due_us is None else abs(truth["at_ns"] / 1000 - due_us)
            found.switch_late_us = max(found.switch_late_us, late_us)

    def _shift(self, truths: Sequence[Truth]) -> list[float]:
        """From true counts to those of the plan: from where each joint stood as the run began."""
        began = {truth["joint"]: truth for truth in reversed(truths) if truth["event"] == "start"}
        counts = self.part.start.counts
        return [began[name]["position"] - at for name, at in zip(self.names, counts, strict=True)]

    def _course(self, truth: Truth) -> Course:
        """By which all move at that instant."""
        at_us = truth["at_ns"] / 1000
        # A joint that is early begins before the instant that was set.
        last = max(
            (start for start in self.report["starts"] if start["at_us"] <= at_us + NEAR_US),
            key=lambda start: start["at_us"],
        )
        return Course(last["at_us"], last["path_us"], 0.0, 1.0, self.ramp)

    def _bound_us(self, joint: int, at_us: float) -> float:
        """Of a joint's clock: the widest that was known near an instant."""
        near = [bounds[joint] for when_us, bounds in self.known if abs(when_us - at_us) <= NEAR_US]
        nearest = min(self.known, key=lambda one: abs(one[0] - at_us))[1][joint]
        return max(near, default=nearest)

    def _falls(self, truth: Truth, truths: Sequence[Truth]) -> bool:
        """Whether the joint was on its way to a hold, which no start's course tells."""
        return any(
            other["event"] == "hold"
            and other["joint"] == truth["joint"]
            and 0 <= other["at_ns"] - truth["at_ns"] <= self.ramp.duration_us * 1000
            for other in truths
        )


def sample(ports: list[JointPort]) -> None:
    """Write from now on where the joints truly are, as long as they move by a change of rate."""
    run_before_others()
    _sample(ports)


def _sample(ports: list[JointPort]) -> None:
    loop = asyncio.get_running_loop()
    for port in ports:
        port._at(world_us(), partial(_look, port))
        port._go_on()
    loop.call_later(SAMPLE_S, _sample, ports)


def _look(port: JointPort, at_us: float) -> None:
    unit = port.unit
    path = unit.joint.path
    if path.current is None:
        return
    position = unit.true_position(at_us)[0]
    path_us = unit.joint.path_us(unit.joint_us(at_us))
    port.tell(WorldTruth("sample", round(at_us * 1000), position, path_us, path.buffer.trajectory))


def table(networks: Sequence[str], joints: int, runs: int, seed: int) -> list[str]:
    """Runs on each network; gives what was broken."""
    rows: list[tuple[object, ...]] = []
    broken = []
    for network in networks:
        found = measure(network, joints, runs, seed)
        broken += judge(network, found)
        rows.append(
            (
                network,
                runs,
                found.samples,
                f"{found.away_counts:.3f}",
                f"{found.beside_deg:.4f}",
                f"{found.path_error_us:.1f}",
                whole(found.uncertainty_us),
                f"{found.switched} of {found.to_switch}",
                f"{found.switch_path_us:.1f}",
                f"{found.switch_late_us:.1f}",
                found.holds,
                found.unfinished,
            )
        )
    show(
        f"{joints} joints over whole runs on real sockets, beside their plan: worst of all "
        "samples; truth by the raw monotonic clock",
        (
            "network", "runs", "samples", "from plan counts", "then °", "path time µs",
            "uncertainty µs", "switched", "switch, own path time µs", "switch, true time µs",
            "holds", "unfinished",
        ),
        rows,
        "From plan: at the joint's own path time; then: at the arm's, by its clock.",
    )  # fmt: skip
    return broken


def judge(network: str, found: Compared) -> list[str]:
    """What runs show that must not be."""
    broken = []
    if not found.samples:
        broken.append(f"{network}: nothing was compared")
    if found.away_counts > AWAY_COUNTS:
        broken.append(f"{network}: a joint was {found.away_counts:.2f} counts from its plan")
    if found.beyond_us > 0.0:
        broken.append(
            f"{network}: a joint's path time was {found.beyond_us:.1f} µs beyond its clock's "
            "uncertainty"
        )
    if found.switch_path_us > PATH_TOLERANCE_US or found.switch_late_us > ACTIVE_INTERVAL_US:
        broken.append(
            f"{network}: an output switched {found.switch_path_us:.1f} µs of path time and "
            f"{found.switch_late_us:.1f} µs from where it should"
        )
    if not found.unfinished and found.switched != found.to_switch:
        broken.append(f"{network}: {found.switched} of {found.to_switch} switches were made")
    return broken
