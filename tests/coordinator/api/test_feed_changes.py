"""What the feed tells, by its law alone."""

from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from coordinator.answers.control import ControlState
from coordinator.api.feed_changes import FeedState, change, feed_state
from coordinator.api.responses.arm import ARM
from coordinator.codes.level import Level
from coordinator.core.events import Note
from coordinator.core.start_forecast import StartForecast
from coordinator.playing.queue import NOTHING
from tests.as_json import as_json
from tests.coordinator.api.reader import applied

NOBODY = ControlState(None, None, None, None, 0)
values = st.none() | st.integers(-5, 5) | st.lists(st.integers(0, 2), max_size=2)
notes = st.lists(st.integers(), unique=True, max_size=6)


def note(at_us: int) -> Note:
    return Note(at_us, Level.INFO, "greeting", "hello")


def states() -> st.SearchStrategy[FeedState]:
    joint = {"state": values, "homed": values}
    joints = st.tuples(
        *(st.fixed_dictionaries({"name": st.just(name), **joint}) for name in ("elbow", "wrist"))
    )
    members = st.fixed_dictionaries({"phase": values, "run": values})
    return st.builds(FeedState, st.integers(0, 9), members, joints, st.just(()))


@given(before=states(), after=states(), old=notes, fresh=st.integers(0, 6))
def test_a_state_with_a_change_applied_is_the_next_state(
    before: FeedState, after: FeedState, old: list[int], fresh: int
) -> None:
    before = replace(before, notes=[note(k % 2**63) for k in old])
    after = replace(after, notes=[*before.notes, *(note(2**63 + k) for k in range(fresh))])
    seen = applied(as_json(before.whole()), as_json(change(before, after)))
    seen["now_us"] = after.now_us
    assert seen == as_json(after.whole())


@given(state=states())
def test_nothing_is_told_of_what_stays(state: FeedState) -> None:
    state = replace(state, notes=[note(1)])
    assert as_json(change(state, state)) == {"set": {}, "joints": {}, "notes": []}


def test_notes_that_pushed_out_the_oldest_are_told_all_and_once() -> None:
    before = FeedState(0, {}, (), [note(k) for k in range(200)])
    after = FeedState(0, {}, (), [note(k) for k in range(3, 203)])
    assert [one.at_us for one in change(before, after).notes] == [200, 201, 202]


def test_figures_are_rounded_to_what_is_shown_and_the_age_is_left_to_the_reader() -> None:
    (joint,) = ARM.joints
    exact = replace(
        joint, position_deg=31.41592, velocity_deg_s=12.345, temperature_c=36.04, supply_v=24.06,
        rtt_p50_us=3149.0, rtt_p99_us=9851.0, loss=None, worst_delay_us=31_499,
        clock=replace(joint.clock, uncertainty_us=1234, rate_ppm=-12.345),
    )  # fmt: skip
    (shown,) = feed_state(replace(ARM, joints=(exact,)), NOBODY, None, 0, NOTHING).joints
    figures: dict[str, Any] = {
        "position_deg": 31.42, "velocity_deg_s": 12.3, "temperature_c": 36.0, "supply_v": 24.1,
        "rtt_p50_us": 3100, "rtt_p99_us": 9900, "loss": None, "worst_delay_us": 31_000,
        "clock": {"locked": True, "reason": "", "uncertainty_us": 1300, "rate_ppm": -12.3},
    }  # fmt: skip
    told = as_json(exact) | figures
    del told["age_us"]
    assert as_json(shown) == told


def test_what_a_start_would_be_is_rounded_up_so_that_its_bound_stays_one() -> None:
    for exact, shown in (
        (StartForecast(231_001, 1201, "elbow"), StartForecast(240_000, 1300, "elbow")),
        (StartForecast(), StartForecast()),
    ):
        state = feed_state(replace(ARM, start_forecast=exact), NOBODY, None, 0, NOTHING)
        assert state.members["start_forecast"] == shown
