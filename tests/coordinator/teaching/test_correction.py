"""Shifts of waypoints, joint by joint."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.teaching.correction import Shift
from coordinator.teaching.known import NoSuch
from coordinator.teaching.sequence_edits import AddSequence
from coordinator.teaching.taught import Taught, TaughtError
from tests.coordinator.teaching.kit import ARM, Teaching, taught

OFFSETS = st.dictionaries(
    st.sampled_from([joint.name for joint in ARM.joints]),
    st.floats(-30, 30).map(lambda angle: round(angle, 5)),
)


@pytest.fixture(name="teaching")
def some_waypoints() -> Teaching:
    """Three, of which the last is near the end of the elbow's range; numbers 2 to 4."""
    teaching = Teaching()
    teaching.edit(AddSequence("add-sequence", "pick"))
    for name, elbow in (("above", 10.0), ("tray", 20.0), ("far", 169.8)):
        teaching.record(1, name, elbow=elbow)
    return teaching


@given(taught(), OFFSETS)
def test_shift_there_and_back_is_the_identity(before: Taught, offsets: dict[str, float]) -> None:
    teaching = Teaching(before)
    try:
        teaching.edit(Shift("shift", offsets, "test"))
    except TaughtError:
        assert teaching.taught is before
        return
    teaching.edit(Shift("shift", {name: -angle for name, angle in offsets.items()}, "back"))
    assert teaching.taught == before


def test_preview_shows_before_and_after_and_what_leaves_its_range(teaching: Teaching) -> None:
    shift = Shift("shift", {"elbow": 0.4}, "the magnet was glued anew")
    found = shift.preview(teaching.taught, ARM)
    assert [one.before.angles_deg["elbow"] for one in found] == [10.0, 20.0, 169.8]
    assert [one.after.angles_deg["elbow"] for one in found] == [10.4, 20.4, 170.2]
    assert [one.out_of_range for one in found] == [
        (), (), ("'far': elbow would be at 170.2°, its range is -170 to 170°",),
    ]  # fmt: skip


def test_shift_that_takes_one_out_of_its_range_shifts_none(teaching: Teaching) -> None:
    before = teaching.taught
    with pytest.raises(TaughtError, match=r"'far': elbow would be at 170.2°.*nothing was shifted"):
        teaching.edit(Shift("shift", {"elbow": 0.4}, "magnet"))
    assert teaching.taught is before
    teaching.edit(Shift("shift", {"elbow": 0.4}, "magnet", [2, 3]))
    assert teaching.taught.waypoints[2].angles_deg["elbow"] == 10.4
    assert teaching.taught.waypoints[4].angles_deg["elbow"] == 169.8


def test_record_of_a_shift_says_what_changed_and_why(teaching: Teaching) -> None:
    shift = Shift("shift", {"elbow": 0.1, "turntable": -2.0}, " the  elbow was swapped ")
    assert teaching.shift(shift).words(teaching.taught) == (
        "shifted 3 waypoints, elbow by +0.1°, turntable by -2°: the elbow was swapped"
    )


@pytest.mark.parametrize(
    ("shift", "told"),
    [
        (Shift("shift", {"knee": 1.0}, "x"), "there is no joint 'knee'; this arm has turntable"),
        (Shift("shift", {"elbow": 361.0}, "x"), "elbow: an offset of 361°: up to 360°"),
        (Shift("shift", {"elbow": float("nan")}, "x"), "an offset of nan°"),
        (Shift("shift", {"elbow": 1.0}, "  "), "a shift needs a reason"),
    ],
)
def test_shift_that_cannot_be_is_refused(teaching: Teaching, shift: Shift, told: str) -> None:
    with pytest.raises(TaughtError) as caught:
        teaching.edit(shift)
    assert told in str(caught.value)


def test_shift_of_a_waypoint_that_is_not_there_is_refused(teaching: Teaching) -> None:
    with pytest.raises(NoSuch, match="there is no waypoint 77"):
        teaching.edit(Shift("shift", {"elbow": 1.0}, "x", [77]))
