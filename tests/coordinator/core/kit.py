"""A small arm in virtual time: three joints that home in a few seconds, and what tests ask of it.

Nothing here waits: a world runs until something is true of it, or a limit in virtual time fails
the test. What joints really did is read from the units (`truth`), never from what they report.
"""

import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from coordinator.config.arm import Arm, parse_arm
from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.link.link import JointLink
from coordinator.core.run import Phase, Run
from coordinator.core.run.report import Report
from coordinator.core.run.start import Stage, Start
from coordinator.motion import plan_parts
from coordinator.programs import parse_program
from coordinator.rehearsal.world import World
from protocol.states import JointState
from protocol.status import Fault
from simulator.network import Profile
from simulator.settings import JointSettings
from simulator.unit import JointUnit, WorldTruth

EVEN = Profile(base_forward_ms=5.0, base_back_ms=5.0)
"""A link without chance, slow enough to cut between a drive and its echo."""
NAMES = ("base", "middle", "tip")
S = 1_000_000
"""One second in µs."""

_JOINT = """
[[joints]]
name = "{name}"
id = "0000000000{number:02d}"
word = "{word}"
full_steps = 200
microsteps = 16
gear_ratio = 20.0
direction = {direction}
range_deg = [-90, 90]
velocity_deg_s = 60
acceleration_deg_s2 = 120
jerk_deg_s3 = 600
home_deg = 0
homing = {{ direction = -1, travel_deg = 190, fast_deg_s = 30, slow_deg_s = 5, backoff_deg = 2 }}
temperature_warning_c = 50
temperature_limit_c = 58
supply_limit_v = 18
run_current_a = 1.2
hold_current_a = 0.6
hop_resistance_ohm = 0.05
"""

THERE_AND_BACK = "G90 G94\nG0 A30 B20 C10\nG0 A0 B0 C0\nM2\n"
"""About three seconds of path."""
LONG = "G90 G94\nG1 A60 B60 C60 F1200\nG0 A0 B0 C0\nM2\n"
"""About seven seconds of path, most of it at one speed."""


def small_arm(count: int = 3) -> Arm:
    """An arm of up to three joints; the second one's steps count the other way."""
    names = NAMES[:count]
    text = f'name = "small arm"\nhoming_order = {list(reversed(names))}\n'
    text += "[poses]\npark = {" + ", ".join(f"{name} = 0" for name in names) + "}\n"
    for k, name in enumerate(names):
        text += _JOINT.format(
            name=name, number=k + 1, word="ABC"[k], direction=-1 if name == "middle" else 1
        )
    return parse_arm(text, Path("small.toml"))


def units(arm: Arm, seed: int, capacity: int = 512) -> list[JointUnit]:
    """Software joints for an arm, each a few degrees before its home sensor."""
    made = []
    for k, joint in enumerate(arm.joints):
        per_degree = joint.counts_per_degree
        home = joint.to_counts(joint.home_deg)
        before = home - round(6 * joint.homing.direction * per_degree)
        made.append(
            JointUnit(
                JointSettings(
                    id=joint.id,
                    name=joint.name,
                    seed=100 * seed + k,
                    counts_per_turn=round(360 * abs(per_degree)),
                    home_centre=home,
                    home_half_width=round(2 * abs(per_degree)),
                    start_low=before,
                    start_high=before,
                    point_capacity=capacity,
                ),
                bytes(32),
                1e6,
            )
        )
    return made


def all_up(world: World) -> bool:
    """Whether every joint is connected, configured, heard, measured and has a sure clock."""
    return all(
        link.up
        and link.connection.configured
        and link.heard(world.laptop.now)
        and link.quality.measured
        and link.clock.locked
        for link in world.core.links
    )


def world_up(
    profile: str | Profile = "none",
    seed: int = 1,
    *,
    count: int = 3,
    capacity: int = 512,
    touch: bool = False,
) -> World:
    """A world whose joints are all connected, unhomed.

    Without `touch` nobody listens to their own controls: an arm at rest is asked less often then.
    """
    arm = small_arm(count)
    joints = tuple(replace(joint, touch=touch) for joint in arm.joints)
    arm = replace(arm, joints=joints)
    world = World(arm, units(arm, seed, capacity), profile, seed)
    until(world, lambda: all_up(world), 30 * S)
    return world


def homed_world(
    profile: str | Profile = "none",
    seed: int = 1,
    *,
    count: int = 3,
    capacity: int = 512,
    touch: bool = False,
) -> World:
    """A world whose joints are all homed; what they did until then is forgotten."""
    world = world_up(profile, seed, count=count, capacity=capacity, touch=touch)
    home(world)
    truth(world)
    world.notes.clear()
    return world


def until(world: World, condition: Callable[[], bool], limit_us: int = 30 * S) -> None:
    """Let time pass until a condition holds; fails the test where it does not come true."""
    assert world.run_until(condition, limit_us), describe(world)


def describe(world: World) -> str:
    """What to read when a wait was in vain."""
    run = world.core.run
    lines = [f"now {world.now}, run {run.phase if run else None}"]
    for link in world.core.links:
        lines.append(
            f"{link.name}: {link.connection.state} {link.connection.message!r} {link.status}"
        )
    lines += [f"{note.at_us} {note.code}: {note.message}" for note in world.notes]
    return "\n".join(lines)


def home(world: World, *names: str) -> None:
    """Home joints, all for none named."""
    world.command(ev.Home(names))
    homing = world.core.homing
    assert homing is not None
    until(world, lambda: homing.state is not HomingState.RUNNING, 120 * S)
    assert homing.state is HomingState.DONE, homing.message


def links(world: World) -> list[JointLink]:
    """The coordinator's side of all joints, base to tool."""
    return world.core.links


def link(world: World, name: str) -> JointLink:
    """The coordinator's side of one joint."""
    return next(link for link in world.core.links if link.name == name)


def unit(world: World, name: str) -> JointUnit:
    """A joint itself."""
    return next(unit for unit in world.units if unit.settings.name == name)


def play(world: World, text: str = THERE_AND_BACK) -> int:
    """Play a program; its run's number."""
    program = parse_program(text, world.arm.letters)
    parts = plan_parts(program, world.arm, world.core.start_counts())
    number = world.command(ev.Play("test", text, parts))
    assert number is not None
    return number


def run_of(world: World) -> Run:
    """The newest run."""
    assert world.core.run is not None
    return world.core.run


def report_of(world: World) -> Report:
    """The newest run's report."""
    return run_of(world).report


def until_phase(world: World, *phases: Phase, limit_us: int = 60 * S) -> None:
    """Let time pass until the run is in one of these phases."""
    until(world, lambda: run_of(world).phase in phases, limit_us)


def moving(world: World, after_us: int = 1 * S, text: str = LONG) -> int:
    """Play, and let the arm move for a while; the run's number."""
    number = play(world, text)
    until_phase(world, Phase.MOVING)
    course = run_of(world).course
    assert course is not None
    begins_us = course.at_us
    until(world, lambda: world.now >= begins_us + after_us)
    assert run_of(world).phase is Phase.MOVING, describe(world)
    return number


def play_to(world: World, phase: Phase) -> None:
    """Play until the run is in a phase; a hold brings it there where nothing else does."""
    play(world, LONG)
    if phase in (Phase.HOLDING, Phase.HELD):
        until_phase(world, Phase.MOVING)
        world.run_for(1 * S)
        world.command(ev.Hold())
    until_phase(world, phase)


def finish(world: World) -> None:
    """Let the run end, and see that it finished."""
    until_phase(world, Phase.ENDED)
    assert report_of(world).outcome == "finished", describe(world)


def truth(world: World) -> dict[str, list[WorldTruth]]:
    """What each joint really did since the last call."""
    return {unit.settings.name: unit.take_truth() for unit in world.units}


def of_kind(found: dict[str, list[WorldTruth]], *kinds: str) -> dict[str, list[WorldTruth]]:
    """The events of some kinds."""
    return {
        name: [event for event in events if event.event in kinds] for name, events in found.items()
    }


def held_places(world: World) -> set[float]:
    """Path times at which joints truly came to hold since last asked."""
    return {e.path_us for events in of_kind(truth(world), "hold").values() for e in events}


def start_skew_us(events: Sequence[WorldTruth]) -> float:
    """True time from the first to the last of events."""
    times = [event.at_ns for event in events]
    return (max(times) - min(times)) / 1000


def positions(world: World) -> list[float]:
    """Where the axes truly are, in counts."""
    return [unit.true_position(world.now)[0] for unit in world.units]


def speeds(world: World) -> list[float]:
    """How fast they truly move, in counts/s."""
    return [abs(unit.true_position(world.now)[1]) for unit in world.units]


def at_rest(world: World) -> bool:
    """Whether no joint truly moves."""
    return max(speeds(world)) == 0.0


def codes(world: World) -> list[str]:
    """The codes of all notes so far."""
    return [note.code for note in world.notes]


def refusal(world: World, command: ev.Command) -> ev.Refused:
    """The refusal of a command that must be refused."""
    try:
        world.command(command)
    except ev.Refused as refused:
        return refused
    raise AssertionError(f"{command} was not refused")


def path_us(world: World, name: str) -> float:
    """Where a joint truly is on its path."""
    return unit(world, name).by_value(world.now, lambda joint, now: joint.path_us(now))


def states(world: World) -> list[JointState]:
    """The joints' own states, not what was last heard of them."""
    return [unit.by_value(world.now, lambda joint, _now: joint.state) for unit in world.units]


def state(world: World, name: str) -> JointState:
    """One joint's own state."""
    return unit(world, name).by_value(world.now, lambda joint, _now: joint.state)


def states_of_one_that_fails_as_it_is_cleared(
    world: World, name: str, command: ev.Command, *, repeats: int | None = None
) -> set[JointState]:
    """Stopped, then told something by a command, a joint fails while what lifts the stop is on its
    way: in which states it is within the next second. A hand says what it wishes again, each time
    so many hundredths of a second have gone by, and does not let go.
    """
    one, seen = unit(world, name), set[JointState]()
    world.command(ev.Stop())
    world.run_for(2 * S)
    world.command(command)
    one.fault(Fault.DRIVER, world.now)
    for k in range(100):
        world.run_for(10_000)
        seen.add(one.joint.state)
        if repeats is not None and k % repeats == 0:
            with contextlib.suppress(ev.Refused):
                world.command(command)
    return seen


def until_stage(world: World, stage: Stage) -> Start:
    """Let time pass until a start is at a stage; the start."""

    def there() -> bool:
        start = run_of(world).start
        return start is not None and start.stage is stage

    until(world, there)
    start = run_of(world).start
    assert start is not None
    return start


@dataclass
class Wire:
    """What the core sent and heard, with its arm time."""

    drives: list[tuple[int, ev.SendDrive]] = field(default_factory=list)
    frames: list[tuple[int, ev.SendFrame]] = field(default_factory=list)
    replies: list[tuple[int, ev.Replied]] = field(default_factory=list)
    reports: list[tuple[int, ev.Reported]] = field(default_factory=list)


def wiretap(world: World) -> Wire:
    """Note everything from now on that passes in or out of the core."""
    wire, poll, handle = Wire(), world.core.poll, world.core.handle

    def noted_poll(now: int) -> list[ev.Action]:
        actions = poll(now)
        wire.drives += [(now, action) for action in actions if isinstance(action, ev.SendDrive)]
        wire.frames += [(now, action) for action in actions if isinstance(action, ev.SendFrame)]
        return actions

    def noted_handle(event: ev.Event, now: int) -> None:
        if isinstance(event, ev.Replied):
            wire.replies.append((now, event))
        if isinstance(event, ev.Reported):
            wire.reports.append((now, event))
        handle(event, now)

    world.core.poll = noted_poll  # type: ignore[method-assign]
    world.core.handle = noted_handle  # type: ignore[method-assign]
    return wire
