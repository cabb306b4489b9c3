"""Where the joints are planned to be in the next seconds, for people who watch."""

from typing import Any, Final

from coordinator.core.run import Phase, Run
from protocol.constants import US

STEP_US: Final = 200_000
AHEAD_US: Final = 3 * US


def ahead(run: Run | None, now: int) -> dict[str, Any] | None:
    """Planned angles in degrees by joint, every `step_us` of arm time from `at_us` = `now` on.

    None where nothing is set to move along a path. The list ends early where points have not been
    made yet; after the last point it stays there.
    """
    if run is None or run.course is None or run.phase not in (Phase.STARTING, Phase.MOVING):
        return None
    rows = []
    for at_us in range(now, now + AHEAD_US + 1, STEP_US):
        counts = run.feed.planned_at(run.course.at(at_us)[0])
        if counts is None:
            break
        rows.append(counts)
    return {
        "at_us": now,
        "step_us": STEP_US,
        "deg": {
            link.name: [round(link.joint.to_degrees(row[k]), 2) for row in rows]
            for k, link in enumerate(run.links)
        },
    }
