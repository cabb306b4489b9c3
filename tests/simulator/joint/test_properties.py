"""What holds whatever a joint is sent: limits (I5, I6), and that polling changes nothing."""

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from protocol.drive import Drive
from protocol.states import AT_REST, JointState
from tests.simulator.joint.rig import ACCELERATION, VELOCITY, Rig
from tests.simulator.joint.script import Scripted, Step, steps, wild_drives

SAMPLE_US = 10_000
ALLOWED = 1.0005
"""I5: 0.05 % for clock rate and slewing; acceleration goes with the square of the rate."""
ROUNDING = 12.0
"""Counts: an override may step by 2 µs of path (5.5 counts at 60 °/s), at either sample."""


def fresh(homed: bool) -> tuple[Rig, int]:
    rig = Rig()
    return rig, rig.prepared() if homed else 2_000


@given(script=steps, wild=wild_drives, homed=st.booleans())
def test_no_limit_is_passed_whatever_is_sent(script: list[Step], wild: Drive, homed: bool) -> None:
    rig, begin_us = fresh(homed)
    joint, limits = rig.joint, rig.configuration
    assert limits.range_low is not None
    assert limits.range_high is not None
    track: list[tuple[float, float]] = []

    def watch(now: float) -> None:
        if track and now - track[-1][0] < SAMPLE_US:
            return
        position, velocity = joint.position(now)
        status = joint.status(now)
        track.append((now, position - joint.shift))
        assert abs(velocity) <= VELOCITY * ALLOWED
        if status.homed:
            assert limits.range_low - 1.5 <= position <= limits.range_high + 1.5  # type: ignore[operator]
        if joint.state is JointState.JOGGING and not status.homed:
            assert abs(velocity) <= limits.jog_unhomed * ALLOWED
        if joint.state in AT_REST:
            assert velocity == 0.0
        if not status.energised:
            assert velocity == 0.0

    Scripted(rig, begin_us, wild, watch=watch, every_us=SAMPLE_US).play(script)
    for (t0, p0), (t1, p1), (t2, p2) in zip(track, track[1:], track[2:], strict=False):
        before_s, after_s = (t1 - t0) / 1e6, (t2 - t1) / 1e6
        v0, v1 = (p1 - p0) / before_s, (p2 - p1) / after_s
        assert abs(v1) <= VELOCITY * ALLOWED + ROUNDING / after_s
        middle_s = 0.5 * (before_s + after_s)
        rounding = ROUNDING * (1 / before_s + 1 / after_s)
        assert abs(v1 - v0) <= ACCELERATION * ALLOWED**2 * middle_s + rounding


@given(script=steps, wild=wild_drives, homed=st.booleans(), every_us=st.integers(300, 90_000))
def test_polling_often_or_seldom_gives_the_same_events_and_statuses(
    script: list[Step], wild: Drive, homed: bool, every_us: int
) -> None:
    outcomes: list[Any] = []
    for dense in (True, False):
        rig, begin_us = fresh(homed)
        ignore = rig.joint.poll if dense else (lambda now: now)
        played = Scripted(rig, begin_us, wild, watch=ignore, every_us=every_us if dense else 10**12)
        played.play(script)
        joint = rig.joint
        outcomes.append((played.statuses, joint.take_events(), joint.take_truth()))
    assert outcomes[0] == outcomes[1]


@settings(max_examples=30)
@given(script=steps, wild=wild_drives)
def test_deadlines_name_every_instant_at_which_something_happens_by_itself(
    script: list[Step], wild: Drive
) -> None:
    rig, begin_us = fresh(homed=True)
    played = Scripted(rig, begin_us, wild, watch=lambda now: None, every_us=10**12)
    played.play(script)
    joint, now = rig.joint, rig.now(played.now)
    joint.take_events()
    for _ in range(100):
        due_us = joint.next_deadline()
        if due_us is None:
            break
        before = joint.state, joint.status(now).plan, joint.status(now).outputs
        joint.poll(due_us - 0.01)
        assert joint.state is before[0]
        assert joint.take_events() == []
        now = joint.poll(due_us)
        joint.take_events()
    assert joint.next_deadline() is None
    assert joint.state in AT_REST
