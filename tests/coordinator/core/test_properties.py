"""Whatever an operator asks and whatever the links do: the invariants, on the true state.

Design section 6: I1, I2, I5, I6, I7, I11 and I12 (I3 is in test_session.py, as it needs a crash).
"""

import contextlib
from collections.abc import Callable
from dataclasses import dataclass

from hypothesis import given, settings
from hypothesis import strategies as st

from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.run import Phase
from coordinator.core.run.permit import HORIZON_MAX_US
from coordinator.rehearsal.world import World
from protocol.drive import Drive, StopLevel
from protocol.states import MOVING_STATES, JointState
from protocol.status import Status
from simulator.network import BOTH, PROFILES, Direction
from tests.coordinator.core.kit import (
    S,
    all_up,
    at_rest,
    describe,
    finish,
    home,
    links,
    play,
    small_arm,
    units,
    until,
)
from tests.onlooker import Onlooker

PROGRAM = "G90 G94\nG1 A40 B40 F1200\nG4 P0.3\nG0 A0 B0\nM2\n"
STEP_US = 50_000
TOGETHER_US = HORIZON_MAX_US + 1_000_000 + 500_000
"""I2: the permit's horizon, the ramp (0.84 s for 60 °/s and 120 °/s²), and the way of a drive."""
SILENT_US = 1_500_000 + TOGETHER_US
"""I11: a joint that hears of the end of its permission only by silence."""
GRACE = 1.0005
"""I5: clock rate and slewing."""


@dataclass(frozen=True)
class Deed:
    """Something that is done to the world, and its name for the failure's text."""

    name: str
    act: Callable[[World], object]


def ask(command: ev.Command) -> Deed:
    def act(world: World) -> None:
        with contextlib.suppress(ev.Refused):
            world.command(command)

    return Deed(repr(command), act)


def try_play(world: World) -> None:
    with contextlib.suppress(ev.Refused):
        play(world, PROGRAM)


def cut(name: str, duration_us: int, ways: tuple[Direction, ...]) -> Deed:
    def act(world: World) -> None:
        world.cut(name, duration_us, ways)

    return Deed(f"cut {name} {duration_us} {ways}", act)


def reboot(name: str, after_us: int) -> Deed:
    def act(world: World) -> None:
        world.kill_joint(name)
        world.at(world.now + after_us, world.restart_joint, name)

    return Deed(f"reboot {name} after {after_us}", act)


def break_stream(name: str) -> Deed:
    return Deed(
        f"break the stream of {name}",
        lambda world: world.break_stream(name),
    )


NAME = st.sampled_from(["base", "middle"])
ONE_WAY: list[tuple[Direction, ...]] = [BOTH, ("forward",), ("back",)]
WAYS = st.sampled_from(ONE_WAY)
DEEDS = st.one_of(
    st.just(Deed("play", try_play)),
    st.just(Deed("play", try_play)),
    st.just(ask(ev.Hold())),
    st.just(ask(ev.Resume())),
    st.just(ask(ev.Home())),
    st.sampled_from([50_000, 400_000, 1_000_000]).map(lambda rate: ask(ev.Override(rate))),
    st.sampled_from(list(StopLevel)[1:]).map(lambda level: ask(ev.Stop(level))),
    st.builds(lambda name, v: ask(ev.Jog({name: v})), NAME, st.sampled_from([-60.0, 20.0])),
    st.builds(cut, NAME, st.integers(20_000, 3 * S), WAYS),
    st.builds(reboot, NAME, st.integers(1_000, 2 * S)),
    st.builds(break_stream, NAME),
)
STEPS = st.lists(
    st.tuples(DEEDS, st.sampled_from([10_000, 200_000, 1 * S, 3 * S])), min_size=1, max_size=10
)


class Complied(Onlooker):
    """I1: who truly complied with which *arm*, judged when a *go* is sent. `joints` are all."""

    def __init__(self, joints: int) -> None:
        self._joints = joints
        self.by_plan: dict[int, set[str]] = {}
        self.newest_arm = 0
        self.broken = ""

    def sent(self, laptop: int, joint_id: str, drive: Drive) -> None:
        if drive.plan is None:
            return
        if drive.plan.change is None:
            self.newest_arm = drive.plan.number
            return
        goes = drive.plan.change.before_ppm == 0 and drive.plan.number == self.newest_arm + 1
        if goes and len(self.by_plan.get(self.newest_arm, ())) < self._joints:
            self.broken = f"plan {drive.plan.number} goes without all armed"

    def drove(self, joint_id: str, laptop: int, drive: Drive, status: Status | None) -> None:
        if status is not None and status.plan and status.state is JointState.ARMED:
            self.by_plan.setdefault(status.plan, set()).add(joint_id)


class Watch:
    """Looks at the true state and remembers since when something has been so."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.apart_since: int | None = None
        self.idle_since: int | None = None
        self.unhomed = dict.fromkeys(("base", "middle"), True)

    def look(self) -> None:
        world = self.world
        seen: dict[str, tuple[JointState, int]] = {}
        for unit, joint in zip(world.units, world.arm.joints, strict=True):
            state, status, (position, velocity) = unit.by_value(
                world.now, lambda one, now: (one.state, one.status(now), one.position(now))
            )
            per_degree = abs(joint.counts_per_degree)
            limit = joint.velocity_deg_s * per_degree
            assert abs(velocity) <= limit * GRACE, "I5 velocity"
            if status.homed:
                assert abs(position) <= 90 * per_degree + 256, "I5 range"
            if abs(velocity) > 0.0:
                assert state in MOVING_STATES, "I6"
                if not status.homed:
                    assert state in (JointState.HOMING, JointState.JOGGING, JointState.STOPPING)
                if state is JointState.JOGGING and not status.homed:
                    assert abs(velocity) <= joint.homing.fast_deg_s * per_degree * GRACE
            seen[joint.name] = state, status.trajectory
        self._together(seen)
        self._idle()

    def _together(self, seen: dict[str, tuple[JointState, int]]) -> None:
        """I2: no joint goes on alone along the path for long."""
        moves = [state is JointState.MOVING for state, _ in seen.values()]
        if any(moves) and not all(moves):
            finished = [state is JointState.FINISHED for state, _ in seen.values()]
            if self.apart_since is None:
                self.apart_since = self.world.now
            if not any(finished):
                assert self.world.now - self.apart_since <= TOGETHER_US, "I2"
        else:
            self.apart_since = None

    def _idle(self) -> None:
        """I11: what was not commanded does not move."""
        core = self.world.core
        run, homing = core.run, core.homing
        busy = (
            (run is not None and run.phase is not Phase.ENDED and run.phase is not Phase.HELD)
            or (homing is not None and homing.state is HomingState.RUNNING)
            or core.jogging is not None
        )
        if busy:
            self.idle_since = None
        elif self.idle_since is None:
            self.idle_since = self.world.now
        elif self.world.now - self.idle_since > SILENT_US:
            assert at_rest(self.world), "I11"


@settings(max_examples=max(10, settings().max_examples // 4))
@given(
    steps=STEPS,
    seed=st.integers(0, 2**16),
    profile=st.sampled_from(["none", "home", "busy", "hostile"]),
)
def test_the_invariants_hold_whatever_is_asked_and_whatever_the_links_do(
    steps: list[tuple[Deed, int]], seed: int, profile: str
) -> None:
    arm = small_arm(2)
    complied = Complied(len(arm.joints))
    world = World(arm, units(arm, seed), "none", seed, observer=complied)
    until(world, lambda: all_up(world))
    home(world)
    for k, faulty_link in enumerate(world.laptop.faulty_links.values()):
        faulty_link.replace(PROFILES[profile], seed + k, world.now)
    watch = Watch(world)
    for deed, wait_us in steps:
        deed.act(world)
        end = world.now + wait_us
        while world.now < end:
            world.run_for(min(STEP_US, end - world.now))
            watch.look()
        assert not complied.broken, f"I1: {complied.broken}\n{describe(world)}"

    # I12: when faults end and the operator asks, a play succeeds.
    for k, faulty_link in enumerate(world.laptop.faulty_links.values()):
        faulty_link.replace(PROFILES["none"], seed + k, world.now)
    world.run_for(5 * S)
    watch.look()
    world.command(ev.Stop())
    until(
        world,
        lambda: all_up(world) and not any(one.orders.stop_wanted for one in links(world)),
        60 * S,
    )
    until(world, lambda: at_rest(world) and all(one.at_rest for one in links(world)))
    for unit, joint in zip(world.units, arm.joints, strict=True):
        # A homing that was cut short may have left it far behind its sensor.
        while joint.to_degrees(round(unit.true_position(world.now)[0])) < 10.0:
            world.command(ev.Jog({joint.name: 30.0}))
            world.run_for(100_000)
        world.run_for(1 * S)
    home(world)
    play(world, PROGRAM)
    finish(world)
