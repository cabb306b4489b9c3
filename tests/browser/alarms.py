"""Alarms as a coordinator tells them, for pages that are shown some."""

from typing import Any

from tests.browser import canned


def alarm(number: int, code: str, origin: str, **values: Any) -> dict[str, Any]:
    """One of the wrist that stands and that nobody has seen, but for these members."""
    return {
        "id": number, "joint": "wrist", "code": code, "level": "attention",
        "message": f"wrist has alarm {number}", "advice": "look at its plug",
        "since_us": canned.NOW_US - 4_000_000, "since_utc": "2026-01-01T00:00:00Z",
        "acknowledged": values.get("state") == "acknowledged", "state": "unacknowledged",
        "priority": "medium", "origin": origin, "cause": "a loose plug",
        "consequence": "it stops", "episode": number, "first_out": False,
        **values,
    }  # fmt: skip
