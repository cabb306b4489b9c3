"""A long program: maps are renewed all the time, and must not let the joints drift apart."""

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.motion import plan_parts
from coordinator.programs import parse_program
from coordinator.rehearsal.world import World
from protocol.constants import US
from tests.coordinator.rehearsal.test_world import home, world

MINUTE = 60 * US
PIECE_US = MINUTE
PROGRAM = "G90 G94\nG0 A40 B-40\nG93\n" + "G1 A-40 B40 F0.2\nG1 A40 B-40 F0.2\n" * 3 + "M2\n"
"""Six moves of five minutes each."""


def bounds_us(made: World) -> float:
    bounds = [link.clock_bound_us(made.station.host.arm(made.now)) for link in made.core.links]
    return sum(bound for bound in bounds if bound is not None)


def test_half_hour_program_ends_with_all_joints_within_the_clock_bound_of_each_other() -> None:
    made = home(world(profile="home", seed=8))
    parts = plan_parts(parse_program(PROGRAM, made.arm.words), made.arm, made.core.start_counts())
    made.command(ev.Play("long", PROGRAM, parts))
    run = made.core.run
    assert run is not None
    for unit in made.units:
        unit.take_truth()
    widest_us = -1e9
    begun_us = made.now
    while run.phase is not Phase.ENDED and made.now - begun_us < 40 * MINUTE:
        made.run_for(PIECE_US)
        if run.phase is Phase.MOVING:
            first, second = (unit.joint.path_us(unit.joint_us(made.now)) for unit in made.units)
            widest_us = max(widest_us, abs(first - second) - bounds_us(made))
    assert run.report.outcome == "finished", run.report.message
    assert made.now - begun_us > 30 * MINUTE
    assert -1e6 < widest_us <= 0
    finished = [
        [truth.at_ns for truth in unit.take_truth() if truth.event == "finish"]
        for unit in made.units
    ]
    assert [len(one) for one in finished] == [1, 1]
    apart_us = abs(finished[0][0] - finished[1][0]) / 1e3
    assert apart_us <= bounds_us(made)
