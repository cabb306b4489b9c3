"""What I3 allows joints at rest: little once all have heard, more only while something is on its
way; and what scenarios and the judge count for it.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest

from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.run import Phase
from coordinator.core.run.permit import (
    HORIZON_MIN_US,
    WINDOW_MAX_US,
    WINDOW_MIN_US,
    PermitKeeper,
)
from coordinator.rehearsal.faulty_link import Trouble
from protocol.constants import US
from tests.campaign.generate import LONG_CAPACITIES, generate
from tests.campaign.happenings import Happenings
from tests.campaign.invariants.i03_apart import RestTogether
from tests.campaign.invariants.i03_dead import RestWithoutCoordinator
from tests.campaign.invariants.since_start import Apart, SinceStart
from tests.campaign.judge import Violated
from tests.campaign.play import play as play_out
from tests.campaign.rule_kit import SCENARIO, phase, play
from tests.campaign.scenario import Happening, Scenario
from tests.campaign.stage import Stage, stage_of
from tests.campaign.truth import path_of

CUT_US = 3 * US
LATE_US = 400_000


@pytest.fixture
def stage() -> Stage:
    """Two homed joints on a quiet network."""
    return stage_of(SCENARIO, (RestWithoutCoordinator,))


def rule(stage: Stage) -> RestTogether:
    (found,) = stage.judge.invariants
    assert isinstance(found, RestTogether)
    return found


def rests(stage: Stage) -> Apart:
    """Wait for the hold; how it was judged."""
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.HELD, 10 * US)
    (apart,) = rule(stage).rests
    return apart


def test_hold_that_both_heard_excuses_nothing(stage: Stage) -> None:
    play(stage)
    stage.world.command(ev.Hold())
    assert rests(stage) == Apart("quiet", "permit", 0, 1)


def test_hold_that_one_did_not_hear_excuses_the_horizon_and_the_ramp(stage: Stage) -> None:
    play(stage)
    stage.world.cut("j2", CUT_US)
    stage.world.command(ev.Hold())
    apart = rests(stage)
    ramp_us = round(path_of(stage.world.node("j1")).ramp.fall_path(1.0))
    assert apart.kind == "a lower permit on its way"
    assert 0 < apart.us <= apart.allowed_us
    assert apart.allowed_us - ramp_us == HORIZON_MIN_US


def twin_is_found(stage: Stage) -> None:
    """Two prove to be j1, so nobody knows which of them is the arm's."""
    scenario = replace(SCENARIO, happenings=(Happening(0, "twin", (0,), 2_000),))
    Happenings(scenario, stage.world, stage.judge).schedule(stage.world.now)


def clock_is_known_too_little(stage: Stage) -> None:
    """By less than the arm file asks for."""
    assert stage.world.core.run is not None
    stage.world.core.run.context.skew_limit_us = 0.0


def clock_was_read_wrong(stage: Stage) -> None:
    """By more than can be set right in motion."""
    stage.world.core.links[0].sync._maps.shift_us = 30_000.0


BY_ITSELF = (twin_is_found, clock_is_known_too_little, clock_was_read_wrong)


@pytest.mark.parametrize("why", BY_ITSELF)
def test_hold_that_nobody_asked_for_is_on_its_way_like_one_that_was(
    stage: Stage, why: Callable[[Stage], None]
) -> None:
    play(stage)
    now = stage.world.now
    faulty_link = stage.world.faulty_link("j2")
    faulty_link.trouble(Trouble.DELAY, LATE_US, now, now + CUT_US, ["forward"])
    why(stage)
    apart = rests(stage)
    ramp_us = round(path_of(stage.world.node("j1")).ramp.fall_path(1.0))
    assert apart.kind == "a lower permit on its way"
    assert WINDOW_MIN_US < apart.us <= apart.allowed_us
    assert apart.allowed_us - ramp_us == HORIZON_MIN_US


@pytest.mark.parametrize("why", BY_ITSELF)
def test_hold_that_nobody_asked_for_excuses_nothing_where_both_heard_it(
    stage: Stage, why: Callable[[Stage], None]
) -> None:
    play(stage)
    why(stage)
    assert rests(stage) == Apart("quiet", "permit", 0, 1)


def is_lost_with_a_newer_permit(stage: Stage) -> None:
    """What j2 said last is a window behind what it may: as far as permits ever are apart."""
    world, (_, link) = stage.world, stage.world.core.links
    world.cut("j2", CUT_US, ["back"])
    assert link.status is not None
    told_us = link.status.permit_us
    assert told_us is not None
    path = path_of(world.node("j2"))
    assert world.run_until(lambda: (path.permit_us or 0) > told_us, US)
    world.cut("j2", CUT_US)


def test_levelling_leaves_the_window_with_a_newer_permit_on_its_way(stage: Stage) -> None:
    play(stage)
    is_lost_with_a_newer_permit(stage)
    assert rests(stage) == Apart("quiet", "permit", WINDOW_MIN_US, WINDOW_MIN_US)


def test_hold_in_the_place_of_levelling_excuses_nothing(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(stage)
    monkeypatch.setattr(PermitKeeper, "level", lambda _: None)
    is_lost_with_a_newer_permit(stage)
    with pytest.raises(Violated, match="were in force, the window was never more than"):
        rests(stage)


def test_outage_on_a_quiet_network_excuses_no_more_than_its_window(stage: Stage) -> None:
    play(stage)
    stage.world.cut("j2", CUT_US)
    apart = rests(stage)
    assert apart.kind.startswith("permit")
    start = next(iter(rule(stage)._starts.values()))
    assert start.window_us == WINDOW_MIN_US


@pytest.mark.parametrize(
    ("worst_delay_us", "window_us"),
    [(20_000, WINDOW_MIN_US), (250_000, 250_000), (2_000_000, WINDOW_MAX_US)],
)
def test_window_follows_q(worst_delay_us: int, window_us: int) -> None:
    assert SinceStart(0, worst_delay_us).window_us == window_us


def test_joint_that_leaves_the_path_time_of_the_others_is_noticed_by_its_window(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(stage)
    path = path_of(stage.world.node("j2"))
    monkeypatch.setattr(
        type(path), "effective_permit_us",
        lambda one: one.permit_us + (2 * WINDOW_MIN_US if one is path else 0),
    )  # fmt: skip
    stage.world.kill_coordinator()
    with pytest.raises(Violated, match="were in force, the window was never more than"):
        stage.world.run_for(5 * US)


@pytest.mark.parametrize("lies", [False, True])
def test_sensor_is_believed_again_after_a_homing_in_which_it_did_not_lie(
    stage: Stage, lies: bool
) -> None:
    world, node = stage.world, stage.world.node("j1")
    stage.judge.sensor_lies(node, world.now + (60 * US if lies else 0))
    world.run_for(US)
    world.command(ev.Home(("j1",)))
    homing = world.core.homing
    assert homing is not None
    assert world.run_until(lambda: homing.state is HomingState.DONE, 60 * US)
    assert (node.id in stage.judge.false_home) == lies


def test_about_a_fifth_of_the_scenarios_feed_small_buffers_in_motion() -> None:
    scenarios = [generate(seed) for seed in range(1, 501)]
    moves = {one.seed: sum(line[:2] in ("G0", "G1") for line in one.program) for one in scenarios}
    long = [one for one in scenarios if moves[one.seed] >= 12]
    assert 75 <= len(long) <= 125
    assert all(set(one.capacities) <= set(LONG_CAPACITIES) for one in long)


def test_full_buffers_outages_by_way_and_partitions_are_counted() -> None:
    program = ("G90 G94", *(f"G1 A{(-1) ** k * 4} B{(-1) ** k * 3} F1200" for k in range(12)), "M2")
    happenings = (
        Happening(500, "outage", (0,), 10, ways=("back",)),
        Happening(600, "outage", (0, 1), 10),
    )
    outcome = play_out(
        Scenario(1, 2, 3, "quiet", program, happenings, capacities=(24, 24)), liveness=False
    )
    assert outcome.violation is None
    struck = outcome.struck
    assert struck["outage, from the joint"] == struck["outage, both ways"] == 1
    assert struck["partition of several joints"] == 1
    assert struck["full buffer"] > 2
    assert struck["points fed in motion"] > 2
