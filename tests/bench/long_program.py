"""A program of many hours in virtual time: do joints drift, does memory grow?

One program, played without a rest: rapid moves that stop, moves that are blended, a dwell, and a
gripper. Every few seconds the joints' true positions and path times are compared with the plan.
"""

import gc
import itertools
import os
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.motion import Part
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.programs.loops import Loops
from coordinator.rehearsal.joint_node import Node
from protocol.constants import PATH_TOLERANCE_US, US
from simulator.network import PROFILES
from tests.bench.arms import gripping_arm
from tests.bench.figures import show, tenths_ms, whole
from tests.bench.in_virtual_time import shared_out
from tests.bench.planned import PlannedPart, switches
from tests.bench.virtual_arm import VirtualArm
from tests.campaign.truth import axis_of, path_of, path_us

JOINTS: Final = 6
LOOK_US: Final = 7 * US
HOUR_US: Final = 3_600 * US
AWAY_COUNTS: Final = 1.0
"""What a joint may truly be beside its plan at its own path time: both are of the same cubics, so
this is what is left for the rounding of a rest to whole µs (design section 5)."""
CYCLE: Final = (
    "G61.1", "G0 {-150}", "M3", "G4 P0.3", "G64 P2", "G0 {-130}", "G0 {-100} A-120",
    "G0 {-80} B-90", "G0 {-110} A-60", "G0 {-140}", "G61.1", "G0 {-155}", "M5",
)  # fmt: skip


def program(letters: Sequence[str]) -> str:
    """One loop of it; in braces is where all joints go whose letters do not follow."""
    lines = []
    for line in CYCLE:
        head, brace, rest = line.partition("{")
        angle, _, others = rest.partition("}")
        own = {word[0] for word in others.split()}
        words = " ".join(f"{letter}{angle}" for letter in letters if letter not in own)
        lines.append(f"{head}{words}{others}" if brace else line)
    return "\n".join([*lines, "M2", ""])


@dataclass(frozen=True, slots=True)
class Case:
    """One world to be."""

    network: str
    seed: int
    duration_us: int
    rows: int


@dataclass(slots=True)
class Row:
    """What was seen in one stretch of the run. Times in µs."""

    until_us: float
    """Path time at its end."""
    looks: int = 0
    """Instants at which all joints moved by one change of rate, and were compared."""
    away_counts: float = 0.0
    """Furthest of a joint from the plan at its own path time."""
    beside_deg: float = 0.0
    """Furthest of a joint from the plan at the arm's path time: what its clock makes of it."""
    path_error_us: float = 0.0
    """Furthest of a joint's path time from the arm's."""
    beyond_us: float = float("-inf")
    """By how much that was more than the joint's clock uncertainty; below 0 if never."""
    uncertainty_us: float = 0.0
    holds: int = 0
    margin_us: float = float("inf")
    """Smallest buffer margin of any joint since the run began."""
    resident_bytes: int = 0
    cpu_s: float = 0.0


@dataclass(slots=True)
class Found:
    """One run."""

    rows: list[Row] = field(default_factory=list)
    outcome: str = ""
    ended_counts: float = float("nan")
    """Furthest of a joint from where the program ends, once it has."""
    switched: int = 0
    to_switch: int = 0
    virtual_s: float = 0.0


def play(case: Case) -> Found:
    """Play it to its end, resuming what is held."""
    arm = VirtualArm(case.network, PROFILES[case.network], gripping_arm(JOINTS), case.seed)
    arm.home()
    text, start = program(arm.arm.words), pose_at(arm.arm, arm.world.core.start_counts())
    (once,) = plan_text(text, arm.arm, start)
    loop_us = max(move.start_us + move.duration_us for move in once.moves())
    loops = max(1, round(case.duration_us / loop_us))
    (part,) = plan_text(text, arm.arm, start, Loops(loops))
    arm.command(lambda: ev.Play("long", text, (part,), Loops(loops)))
    return _Watch(arm, case, part).to_the_end()


class _Watch:
    """Compares as the run goes."""

    def __init__(self, arm: VirtualArm, case: Case, part: Part) -> None:
        self._arm, self._case, self._part = arm, case, part
        self._plan = PlannedPart(part)
        self._found = Found()
        nodes = list(arm.world.nodes.values())
        self._nodes = nodes
        here = [axis_of(node, node.unit.joint_us(arm.world.now)) for node in nodes]
        # From true counts to those of the plan: from where each joint stood before the run.
        self._shift = [at - begin for at, begin in zip(here, part.start.counts, strict=True)]
        arm.happened()

    def to_the_end(self) -> Found:
        arm, case, found = self._arm, self._case, self._found
        world = arm.world
        every_us = case.duration_us // case.rows
        began_us, cpu_s = world.now, time.process_time()
        for number in itertools.count(1):
            row = Row(number * every_us)
            holds = len(arm.run.report.holds)
            last = number == case.rows
            while arm.run.phase is not Phase.ENDED and (last or self._path_us() < row.until_us):
                world.run_until(lambda: arm.run.phase in (Phase.HELD, Phase.ENDED), LOOK_US)
                if arm.run.phase is Phase.HELD:
                    arm.go_on()
                self._compare(row)
                found.switched += sum(one.event == "outputs" for _, one in arm.happened())
            ended = arm.run.phase is Phase.ENDED
            row.until_us = (arm.run.point_feed.end_us or 0) if ended else self._path_us()
            row.holds = len(arm.run.report.holds) - holds
            row.margin_us = min(arm.run.point_feed.buffer_margin_us.values(), default=row.margin_us)
            gc.collect()
            row.resident_bytes, row.cpu_s = _resident_bytes(), time.process_time() - cpu_s
            found.rows.append(row)
            print(f"{arm.where}: {row}", file=sys.stderr, flush=True)
            if ended:
                break
        found.outcome, found.virtual_s = arm.run.report.outcome, (world.now - began_us) / US
        found.to_switch = len(switches(self._part))
        ends = self._plan.counts(float("inf"))
        found.ended_counts = max(
            abs(axis_of(node, node.unit.joint_us(world.now)) - shift - end)
            for node, shift, end in zip(self._nodes, self._shift, ends, strict=True)
        )
        return found

    def _path_us(self) -> float:
        return max(self._path_of(node) for node in self._nodes)

    def _path_of(self, node: Node) -> float:
        return path_us(node, node.unit.joint_us(self._arm.world.now))

    def _compare(self, row: Row) -> None:
        world, motion = self._arm.world, self._arm.run.motion
        for node in self._nodes:
            node.unit.poll(world.now)
        if motion is None:
            return
        if any(path_of(node).current != motion.plan.change for node in self._nodes):
            return
        row.looks += 1
        arm_us = world.laptop.arm(world.now)
        planned_us = motion.course.at(arm_us)[0]
        places = [self._path_of(node) for node in self._nodes]
        planned = {at_us: self._plan.counts(at_us) for at_us in sorted({planned_us, *places})}
        for k, (node, place_us) in enumerate(zip(self._nodes, places, strict=True)):
            here = axis_of(node, node.unit.joint_us(world.now)) - self._shift[k]
            scale = abs(self._arm.arm.joints[k].counts_per_degree)
            error_us = abs(place_us - planned_us)
            uncertainty_us = world.core.links[k].clock_uncertainty_us(arm_us) or 0.0
            row.away_counts = max(row.away_counts, abs(here - planned[place_us][k]))
            row.beside_deg = max(row.beside_deg, abs(here - planned[planned_us][k]) / scale)
            row.path_error_us = max(row.path_error_us, error_us)
            row.uncertainty_us = max(row.uncertainty_us, uncertainty_us)
            row.beyond_us = max(row.beyond_us, error_us - uncertainty_us - PATH_TOLERANCE_US)


def _resident_bytes() -> int:
    # proc(5): the second figure is the resident set, in pages.
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")


def table(networks: Sequence[str], hours: float, rows: int, seed: int, processes: int) -> list[str]:
    """A run of so many hours on each network; gives what was broken."""
    cases = [Case(network, seed, round(hours * HOUR_US), rows) for network in networks]
    shown: list[tuple[object, ...]] = []
    notes, broken = [], []
    for case, found in shared_out(play, cases, processes, f"programs of {hours:g} h"):
        broken += judged(case.network, found)
        shown += [
            (case.network if k == 0 else "", *_words(row)) for k, row in enumerate(found.rows)
        ]
        notes.append(
            f"{case.network}: {found.outcome} after {found.virtual_s / 3600:.2f} h of virtual time"
            f", {found.switched} of {found.to_switch} switches, joints at most "
            f"{found.ended_counts:.2f} counts from the program's end"
        )
    show(
        f"One program of {hours:g} h, {JOINTS} joints in virtual time, seed {seed}; each row since "
        "the one before, but for the margin, memory and processor time",
        (
            "network", "played h", "compared", "from plan counts", "then °", "path time µs",
            "uncertainty µs", "beyond it", "holds", "buffer margin ms", "resident MiB",
            "processor s",
        ),
        shown,
        *notes,
    )  # fmt: skip
    return broken


def judged(network: str, found: Found) -> list[str]:
    """What a run shows that must not be."""
    broken = []
    away, beyond_us = (max(getattr(row, name) for row in found.rows)
                       for name in ("away_counts", "beyond_us"))  # fmt: skip
    if away > AWAY_COUNTS:
        broken.append(f"{network}: a joint was {away:.2f} counts from its plan")
    if beyond_us > 0.0:
        broken.append(
            f"{network}: a joint's path time was {beyond_us:.1f} µs beyond its clock's uncertainty"
        )
    if found.outcome == "finished" and found.switched != found.to_switch:
        broken.append(f"{network}: {found.switched} of {found.to_switch} switches were made")
    if not any(row.looks for row in found.rows):
        broken.append(f"{network}: nothing was compared")
    return broken


def _words(row: Row) -> tuple[object, ...]:
    return (
        f"{row.until_us / HOUR_US:.2f}",
        row.looks,
        f"{row.away_counts:.3f}",
        f"{row.beside_deg:.4f}",
        f"{row.path_error_us:.1f}",
        whole(row.uncertainty_us),
        "yes" if row.beyond_us > 0 else "no",
        row.holds,
        *tenths_ms([row.margin_us], 100),
        f"{row.resident_bytes / 2**20:.1f}",
        whole(row.cpu_s),
    )
