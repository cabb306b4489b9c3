"""Rules of commands notice what they are there for, each on an arm whose safeguard is taken out.

The other rules are in test_rules_of_motion.py.
"""

import contextlib
from dataclasses import replace

import pytest

from coordinator.core import events as ev
from coordinator.core import machine
from coordinator.core.drives import next_drive
from coordinator.core.homing import HomingSequence
from coordinator.core.jogging import Held, Jog, JogOrder
from coordinator.core.link.link import JointLink
from coordinator.core.link.orders import Orders
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase, Run
from coordinator.core.run.motion import Motion
from coordinator.core.run.start import Start
from protocol.constants import EXPIRY_US, US
from protocol.drive import StopLevel
from protocol.light import REST_WORDS, ConditionWord
from protocol.states import JointState
from simulator.joint.light import Lamp
from tests.campaign.invariants import ALWAYS
from tests.campaign.invariants.i07_reboot import RebootedStays
from tests.campaign.rule_kit import SCENARIO, begin_play, broken_rule, phase, play
from tests.campaign.stage import Stage, stage_of
from tests.campaign.truth import body_of

JOG_DEG_S = 2.0


@pytest.fixture
def stage() -> Stage:
    """Two homed joints on a quiet network."""
    return stage_of(SCENARIO, ALWAYS)


def test_run_that_resumes_by_itself_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(stage)
    stage.world.laptop.command(ev.Hold())
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.HELD, 10 * US)
    stage.world.run_for(US)
    step = Run.step

    def resuming(run: Run, now: int) -> None:
        step(run, now)
        if run.phase is Phase.HELD:
            with contextlib.suppress(ev.Refused):
                run.resume(now)

    monkeypatch.setattr(Run, "step", resuming)
    assert broken_rule(stage) == "I11"


def test_light_that_keeps_its_word_of_rest_while_another_joint_moves_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    tell = Lamp.tell

    def keeping(lamp: Lamp, condition: ConditionWord) -> None:
        if lamp._told not in REST_WORDS:
            tell(lamp, condition)

    stage.world.run_for(US)
    monkeypatch.setattr(Lamp, "tell", keeping)
    stage.world.laptop.command(ev.Jog({"j2": JOG_DEG_S}))
    assert broken_rule(stage) == "told"


def test_light_that_says_rest_though_its_own_joint_moves_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    stage.world.run_for(US)
    monkeypatch.setattr(Lamp, "word", lambda *_own, **_moves: ConditionWord.AT_REST)
    stage.world.laptop.command(ev.Jog({"j2": JOG_DEG_S}))
    assert broken_rule(stage) == "told"


def test_resume_that_was_asked_for_breaks_nothing(stage: Stage) -> None:
    play(stage)
    stage.world.laptop.command(ev.Hold())
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.HELD, 10 * US)
    stage.world.laptop.command(ev.Resume())
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.MOVING, 10 * US)
    stage.world.run_for(US)


def test_joint_that_takes_itself_for_homed_after_a_restart_is_noticed() -> None:
    stage = stage_of(SCENARIO, (RebootedStays,))
    world = stage.world
    world.kill_joint("j1")
    world.restart_joint("j1")
    body, link = body_of(world.node("j1")), world.core.links[0]
    assert world.run_until(lambda: body.configuration is not None, 20 * US)
    body.homed, body.state = True, JointState.READY
    assert world.run_until(lambda: link.clock.locked and link.quality.measured, 20 * US)
    begin_play(stage)
    assert broken_rule(stage) == "I7"


def test_joint_that_jogs_with_another_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    order = JogOrder(100, None, stage.world.now + 10 * EXPIRY_US)
    monkeypatch.setattr(Jog, "drive_fields", lambda jog, link, now: order if jog.links else None)
    stage.world.laptop.command(ev.Jog({"j1": JOG_DEG_S}))
    assert broken_rule(stage) == "I11"


def test_jog_that_outlasts_its_control_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    stage.world.laptop.command(ev.Jog({"j1": JOG_DEG_S}))
    stage.world.run_for(US // 10)
    monkeypatch.setattr(Jog, "step", lambda jog, now: None)
    assert broken_rule(stage) == "I11"


def test_joint_that_turns_beyond_the_place_it_was_sent_to_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep = Jog.keep
    stage.world.run_for(US)

    def further(jog: Jog, held: dict[JointLink, Held], now: int) -> None:
        keep(
            jog,
            {link: Held(one.velocity, (one.target or 0) + 50) for link, one in held.items()},
            now,
        )

    monkeypatch.setattr(Jog, "keep", further)
    monkeypatch.setattr(Jog, "goes_to", lambda jog, _targets: jog.to_place)
    place = {
        "j1": stage.world.core.links[0].joint.to_degrees(stage.world.core.start_counts()[0]) + 1
    }

    def again() -> None:
        stage.world.laptop.command(ev.Go("a place", place, 0.2))
        stage.world.at(stage.world.now + US // 10, again)

    again()
    assert broken_rule(stage) == "place"


def test_way_to_a_place_that_is_let_go_and_taken_up_again_breaks_nothing(stage: Stage) -> None:
    world = stage.world
    world.run_for(US)
    place = {"j1": world.core.links[0].joint.to_degrees(world.core.start_counts()[0]) + 1}
    for command in (ev.Go("a place", place, 0.2), ev.Jog({}), ev.Go("a place", dict(place), 0.2)):
        world.laptop.command(command)
        world.run_for(US)


def test_joint_that_homes_though_another_was_named_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def for_all(homing: HomingSequence, link: JointLink, now: int) -> tuple[int, int]:
        return link.orders.homing_number + 1, now + EXPIRY_US

    stage.world.laptop.command(ev.Home(("j1",)))
    monkeypatch.setattr(HomingSequence, "drive_fields", for_all)
    assert broken_rule(stage) == "I11"


def test_hold_that_is_only_accepted_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(stage)
    monkeypatch.setattr(Coordinator, "_hold", lambda core, because, now: None)
    stage.world.laptop.command(ev.Hold())
    assert broken_rule(stage) == "halt"


def test_stop_that_no_joint_is_told_of_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(stage)
    monkeypatch.setattr(JointLink, "stop", lambda link, level, now: None)
    stage.world.laptop.command(ev.Stop())
    assert broken_rule(stage) == "latch"


@pytest.mark.parametrize("ends", [False, True])
def test_stop_that_becomes_less_before_a_joint_has_heard_of_it_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch, *, ends: bool
) -> None:
    """By a lower one, or by the end of the session."""

    def lower(orders: Orders, level: StopLevel, now: int) -> None:
        orders.stop_wanted = level

    begin = Orders.begin_session

    def forget(orders: Orders) -> None:
        begin(orders)
        orders.stop_wanted = StopLevel.NONE

    monkeypatch.setattr(Orders, "begin_session" if ends else "stop", forget if ends else lower)
    _stop_twice_unheard(stage, sleeps=ends)
    assert broken_rule(stage, 30 * US) == "latch"


def test_two_stops_that_a_joint_hears_of_late_break_nothing(stage: Stage) -> None:
    _stop_twice_unheard(stage, sleeps=True)
    stage.world.run_for(30 * US)


def _stop_twice_unheard(stage: Stage, *, sleeps: bool) -> None:
    play(stage)
    stage.world.cut("j2", 2 * US)
    stage.world.laptop.command(ev.Stop(StopLevel.RELEASE))
    stage.world.run_for(US // 10)
    stage.world.laptop.command(ev.Stop(StopLevel.STOP))
    if sleeps:
        stage.world.laptop.sleep(3 * US)


def _ask_soon(stage: Stage, command: ev.Command) -> None:
    """So that what breaks at once breaks while the world runs."""

    def ask() -> None:
        stage.world.laptop.command(command)

    stage.world.at(stage.world.now + 1, ask)


def test_drive_that_asks_for_drivers_beside_a_stop_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        machine, "next_drive", lambda *parts: replace(next_drive(*parts), energise=True)
    )
    play(stage)
    _ask_soon(stage, ev.Stop(StopLevel.STOP))
    assert broken_rule(stage) == "latch"


def test_start_at_another_speed_than_was_asked_for_is_noticed(stage: Stage) -> None:
    begin_play(stage)
    run = stage.world.core.run
    assert run is not None
    run.context.rate_ppm = 500_000
    assert broken_rule(stage) == "rate"


def test_speed_that_is_told_and_not_meant_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(stage)
    monkeypatch.setattr(Motion, "wanted_ppm", property(lambda motion: 50_000))
    assert broken_rule(stage) == "rate"


def test_override_to_another_speed_than_was_asked_for_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(stage)
    override = Motion.override
    monkeypatch.setattr(Motion, "override", lambda motion, ppm: override(motion, ppm // 2))
    _ask_soon(stage, ev.Override(800_000))
    assert broken_rule(stage) == "rate"


def test_overrides_in_a_row_break_nothing(stage: Stage) -> None:
    play(stage)
    for rate_ppm in (800_000, 500_000, 300_000, 1_000_000):
        stage.world.laptop.command(ev.Override(rate_ppm))
        stage.world.run_for(US // 5)
    stage.world.run_for(5 * US)


def test_jog_that_goes_on_through_a_hold_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Jog, "end", lambda jog, now: None)
    stage.world.laptop.command(ev.Jog({"j1": JOG_DEG_S}))
    stage.world.run_for(US // 5)
    stage.world.laptop.command(ev.Hold())

    def hold_on() -> None:
        stage.world.laptop.command(ev.Jog({"j1": JOG_DEG_S}))
        stage.world.at(stage.world.now + US // 10, hold_on)

    hold_on()
    assert broken_rule(stage) == "halt"


def test_jog_after_a_hold_breaks_nothing(stage: Stage) -> None:
    stage.world.laptop.command(ev.Jog({"j1": JOG_DEG_S}))
    stage.world.run_for(US // 5)
    stage.world.laptop.command(ev.Hold())
    stage.world.run_for(US)
    stage.world.laptop.command(ev.Jog({"j1": JOG_DEG_S}))
    stage.world.run_for(US)


def test_start_that_waits_for_no_arm_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Start, "_all_comply", lambda start, now: True)
    begin_play(stage)
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.PREPARING, 3 * US)
    stage.world.cut("j1", US // 2)  # so that it cannot have complied
    assert broken_rule(stage) == "I1"
