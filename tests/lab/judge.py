"""What must be so whatever the network does, judged by the joints' truth log."""

import json
from typing import Any, Final

from tests.e2e.harness import start_skew_us, until
from tests.lab.lab import Lab

GONE_ON_US: Final = 3_000_000
"""Path time after which what was done to a moving arm would have shown: a joint that is unheard for
1 s is lost, and a goodbye counts after 1 s (RFC 6762 section 10.1)."""
WORDS: Final = 3
"""Fewer are a code, not a sentence for people."""
ESTIMATE_OFF_US: Final = 5_000
"""An estimate that is further off contradicts the truth; 80 ms more one way put it off by 40."""


def assert_goes_on(lab: Lab, run: int, since: int, for_us: int = GONE_ON_US) -> None:
    """A run that moves has not come to rest since and goes on for some seconds."""
    begun = lab.arm_now()["run"]
    assert begun is not None, lab.report(run)["message"]
    goal_us = begun["path_us"] + for_us

    def look() -> bool:
        found = lab.arm_now()["run"]
        assert found is not None, lab.report(run)["message"]
        assert found["phase"] == "moving", (found["phase"], lab.arm_now()["notes"][-2:])
        return bool(found["path_us"] >= goal_us)

    until(look, "the run further on")
    rests = lab.rests(since)
    assert not rests, rests


def assert_true_to(lab: Lab, report: dict[str, Any], since: int) -> None:
    """No start of a run was further apart than its bound, nor otherwise than it is estimated."""
    off = estimates_off(lab, report, since)
    assert not off, off


def estimates_off(lab: Lab, report: dict[str, Any], since: int) -> list[str]:
    """Starts of a run that were further apart than their bound, or than they are estimated."""
    lines = [line for line in lab.truths()[since:] if line["event"] in ("start", "resume")]
    joints = len(lab.joints)
    starts = [lines[k : k + joints] for k in range(0, len(lines), joints)]
    assert len(starts) == len(report["starts"]), (lines, report["starts"])
    off = []
    for truth, stated in zip(starts, report["starts"], strict=True):
        assert {line["joint"] for line in truth} == set(lab.joints)
        true_us = start_skew_us(truth)
        skew, bound = stated["start_skew_us"], stated["start_skew_max_us"]
        far = skew is not None and abs(true_us - skew) > ESTIMATE_OFF_US
        if far or (bound is not None and true_us > bound):
            off.append(
                f"the report states a skew of {skew} µs, at most {bound} µs; in truth it was "
                f"{true_us:.0f} µs"
            )
    return off


def rests_apart(lab: Lab, run: int, since: int) -> list[str]:
    """How joints rest that have not come to rest as one; nothing where all do, or all move on."""
    if not lab.rests(since):
        return []
    places = {line["joint"]: line["path_us"] for line in lab.until_all_rest(since)}
    cause = lab.report(run)["holds"][-1]["cause"]
    wrong = []
    if len(set(places.values())) > 1:
        wrong.append(f"they rest at {json.dumps(places)} µs of the path, since {cause!r}")
    if len(cause.split()) < WORDS:
        wrong.append(f"the cause is no sentence: {cause!r}")
    return wrong


def standing(lab: Lab) -> dict[str, Any]:
    """All of the arm that may not change while nobody commands anything."""
    arm = lab.arm_now()
    kept = (
        "link", "boot", "state", "homed", "energised", "position_deg", "velocity_deg_s", "stop",
        "stop_wanted", "faults", "path_us", "permit_us",
    )  # fmt: skip
    joints = {joint["name"]: {key: joint[key] for key in kept} for joint in arm["joints"]}
    streams = {joint["name"]: joint["counters"]["streams"] for joint in arm["joints"]}
    return {
        "session": arm["session"], "phase": arm["phase"], "joints": joints, "streams": streams,
        "truths": len(lab.truths()),
    }  # fmt: skip
