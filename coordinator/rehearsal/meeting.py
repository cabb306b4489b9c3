"""All joints of a world there: what whoever uses one waits for first."""

from functools import partial
from typing import Final

from coordinator.rehearsal.world import World
from protocol.constants import US

MEETING_US: Final = 60 * US
"""Patience for all links of a new coordinator to be up and measured."""


class RehearsalError(RuntimeError):
    """The software joints cannot be brought to where the program begins; says which and why."""


def wait_for_all(world: World) -> None:
    """Wait until every joint is connected and measured. Raises RehearsalError."""
    if not world.run_until(partial(_all_known, world), MEETING_US):
        raise RehearsalError(_who_is_missing(world))


def _all_known(world: World) -> bool:
    return all(
        link.up
        and link.connection.configured
        and link.status is not None
        and link.quality.measured
        and link.clock.locked
        for link in world.core.links
    )


def _who_is_missing(world: World) -> str:
    missing = [
        f"{link.name} ({link.connection.message or link.clock.reason or 'not measured yet'})"
        for link in world.core.links
        if not (
            link.up and link.connection.configured and link.quality.measured and link.clock.locked
        )
    ]
    return f"after {MEETING_US // US} s not all joints are there: {', '.join(missing)}"
