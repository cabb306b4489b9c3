"""What answers of an older coordinator lack, as those of now would have it."""

from typing import Final, cast

from coordinator.client.asking import Answer

REPORT_MAY_LACK: Final[Answer] = {
    "block_delete": False, "check_edges": False, "edges_passed": {}, "edges_unconfirmed": {},
    "for_s": None, "from_line": None, "holds_left_out": 0, "line": None, "loops": 1,
    "optional_stop": False, "overrides": [], "overrides_left_out": 0,
    "production": {"done": 0, "mean_us": None, "slowest": None, "interventions": {
        "holds": 0, "takeovers": 0, "other_holds": 0, "pauses": 0, "speed_changes": 0}},
    "starts_left_out": 0, "step_by_line": False, "stop_unconfirmed": [], "unwritten": [],
    "written_utc": "",
}  # fmt: skip
"""What not every report has: those that an older coordinator wrote, and those of now."""
_ALARM_MAY_LACK: Final[Answer] = {
    "cause": "", "consequence": "", "episode": 0, "first_out": False, "origin": "",
}  # fmt: skip
"""What a warning of an older coordinator lacks; its state and priority follow from the rest."""
NO_ALARMS: Final[Answer] = {"returned": [], "shelved": [], "flood": None}


def alarm(warning: object) -> Answer:
    """A warning with all that one of now has. What is none is left for the reader to refuse."""
    if not isinstance(warning, dict):
        return cast("Answer", warning)
    state = "acknowledged" if warning.get("acknowledged") is True else "unacknowledged"
    priority = "high" if warning.get("level") == "danger" else "medium"
    return {**_ALARM_MAY_LACK, "state": state, "priority": priority, **warning}


def alarmed(answer: Answer) -> Answer:
    """An answer whose warnings are all as those of now."""
    warnings = answer.get("warnings")
    if not isinstance(warnings, list):
        return answer
    return {**answer, "warnings": [alarm(one) for one in warnings]}


def none_read(answer: Answer) -> Answer:
    """Readings of what an older coordinator did not keep, in as many stretches."""
    starts = answer.get("start_s")
    count = len(starts) if isinstance(starts, list) else 0
    return {
        "min": [None] * count,
        "mean": [None] * count,
        "max": [None] * count,
        "count": [0] * count,
    }
