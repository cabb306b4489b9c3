"""What the feed tells, by its law alone."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from coordinator.api.told import change, told
from tests.coordinator.api.reader import applied

values = st.none() | st.integers(-5, 5) | st.lists(st.integers(0, 2), max_size=2)
notes = st.lists(st.integers(), unique=True, max_size=6)


def states() -> st.SearchStrategy[dict[str, Any]]:
    joint = {"state": values, "homed": values}
    joints = st.tuples(
        *(st.fixed_dictionaries({"name": st.just(name), **joint}) for name in ("elbow", "wrist"))
    )
    return st.fixed_dictionaries(
        {"phase": values, "run": values, "now_us": st.integers(0, 9), "joints": joints.map(list)}
    )


@given(before=states(), after=states(), old=notes, fresh=st.integers(0, 6))
def test_a_state_with_a_change_applied_is_the_next_state(
    before: dict[str, Any], after: dict[str, Any], old: list[int], fresh: int
) -> None:
    before["notes"] = [{"at_us": k} for k in old]
    after["notes"] = [*before["notes"], *({"at_us": 10**20 + k} for k in range(fresh))]
    seen = applied(before, change(before, after))
    seen["now_us"] = after["now_us"]
    assert seen == after


@given(state=states())
def test_nothing_is_told_of_what_stays(state: dict[str, Any]) -> None:
    state["notes"] = [{"at_us": 1}]
    assert change(state, state) == {"set": {}, "joints": {}, "notes": []}


def test_notes_that_pushed_out_the_oldest_are_told_all_and_once() -> None:
    before = {"joints": [], "notes": [{"at_us": k} for k in range(200)]}
    after = {"joints": [], "notes": [{"at_us": k} for k in range(3, 203)]}
    assert change(before, after)["notes"] == [{"at_us": 200}, {"at_us": 201}, {"at_us": 202}]


def test_figures_are_rounded_to_what_is_shown_and_the_age_is_left_to_the_reader() -> None:
    joint = {
        "name": "elbow", "age_us": 1234, "heard_at_us": 99, "position_deg": 31.41592,
        "temperature_c": 36.04, "rtt_p50_us": 3149, "loss": None,
        "clock": {"bound_us": 1234, "rate_ppm": -12.345, "locked": True},
    }  # fmt: skip
    shown = told({"next_start": None, "joints": [joint]})["joints"][0]
    assert shown == {
        "name": "elbow", "heard_at_us": 99, "position_deg": 31.42, "temperature_c": 36.0,
        "rtt_p50_us": 3100, "loss": None,
        "clock": {"bound_us": 1300, "rate_ppm": -12.3, "locked": True},
    }  # fmt: skip


def test_what_a_start_would_be_is_rounded_up_so_that_its_bound_stays_one() -> None:
    start = {"lead_us": 231_001, "within_us": 1201, "slowest": "elbow", "obstacle": None}
    shown = told({"next_start": start, "joints": []})["next_start"]
    assert shown == start | {"lead_us": 240_000, "within_us": 1300}
    unknown = {"lead_us": None, "within_us": None, "slowest": None, "obstacle": None}
    assert told({"next_start": unknown, "joints": []})["next_start"] == unknown
