"""What every reader of the feed does with a message."""

from collections.abc import Mapping
from typing import Any

NOTES_KEPT = 200


def applied(before: Mapping[str, Any], message: Mapping[str, Any]) -> dict[str, Any]:
    """A state after a change."""
    joints = [{**joint, **message["joints"].get(joint["name"], {})} for joint in before["joints"]]
    notes = [*before["notes"], *message["notes"]][-NOTES_KEPT:]
    return {**before, **message["set"], "joints": joints, "notes": notes}
