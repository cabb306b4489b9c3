"""Rules of commands notice what they are there for, each on an arm whose safeguard is taken out.

The other rules are in test_rules_of_motion.py.
"""

import contextlib

import pytest

from coordinator.core import events as ev
from coordinator.core.homing import HomingSequence
from coordinator.core.jogging import Jog
from coordinator.core.link import JointLink
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase, Run
from coordinator.core.start import Start
from protocol.constants import EXPIRY_US, US
from protocol.states import JointState
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
    stage.world.station.command(ev.Hold())
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


def test_resume_that_was_asked_for_breaks_nothing(stage: Stage) -> None:
    play(stage)
    stage.world.station.command(ev.Hold())
    assert stage.world.run_until(lambda: phase(stage.world) is Phase.HELD, 10 * US)
    stage.world.station.command(ev.Resume())
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
    monkeypatch.setattr(
        Jog, "drive_fields", lambda jog, link, now: (100, now + EXPIRY_US) if jog.link else None
    )
    stage.world.station.command(ev.Jog("j1", JOG_DEG_S))
    assert broken_rule(stage) == "I11"


def test_jog_that_outlasts_its_control_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    stage.world.station.command(ev.Jog("j1", JOG_DEG_S))
    stage.world.run_for(US // 10)
    monkeypatch.setattr(Jog, "step", lambda jog, now: None)
    assert broken_rule(stage) == "I11"


def test_joint_that_homes_though_another_was_named_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    def for_all(homing: HomingSequence, link: JointLink, now: int) -> tuple[int, int]:
        return link.homing_number + 1, now + EXPIRY_US

    stage.world.station.command(ev.Home(("j1",)))
    monkeypatch.setattr(HomingSequence, "drive_fields", for_all)
    assert broken_rule(stage) == "I11"


def test_hold_that_is_only_accepted_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(stage)
    monkeypatch.setattr(Coordinator, "_hold", lambda core, now: None)
    stage.world.station.command(ev.Hold())
    assert broken_rule(stage) == "halt"


def test_stop_that_no_joint_is_told_of_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    play(stage)
    monkeypatch.setattr(JointLink, "stop", lambda link, level, now: None)
    stage.world.station.command(ev.Stop())
    assert broken_rule(stage) == "halt"


def test_jog_that_goes_on_through_a_hold_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Jog, "end", lambda jog, now: None)
    stage.world.station.command(ev.Jog("j1", JOG_DEG_S))
    stage.world.run_for(US // 5)
    stage.world.station.command(ev.Hold())

    def hold_on() -> None:
        stage.world.station.command(ev.Jog("j1", JOG_DEG_S))
        stage.world.at(stage.world.now + US // 10, hold_on)

    hold_on()
    assert broken_rule(stage) == "halt"


def test_jog_after_a_hold_breaks_nothing(stage: Stage) -> None:
    stage.world.station.command(ev.Jog("j1", JOG_DEG_S))
    stage.world.run_for(US // 5)
    stage.world.station.command(ev.Hold())
    stage.world.run_for(US)
    stage.world.station.command(ev.Jog("j1", JOG_DEG_S))
    stage.world.run_for(US)


def test_start_that_waits_for_no_arm_is_noticed(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Start, "_all_comply", lambda start, now: True)
    begin_play(stage)
    assert broken_rule(stage) == "I1"
