"""Steps: a joint turns by exactly the angles asked for, however they come and whatever is lost."""

from random import Random

import pytest

from coordinator.codes.refusal import INPUT_CODES
from coordinator.core import events as ev
from coordinator.core.jogging import STEPS_MOST
from coordinator.rehearsal.faulty_link import Trouble
from coordinator.rehearsal.world import World
from protocol.constants import COUNTS_PER_MICROSTEP
from protocol.states import JointState
from protocol.status import Fault
from simulator.network import BOTH
from tests.coordinator.core.kit import (
    S,
    at_rest,
    homed_world,
    link,
    refusal,
    states_of_one_that_fails_as_it_is_cleared,
    unit,
    until,
    world_up,
)

SPEED_DEG_S = 10.0


def counts(world: World, name: str) -> float:
    """Where a joint truly stands, in its own counts since its homing."""
    joint = unit(world, name).joint
    return joint.position(world.now)[0]


def still_world(profile: str, seed: int = 1) -> World:
    """A world whose joints are homed and have said since that they rest."""
    world = homed_world(profile, seed)
    world.run_for(1 * S)
    return world


def by_counts(world: World, by_deg: float, name: str = "tip") -> int:
    """The whole counts next to an angle."""
    return round(by_deg * world.arm.joint(name).counts_per_degree)


def done(world: World) -> None:
    """Wait until no step is under way."""
    until(world, lambda: not world.core.jogging)
    world.run_for(1 * S)
    assert at_rest(world)


@pytest.mark.parametrize("by_deg", [0.01, -0.1, 10.0, -12.34])
def test_a_step_turns_a_joint_by_that_many_counts_and_no_other(by_deg: float) -> None:
    world = still_world("none")
    before = {one.name: counts(world, one.name) for one in world.core.links}
    world.command(ev.Step("tip", by_deg, SPEED_DEG_S))
    done(world)
    by = round(by_deg * world.arm.joint("tip").counts_per_degree)
    assert counts(world, "tip") == before["tip"] + by
    assert counts(world, "base") == before["base"]
    assert not [note for note in world.core.outbox.notes if note.code == "steps-short"]


def test_steps_that_come_before_the_last_is_done_end_at_their_exact_sum() -> None:
    world = still_world("home")
    before, total_deg = counts(world, "tip"), 0.0
    for k in range(12):
        by_deg = (0.5, -0.01, 0.37)[k % 3]
        world.command(ev.Step("tip", by_deg, SPEED_DEG_S))
        total_deg += by_deg
        world.run_for(70_000)
    done(world)
    assert counts(world, "tip") == before + by_counts(world, total_deg)


@pytest.mark.parametrize("by_deg", [0.01, -0.003])
def test_a_hundred_small_steps_end_within_half_a_count_of_their_sum(by_deg: float) -> None:
    world = still_world("none")
    per_degree = world.arm.joint("tip").counts_per_degree
    assert 100 * abs(by_deg * per_degree - round(by_deg * per_degree)) > 5, "rounded each, they err"
    before = counts(world, "tip")
    for _ in range(100):
        world.command(ev.Step("tip", by_deg, SPEED_DEG_S))
        world.run_for(70_000)
    done(world)
    assert abs(counts(world, "tip") - before - 100 * by_deg * per_degree) <= 0.5
    assert not [note for note in world.core.outbox.notes if note.code == "steps-short"]


def test_a_hundred_small_steps_from_rest_end_within_half_a_microstep_of_their_sum() -> None:
    world = still_world("none")
    before = counts(world, "tip")
    for _ in range(100):
        world.command(ev.Step("tip", 0.01, SPEED_DEG_S))
        world.run_for(2 * S)
    off = counts(world, "tip") - before - world.arm.joint("tip").counts_per_degree
    assert abs(off) <= COUNTS_PER_MICROSTEP / 2


def test_a_step_right_after_the_last_one_was_let_go_counts_from_its_end() -> None:
    world = still_world("none")
    before = counts(world, "tip")
    for _ in range(4):
        world.command(ev.Step("tip", 1.0, SPEED_DEG_S))
        until(world, lambda: not world.core.jogging)
    done(world)
    assert counts(world, "tip") == before + by_counts(world, 4.0)


@pytest.mark.parametrize("profile", ["none", "busy"])
@pytest.mark.parametrize(
    "command",
    [
        ev.Step("tip", -3.0, SPEED_DEG_S),
        ev.Go("away", {"tip": -3.0}, 0.2),
        ev.Jog({"tip": -5.0}),
    ],
    ids=["step", "go", "jog"],
)
def test_a_fault_that_a_clear_under_way_takes_away_unseen_begins_no_motion(
    profile: str, command: ev.Command
) -> None:
    world = still_world(profile)
    repeats = 10 if isinstance(command, ev.Jog) else None
    seen = states_of_one_that_fails_as_it_is_cleared(world, "tip", command, repeats=repeats)
    assert JointState.JOGGING not in seen
    world.run_for(1 * S)
    assert not world.core.jogging


def test_joints_step_at_the_same_time() -> None:
    world = still_world("none")
    before = counts(world, "tip"), counts(world, "base")
    world.command(ev.Step("tip", 2.0, SPEED_DEG_S))
    world.command(ev.Step("base", -3.0, SPEED_DEG_S))
    assert [one.name for one in world.core.jogging] == ["base", "tip"]
    done(world)
    per_degree = [world.arm.joint(name).counts_per_degree for name in ("tip", "base")]
    assert counts(world, "tip") == before[0] + round(2.0 * per_degree[0])
    assert counts(world, "base") == before[1] + round(-3.0 * per_degree[1])


@pytest.mark.parametrize(
    ("profile", "trouble", "seed", "count"), [("home", 0.3, 3, 300), ("hostile", 0.0, 1, 1_000)]
)
def test_a_thousand_random_steps_on_bad_links_end_at_their_sum_or_it_is_told_which_did_not(
    profile: str, trouble: float, seed: int, count: int
) -> None:
    world, random = still_world(profile, seed), Random(seed)
    for faulty_link in world.laptop.faulty_links.values():
        for kind in (Trouble.LOSS, Trouble.DUPLICATE, Trouble.REORDER):
            faulty_link.trouble(kind, trouble, world.now, world.now + 10_000 * S, BOTH)
    per_degree = world.arm.joint("tip").counts_per_degree
    expected, taken, sums = counts(world, "tip"), 0, 0
    while taken < count:
        by_deg = random.choice([0.01, 0.1, 1.0]) * random.choice([-1, 1])
        try:
            world.command(ev.Step("tip", by_deg, SPEED_DEG_S))
        except ev.Refused:
            world.run_for(100_000)
            continue
        taken += 1
        expected += by_deg * per_degree
        world.run_for(random.randrange(5_000, 200_000))
        if taken % 50 == 0:
            world.run_for(10 * S)
            assert at_rest(world)
            told = [note for note in world.notes if note.code == "steps-short"]
            if not told:
                sums += 1
                assert counts(world, "tip") == round(expected)
            expected = counts(world, "tip")
            world.notes.clear()
    assert sums >= count / 100


def test_a_step_beyond_the_range_is_refused_with_where_it_would_end() -> None:
    world = still_world("none")
    world.command(ev.Step("tip", 60.0, 60.0))
    refused = refusal(world, ev.Step("tip", 60.0, 60.0))
    assert refused.code == "step-range"
    assert "its range is" in refused.message
    done(world)


def test_a_step_that_ends_a_hair_beyond_the_range_does_not_read_as_its_end() -> None:
    world = still_world("none")
    joint = world.arm.joint("tip")
    assert joint.range_deg is not None
    here_deg, last_deg = joint.to_degrees(counts(world, "tip")), joint.range_deg[1]
    refused = refusal(world, ev.Step("tip", last_deg - here_deg + 0.001, 60.0))
    told_deg = float(refused.message.partition("a step to ")[2].partition("°")[0])
    assert last_deg < told_deg < last_deg + 0.002


def test_a_step_of_less_than_a_count_is_refused() -> None:
    world = still_world("none")
    refused = refusal(world, ev.Step("tip", 1e-9, SPEED_DEG_S))
    assert refused.code == "step-angle"
    smallest = f"{world.arm.joint('tip').microstep_deg:.3g}°"
    assert refused.message == (
        f"tip: a step of 1e-09° turns nothing; the smallest of its motor is {smallest}"
    )
    assert refusal(world, ev.Step("tip", 0.0, SPEED_DEG_S)).code in INPUT_CODES


@pytest.mark.parametrize("speed_deg_s", [60.001, float("nan")])
def test_a_step_faster_than_the_joint_is_refused(speed_deg_s: float) -> None:
    assert refusal(still_world("none"), ev.Step("tip", 1.0, speed_deg_s)).code == "jog-speed"


def test_only_so_many_steps_of_a_joint_may_be_under_way() -> None:
    world = still_world("none")
    for _ in range(STEPS_MOST):
        world.command(ev.Step("tip", 0.1, 1.0))
    assert refusal(world, ev.Step("tip", 0.1, 1.0)).code == "steps"
    done(world)


@pytest.mark.parametrize("end", [ev.Hold(), ev.Stop()])
def test_hold_and_stop_end_steps_and_what_is_missing_is_told(end: ev.Command) -> None:
    world = still_world("none")
    world.command(ev.Step("tip", 20.0, 5.0))
    world.run_for(1 * S)
    world.command(end)
    assert world.core.jogging == []
    world.run_for(1 * S)
    assert at_rest(world)
    place = counts(world, "tip")
    (told,) = [note for note in world.core.outbox.notes if note.code == "steps-short"]
    assert "before it was at" in told.message
    world.run_for(5 * S)
    assert counts(world, "tip") == place


def test_a_joint_that_is_lost_ends_its_steps_and_nothing_goes_on_by_itself() -> None:
    world = still_world("none")
    world.command(ev.Step("tip", 20.0, 2.0))
    world.run_for(1 * S)
    world.cut("tip", 3 * S)
    world.run_for(4 * S)
    assert world.core.jogging == []
    assert at_rest(world)
    place = counts(world, "tip")
    world.run_for(5 * S)
    assert counts(world, "tip") == place


def test_a_control_cannot_be_held_while_steps_are_under_way_nor_the_other_way_round() -> None:
    world = still_world("none")
    world.command(ev.Step("tip", 5.0, 5.0))
    assert refusal(world, ev.Jog({"tip": 5.0})).code == "jogging"
    done(world)
    world.command(ev.Jog({"base": 5.0}))
    assert refusal(world, ev.Step("tip", 5.0, 5.0)).code == "jogging"


def test_an_unhomed_joint_steps_too_no_faster_than_it_may() -> None:
    world = world_up("none")
    before = counts(world, "tip")
    world.command(ev.Step("tip", 5.0, 60.0))
    fastest = 0.0
    for _ in range(100):
        world.run_for(10_000)
        fastest = max(fastest, abs(unit(world, "tip").true_position(world.now)[1]))
    done(world)
    per_degree = world.arm.joint("tip").counts_per_degree
    assert counts(world, "tip") == before + round(5.0 * per_degree)
    assert fastest <= 30.0 * abs(per_degree) * (1 + 5e-4)
    assert link(world, "tip").status is not None


def test_a_joint_with_a_fault_does_not_step_and_is_named() -> None:
    world = still_world("none")
    unit(world, "tip").fault(Fault.DRIVER, world.now)
    world.run_for(1 * S)
    refused = refusal(world, ev.Step("tip", 1.0, SPEED_DEG_S))
    assert refused.code == "faulted"
    assert "tip has a fault" in refused.message
