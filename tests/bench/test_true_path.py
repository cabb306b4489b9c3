"""On real sockets joints are truly where their plan says, and outputs switch there."""

from collections.abc import Sequence

import pytest

from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from tests.bench.arms import GRIPPER
from tests.bench.on_sockets import homed, run
from tests.bench.planned import PlannedPart, switches
from tests.bench.software import Bench, software_joints
from tests.bench.true_path import Compared, Judged, Truth, judge, played, sample
from tests.coordinator.motion.test_outputs import AT_ONCE, ZERO
from tests.e2e.harness import before_others

SHORT = (
    "G0 A-150 B-150\nM3\nG64 P2\nG0 A-140 B-145\nG0 A-135 B-155\nG61.1\nG0 A-150 B-150\nM5\nM2\n"
)


async def _play(bench: Bench) -> tuple[Judged, list[Truth]]:
    async with homed(bench) as service:
        return await played(bench, service, SHORT)


def judged(by: Judged, truths: Sequence[Truth]) -> list[str]:
    found = Compared()
    by.take(truths, found)
    return judge("home", found)


def test_whole_run_on_real_sockets_is_where_its_plan_says_and_what_is_not_is_told() -> None:
    """Positions within a count of the plan at the joint's own path time, path times within the
    uncertainty of the joint's clock, switches within a status interval (design sections 2.1, 5).
    """
    with (
        software_joints(2, "home", 1, more=GRIPPER, watched=sample) as bench,
        before_others(),
    ):
        by, truths = run(_play(bench))
    found = Compared()
    by.take(truths, found)
    assert judge("home", found) == []
    assert (found.unfinished, found.switched, found.to_switch) == (0, 2, 2)
    assert found.samples > 50
    assert 0 < found.path_error_us < found.uncertainty_us
    told = []
    for event, key, more in (
        ("sample", "position", 2.0),
        ("outputs", "path_us", 100.0),
        ("sample", "at_ns", -20_000_000),
    ):
        at = [k for k, truth in enumerate(truths) if truth["event"] == event][-1]
        wrong = [dict(truth) for truth in truths]
        wrong[at][key] += more
        told.append(" ".join(judged(by, wrong)))
    assert "a joint was 2.00 counts from its plan" in told[0]
    assert "an output switched 100.0 µs of path time" in told[1]
    assert "beyond its clock's uncertainty" in told[2]
    lost = [truth for truth in truths if truth["event"] != "outputs"]
    assert judged(by, lost) == ["home: 0 of 2 switches were made"]


def test_plan_of_a_part_is_asked_by_rising_path_time_and_ends_where_the_part_does() -> None:
    (part,) = plan_text("G0 A10\nM3\nG0 A0\nM2", AT_ONCE, pose_at(AT_ONCE, ZERO))
    plan, (at,) = PlannedPart(part), switches(part)
    assert plan.counts(0.0) == ZERO
    turntable = AT_ONCE.joints[0]
    assert plan.counts(at[0])[0] == turntable.to_counts(10.0)
    assert at[1:] == (5, 1, 1)
    assert plan.counts(float("inf")) == ZERO
    with pytest.raises(ValueError, match="was left behind"):
        plan.counts(0.0)
