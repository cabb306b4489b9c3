"""A long program on a busy network, overridden, held and cut off on its way: maps are renewed all
the time, and must not let the joints drift apart.
"""

import contextlib
from collections.abc import Callable
from itertools import pairwise

from coordinator.core import events as ev
from coordinator.core.run import Phase, Run
from coordinator.motion import plan_parts
from coordinator.programs import parse_program
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US
from protocol.states import JointState
from tests.campaign.scenario import Scenario, make_arm, make_units
from tests.campaign.truth import path_of, path_us, state_of
from tests.coordinator.rehearsal.test_world import home

MINUTE = 60 * US
PIECE_US = 5 * US
SLOW_PPM, FULL_PPM = 400_000, 1_000_000
OUTAGE_US = 3 * US
JOINTS = 3
THERE, BACK = "A-40 B40 C-20", "A40 B-40 C20"
PROGRAM = f"G90 G94\nG0 {BACK}\nG93\n" + f"G1 {THERE} F0.6\nG1 {BACK} F0.6\n" * 3 + "M2\n"
"""Six moves of 100 s each."""


def world() -> World:
    scenario = Scenario(8, JOINTS, 11, "busy", (), ())
    arm = make_arm(scenario)
    return World(arm, make_units(scenario, arm, BEGIN_US), scenario.profile, scenario.seed)


def uncertainties_us(made: World) -> float:
    """By how much the two worst clocks may be apart."""
    now_us = made.laptop.host.arm(made.now)
    bounds = [link.clock_uncertainty_us(now_us) for link in made.core.links]
    return sum(sorted(bound for bound in bounds if bound is not None)[-2:])


def ahead_us(made: World) -> float | None:
    """By how much the joints are further apart than their clocks allow; none if not all move."""
    nodes = list(made.nodes.values())
    if any(state_of(node) is not JointState.MOVING for node in nodes):
        return None
    if any(path_of(one).current != path_of(other).current for one, other in pairwise(nodes)):
        return None
    paths = [path_us(node, node.unit.joint_us(made.now)) for node in nodes]
    return max(paths) - min(paths) - uncertainties_us(made)


def go_on(made: World, run: Run) -> None:
    """Resume, again where a busy network held the run once more."""

    def goes() -> bool:
        return run.phase in (Phase.MOVING, Phase.ENDED)

    for _ in range(20):
        if run.phase is Phase.HELD:
            with contextlib.suppress(ev.Refused):
                made.command(ev.Resume())
        if made.run_until(goes, PIECE_US):
            return
    raise AssertionError(f"the run stays {run.phase}: {run.report.message}")


def override(made: World, run: Run, rate_ppm: int) -> None:
    """Ask for a speed until it is in force: on a busy link it may be withdrawn."""
    for _ in range(20):
        made.command(ev.Override(rate_ppm))
        made.run_for(PIECE_US)
        go_on(made, run)
        if run.motion is not None and run.motion.rate_ppm == rate_ppm:
            return
    raise AssertionError(f"{rate_ppm} ppm never came into force")


def hold(made: World, run: Run) -> None:
    made.command(ev.Hold())
    assert made.run_until(lambda: run.phase is Phase.HELD, PIECE_US)


def lose_a_joint(made: World, run: Run) -> None:
    made.cut(made.arm.joints[1].name, OUTAGE_US)
    assert made.run_until(lambda: run.phase is Phase.HELD, 3 * OUTAGE_US)


def test_program_of_ten_minutes_ends_with_all_joints_within_the_clock_bound_of_each_other() -> None:
    made = home(world())
    parts = plan_parts(parse_program(PROGRAM, made.arm.letters), made.arm, made.core.start_counts())
    made.command(ev.Play("long", PROGRAM, parts))
    run = made.core.run
    assert run is not None
    for unit in made.units:
        unit.take_truth()
    script: list[tuple[float, Callable[[], None]]] = [
        (1.3, lambda: override(made, run, SLOW_PPM)),
        (2.3, lambda: override(made, run, FULL_PPM)),
        (4, lambda: hold(made, run)),
        (6, lambda: lose_a_joint(made, run)),
    ]
    widest_us, compared = -1e9, 0
    begun_us = made.now
    while run.phase is not Phase.ENDED and made.now - begun_us < 20 * MINUTE:
        if script and made.now - begun_us >= script[0][0] * MINUTE and run.phase is Phase.MOVING:
            script.pop(0)[1]()
        made.run_until(lambda: run.phase in (Phase.HELD, Phase.ENDED), PIECE_US)
        if run.phase is Phase.HELD:
            go_on(made, run)
        ahead = ahead_us(made)
        if ahead is not None:
            widest_us, compared = max(widest_us, ahead), compared + 1
    assert run.report.outcome == "finished", run.report.message
    assert made.now - begun_us > 10 * MINUTE
    assert not script
    assert len(run.report.holds) >= 2
    assert compared * PIECE_US > 8 * MINUTE
    assert -1e6 < widest_us <= 0
    finished = [
        [truth.at_ns for truth in unit.take_truth() if truth.event == "finish"]
        for unit in made.units
    ]
    assert [len(one) for one in finished] == [1] * JOINTS
    instants_us = [one[0] / 1e3 for one in finished]
    assert max(instants_us) - min(instants_us) <= uncertainties_us(made)
