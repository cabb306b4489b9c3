"""A program played on software joints before it is played on the arm: behind `unisono rehearse`.

Each seed is a world of its own, with other crystals, other places to begin and another course of
events on the network. In each the arm is homed and moved to its pose `park`, on a perfect network,
as that is not what is asked about. Then the coordinator is started anew, knowing nothing, on the
network in question, measures its links for a while, and plays the program as an operator would:
who goes on at every programmed pause, and resumes a held run after a moment.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.arm import Arm
from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.report import Report, StartRecord
from coordinator.core.run import Phase
from coordinator.motion import plan_parts
from coordinator.programs import Move, Program, Target, parse_program
from coordinator.programs.steps import End
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US
from simulator.network import Profile
from simulator.settings import JointSettings
from simulator.unit import JointUnit, WorldTruth

KEY: Final = bytes(32)
"""Messages pass as values here: nothing is tagged with it."""
MEETING_US: Final = 60 * US
"""Patience for all links of a new coordinator to be up and measured."""
HOMING_US: Final = 3_600 * US
WATCHED_US: Final = 30 * US
"""How long the links have been watched when the program begins: an operator homes first."""
REACTION_US: Final = 1 * US
"""Between a hold, or a refusal, and the operator's next try."""
PATIENCE: Final = 3
"""Times its planned duration, and PATIENCE_US more, after which a run is given up."""
PATIENCE_US: Final = 600 * US
NEAR_US: Final = 100_000
"""Further from its instant no start can be: clocks are known to better than 5 ms, and between two
starts a joint must stop first."""
Truths = dict[str, list[WorldTruth]]
"""What each joint truly did, by its name."""
START_TROUBLE: Final = ("partial-start", "start-refused")


class RehearsalError(RuntimeError):
    """The software joints cannot be brought to where the program begins; says which and why."""


@dataclass(frozen=True, slots=True)
class StartSeen:
    """A start or resume of all joints. Spread and slack are what truly happened, in µs."""

    is_resume: bool
    attempts: int
    lead_us: int
    spread_us: float | None
    """From the first joint's start to the last one's; None where one did not start after all."""
    bound_us: int | None
    """What the run's report proves the spread to be at most."""
    slack_us: dict[str, int]
    """By joint."""
    off_us: dict[str, float]
    """By joint: its true start after the instant asked for (before it where negative), which is
    what its clock was truly wrong by. Without joints that did not start after all."""


@dataclass(frozen=True, slots=True)
class HoldSeen:
    """A hold in mid-motion."""

    cause: str
    apart_us: int
    """Path time between the joints at rest."""


@dataclass(frozen=True, slots=True)
class Played:
    """One rehearsal."""

    seed: int
    outcome: str
    """As in a run's report; `unfinished` if it was given up."""
    message: str
    wait_us: int | None
    """From the command to the first joint's start; None without any start."""
    motion_us: int | None
    """From there to the last joint's end, with pauses and holds, or to where it was given up."""
    starts: tuple[StartSeen, ...]
    """Those that all joints confirmed."""
    partial_starts: int
    refused_starts: int
    holds: tuple[HoldSeen, ...]
    feed_slack_us: dict[str, int]
    """Smallest, by joint. Empty where all points were in the buffers before the start."""
    simulated_us: int
    """Virtual time from the first event to the last, homing and all."""


def play_once(
    arm: Arm, text: str, joints: Sequence[JointSettings], network: Profile, seed: int
) -> Played:
    """Play a program once.

    `joints` are the arm's software joints, base to tool. Raises ProgramError as `plan_parts` does,
    Refused for a program that moves nothing, and RehearsalError.
    """
    world = _parked(arm, joints, seed)
    _meet(world, network)
    operator = _Operator(world, text)
    operator.play()
    return operator.seen(seed)


# ---- before the program ---------------------------------------------------------------------


def _parked(arm: Arm, joints: Sequence[JointSettings], seed: int) -> World:
    """A world whose joints are homed and stand at `park`."""
    units = [JointUnit(settings, KEY, float(BEGIN_US)) for settings in joints]
    world = World(arm, units, "none", seed)
    _await(world, lambda: _all_known(world), MEETING_US, lambda: _who_is_missing(world))
    world.command(ev.Home())
    homing = world.core.homing
    assert homing is not None
    _await(
        world,
        lambda: homing.state is not HomingState.RUNNING,
        HOMING_US,
        lambda: "homing does not end",
    )
    if homing.state is not HomingState.DONE:
        raise RehearsalError(f"homing fails: {homing.message}")
    targets = tuple(Target(k, angle, 1) for k, angle in enumerate(arm.poses["park"]))
    move = Move(1, 1, targets, relative=False, rapid=True)
    # What tells of the last homing must have come, or it would not be known where joints stand.
    world.run_for(REACTION_US)
    parts = plan_parts(Program((move, End(2))), arm, world.core.start_counts())
    if parts:
        world.command(ev.Play("park", "", parts))
        run = world.core.run
        assert run is not None
        _await(
            world,
            lambda: run.phase in (Phase.ENDED, Phase.HELD),
            HOMING_US,
            lambda: "the move to the pose park does not end",
        )
        if run.report.outcome != "finished":
            raise RehearsalError(f"the move to the pose park fails: {run.report.message}")
    return world


def _meet(world: World, network: Profile) -> None:
    """A new coordinator, on the network in question, with all joints connected and measured."""
    world.kill_coordinator()
    for joint in world.arm.joints:
        world.air(joint.name).replace(network, world.random.getrandbits(63), world.now)
    world.start_coordinator()
    _await(world, lambda: _all_known(world), MEETING_US, lambda: _who_is_missing(world))
    world.run_for(WATCHED_US)


def _await(world: World, until: Callable[[], bool], limit_us: int, why: Callable[[], str]) -> None:
    if not world.run_until(until, limit_us):
        raise RehearsalError(why())


def _all_known(world: World) -> bool:
    return all(
        link.up
        and link.configured
        and link.status is not None
        and link.quality.measured
        and link.clock.locked
        for link in world.core.links
    )


def _who_is_missing(world: World) -> str:
    missing = [
        f"{link.name} ({link.message or link.clock.reason or 'not measured yet'})"
        for link in world.core.links
        if not (link.up and link.configured and link.quality.measured and link.clock.locked)
    ]
    return f"after {MEETING_US // US} s not all joints are there: {', '.join(missing)}"


# ---- the program ----------------------------------------------------------------------------


class _Operator:
    """Plays a program to its end, whatever it takes, and says what was seen."""

    def __init__(self, world: World, text: str) -> None:
        self._world = world
        self._text = text
        self._commanded_us = world.now
        self._notes = len(world.notes)
        self._given_up = False
        for unit in world.units:
            unit.take_truth()

    def play(self) -> None:
        """Play, go on at pauses, resume after holds, until the run has ended or patience has."""
        world = self._world
        program = parse_program(self._text, world.arm.words)
        parts = plan_parts(program, world.arm, world.core.start_counts())
        planned_us = sum(move.duration_us for part in parts for move in part.moves())
        end_us = world.now + PATIENCE * planned_us + PATIENCE_US
        if self._ask(ev.Play("rehearsal", self._text, parts), end_us):
            while not self._is_over(end_us):
                if self._phase() is Phase.HELD:
                    world.run_for(REACTION_US)
                if self._phase() is not Phase.ENDED and not self._ask(ev.Resume(), end_us):
                    break
        self._given_up = self._phase() is not Phase.ENDED

    def _is_over(self, end_us: int) -> bool:
        """Let the run go on until the operator must act; True where nothing is left to do."""
        went = self._world.run_until(
            lambda: self._phase() in (Phase.ENDED, Phase.HELD, Phase.PAUSED),
            end_us - self._world.now,
        )
        return not went or self._phase() is Phase.ENDED

    def _phase(self) -> Phase | None:
        run = self._world.core.run
        return run.phase if run else None

    def _ask(self, command: ev.Play | ev.Resume, end_us: int) -> bool:
        """Command until it is obeyed or there is nothing to resume; False when patience is over."""
        world = self._world
        while world.now < end_us:
            try:
                world.command(command)
            except ev.Refused as refused:
                if refused.code == "program-empty":
                    raise
                world.run_for(REACTION_US)
                if isinstance(command, ev.Resume) and self._phase() is Phase.ENDED:
                    return True
            else:
                return True
        return False

    def seen(self, seed: int) -> Played:
        """What was seen of it."""
        world = self._world
        truths = {unit.settings.name: unit.take_truth() for unit in world.units}
        notes = world.notes[self._notes :]
        run = world.core.run
        report = run.report if run else Report(0, "", (), world.now)
        outcome = "unfinished" if self._given_up else report.outcome
        began_us = _instants_us(truths, "start")
        ended_us = _instants_us(truths, "finish") if outcome == "finished" else [world.now]
        trouble = {note.message for note in notes if note.code in START_TROUBLE}
        return Played(
            seed=seed,
            outcome=outcome,
            message=report.message,
            wait_us=min(began_us) - self._commanded_us if began_us else None,
            motion_us=max(ended_us) - min(began_us) if began_us else None,
            starts=tuple(_start(world, record, truths) for record in report.starts),
            partial_starts=report.partial_starts,
            refused_starts=sum(note.code == "start-refused" for note in notes),
            holds=tuple(
                HoldSeen(hold["cause"], hold["apart_us"])
                for hold in report.holds
                if hold["cause"] not in trouble
            ),
            feed_slack_us=dict(report.feed_slack_us),
            simulated_us=world.now - BEGIN_US,
        )


def _instants_us(truths: Truths, event: str) -> list[int]:
    return [t.at_ns // 1_000 for found in truths.values() for t in found if t.event == event]


def _start(world: World, record: StartRecord, truths: Truths) -> StartSeen:
    at_ns = 1_000 * world.station.host.true(record.at_us)
    off_us = {
        name: (truth.at_ns - at_ns) / 1_000
        for name, found in truths.items()
        for truth in found
        if truth.event in ("start", "resume") and abs(truth.at_ns - at_ns) <= 1_000 * NEAR_US
    }
    whole = len(off_us) == len(world.units)
    return StartSeen(
        is_resume=record.path_us > 0,
        attempts=record.attempts,
        lead_us=record.lead_us,
        spread_us=max(off_us.values()) - min(off_us.values()) if whole else None,
        bound_us=record.bound_us,
        slack_us={
            name: entry.slack_us
            for name, entry in record.joints.items()
            if entry.slack_us is not None
        },
        off_us=off_us,
    )
