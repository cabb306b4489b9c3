"""Less current after long at rest: never in motion, and the full one has settled before any."""

from hypothesis import given
from hypothesis import strategies as st

from protocol.configuration import IdleCurrent
from protocol.constants import CURRENT_SETTLE_US
from protocol.drive import Drive, Mode, StopLevel
from protocol.messages import Clear, Configure
from protocol.states import AT_REST, JointState
from tests.simulator.joint.rig import COORDINATOR, PER_DEGREE, SESSION, Rig, arm, configuration, go
from tests.simulator.joint.script import Scripted, Step, steps, wild_drives

AFTER_US = 2_000_000
IDLE = IdleCurrent(after_ms=AFTER_US // 1_000, current_ma=250)


def resting() -> tuple[Rig, int]:
    """Homed, with drivers on, and so long at rest that its current is reduced."""
    rig = Rig(idle_current=IDLE)
    arm_us = int(rig.home()) + AFTER_US
    assert rig.drive(arm_us).reduced
    return rig, arm_us


def events(rig: Rig) -> list[str]:
    return [truth.event for truth in rig.joint.take_truth()]


def test_current_is_reduced_once_the_joint_has_rested_for_the_set_time() -> None:
    rig = Rig(idle_current=IDLE)
    home_us = rig.home()
    assert not rig.status(home_us + AFTER_US - 10_000).reduced
    assert rig.status(home_us + AFTER_US).reduced
    assert events(rig) == ["current-reduced"]


def test_current_is_never_reduced_where_the_configuration_says_nothing_of_it() -> None:
    rig = Rig()
    home_us = rig.home()
    assert not rig.status(home_us + 3_600_000_000).reduced
    assert rig.joint.next_deadline() is None


def test_motor_without_current_has_no_reduced_one() -> None:
    rig = Rig(idle_current=IDLE)
    assert not rig.status(10 * AFTER_US).reduced
    assert events(rig) == []


def test_drive_that_asks_for_it_brings_the_full_current_at_once_and_it_settles() -> None:
    rig, arm_us = resting()
    assert rig.drive(arm_us + 1_000, full_current=True).reduced
    assert events(rig)[-1] == "current-full"
    assert rig.status(arm_us + 1_000 + CURRENT_SETTLE_US - 10).reduced
    assert not rig.status(arm_us + 1_000 + CURRENT_SETTLE_US + 10).reduced
    assert not rig.status(arm_us + AFTER_US).reduced
    assert rig.status(arm_us + 1_000 + AFTER_US).reduced


def test_drivers_that_were_released_with_a_reduced_current_are_switched_on_with_the_full_one() -> (
    None
):
    rig, arm_us = resting()
    assert not rig.drive(arm_us + 1_000, stop=StopLevel.RELEASE).reduced
    rig.drive(arm_us + 2_000)
    assert rig.joint.request(Clear(), rig.now(arm_us + 2_000)) is None
    assert not rig.drive(arm_us + 3_000).reduced
    assert not rig.status(arm_us + AFTER_US).reduced
    assert rig.status(arm_us + 3_000 + AFTER_US).reduced


def test_jog_begins_no_sooner_than_the_full_current_has_settled() -> None:
    rig, arm_us = resting()
    for k in range(1, 10):
        status = rig.jog(arm_us + 12_000 * k, PER_DEGREE)
        assert (status.state is JointState.JOGGING) == (12_000 * (k - 1) >= CURRENT_SETTLE_US)


def test_homing_begins_no_sooner_than_the_full_current_has_settled() -> None:
    rig, arm_us = resting()
    for k in range(1, 10):
        number, now = 7, arm_us + 12_000 * k
        status = rig.drive(now, mode=Mode.HOME, homing_number=number, expiry_us=now + 250_000)
        assert (status.state is JointState.HOMING) == (12_000 * (k - 1) >= CURRENT_SETTLE_US)


def test_joint_complies_with_an_arm_only_once_the_full_current_has_settled() -> None:
    rig = Rig(idle_current=IDLE)
    arm_us = rig.prepared() + AFTER_US
    assert rig.drive(arm_us).reduced
    assert rig.path(arm_us + 1_000, arm(1)).plan == 0
    assert rig.path(arm_us + 1_500, go(2, arm_us + 600_000), 8_000_000).plan == 0
    late_us = arm_us + 1_000 + CURRENT_SETTLE_US + 100
    assert rig.path(late_us, arm(3)).plan == 3
    assert rig.path(late_us + 1, go(4, arm_us + 600_000), 8_000_000).plan == 4


def test_armed_joint_keeps_its_full_current_however_long_nothing_comes() -> None:
    rig = Rig(idle_current=IDLE)
    arm_us = rig.prepared()
    rig.path(arm_us, arm(1))
    assert not rig.status(arm_us + 10 * AFTER_US).reduced


def test_held_joint_reduces_its_current_and_resumes_with_the_full_one() -> None:
    rig = Rig(idle_current=IDLE)
    arm_us, path_us = rig.held()
    arm_us += AFTER_US + 10_000
    assert rig.drive(arm_us).reduced
    assert rig.path(arm_us + 1_000, arm(3, path_us)).plan == 0
    assert rig.path(arm_us + 2_000 + CURRENT_SETTLE_US, arm(4, path_us)).plan == 4


def test_session_and_configuration_bring_the_full_current_back() -> None:
    rig, arm_us = resting()
    rig.joint.begin_session(COORDINATOR, SESSION + 1, rig.now(arm_us))
    assert events(rig)[-1] == "current-full"
    rig, arm_us = resting()
    request = Configure(configuration=configuration())
    assert rig.joint.request(request, rig.now(arm_us)) is None
    assert events(rig)[-1] == "current-full"
    assert not rig.status(arm_us + 10 * AFTER_US).reduced


@given(script=steps, wild=wild_drives, after_ms=st.sampled_from([100, 300, 1_500]))
def test_no_joint_moves_on_reduced_current_whatever_is_sent(
    script: list[Step], wild: Drive, after_ms: int
) -> None:
    rig = Rig(idle_current=IdleCurrent(after_ms=after_ms, current_ma=250))
    begin_us = rig.prepared()

    def watch(now: float) -> None:
        status = rig.joint.status(now)
        if status.state not in AT_REST:
            assert not rig.joint.reduced
            assert not status.reduced

    Scripted(rig, begin_us, wild, watch=watch, every_us=20_000).play(script)
