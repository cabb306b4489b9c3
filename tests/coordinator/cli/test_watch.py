"""When a stop counts as confirmed, and when the arm rests: by each joint's own fresh word."""

from typing import Any

import pytest

from coordinator.cli.watch import restless, rests, unconfirmed

STOPPED = {
    "name": "elbow", "link": "up", "age_us": 20_000, "stop_wanted": 0, "stop": 1, "state": "ready",
}  # fmt: skip


def arm(**elbow: Any) -> dict[str, Any]:
    return {"joints": [STOPPED | {"name": "shoulder"}, STOPPED | elbow]}


def test_joints_that_latched_the_stop_and_rest_have_confirmed_it() -> None:
    assert unconfirmed(arm(), "stop") == {}
    # Datagrams outlive a stream: a joint without one can still confirm.
    assert unconfirmed(arm(link="absent"), "stop") == {}
    assert unconfirmed(arm(stop=3, state="unhomed"), "stop-and-release") == {
        "shoulder": "it has not answered to it"
    }


@pytest.mark.parametrize(
    ("elbow", "why"),
    [
        # Its stream is down and its last word is old: it may be moving.
        ({"link": "absent", "age_us": 2_300_000}, "silent for 2.3 s"),
        ({"age_us": 1_000_001}, "silent for 1.0 s"),
        ({"link": "refused", "age_us": None, "stop": None}, "it is refused and was never heard"),
        ({"link": "absent", "stop_wanted": 1, "stop": 0}, "it has not answered to it"),
        # The latch is an earlier stop's, about to be lifted.
        ({"stop_wanted": 1}, "it has not answered to it"),
        ({"stop": 0}, "it has not answered to it"),
        ({"state": "stopping"}, "it is stopping"),
        ({"state": "moving"}, "it is moving"),
        ({"state": "held"}, "it is held"),
    ],
)
def test_every_other_joint_is_named_with_why(elbow: dict[str, Any], why: str) -> None:
    assert unconfirmed(arm(**elbow), "stop") == {"elbow": why}


@pytest.mark.parametrize(
    ("phase", "elbow", "rested", "told"),
    [
        ("held", {"state": "held"}, True, {}),
        ("idle", {}, True, {}),
        ("holding", {"state": "held"}, False, {}),
        # A homing is over for the coordinator at once; the joint still brakes.
        ("idle", {"state": "homing"}, False, {"elbow": "it is homing"}),
        ("held", {"state": "ramping"}, False, {"elbow": "it is ramping"}),
        # It will not say any more that it rests: not waited for, but named.
        (
            "held",
            {"state": "moving", "age_us": 2_300_000},
            True,
            {"elbow": "silent for 2.3 s; it was moving then"},
        ),
        ("held", {"state": "held", "age_us": 2_300_000}, True, {}),
        ("idle", {"state": None, "age_us": None}, True, {}),
    ],
)
def test_arm_rests_once_nothing_is_under_way_and_no_joint_that_talks_moves(
    phase: str, elbow: dict[str, Any], rested: bool, told: dict[str, str]
) -> None:
    shown = arm(**elbow) | {"phase": phase}
    assert rests(shown) is rested
    assert restless(shown) == told
