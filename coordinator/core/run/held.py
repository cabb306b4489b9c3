"""Held: every joint rests on the path, until the operator resumes."""

from coordinator.core.readiness import require_on_path
from coordinator.core.run.context import Context
from coordinator.core.run.phase import RunPhase
from coordinator.core.run.phases import Phase
from coordinator.core.run.switched import require_outputs
from coordinator.core.run.turns import StartAt, Turn


class Held(RunPhase):
    """At rest, by a hold of that cause; a joint that is not heard by its own rules alone."""

    phase = Phase.HELD
    may_stray = True

    def __init__(self, context: Context, now: int, cause: str) -> None:
        super().__init__(context, now)
        self._cause = cause

    @property
    def cause(self) -> str:
        return self._cause

    @property
    def unconfirmed(self) -> tuple[str, ...]:
        return self.context.report.rest_unconfirmed

    def step(self, now: int) -> Turn | None:
        links = {link.name: link for link in self.context.links}
        awaited = tuple(name for name in self.unconfirmed if not links[name].rests(now))
        self.context.report.rest_awaited(awaited)
        return None

    def hold(self, cause: str, now: int) -> Turn | None:
        return None

    def resume(self, now: int) -> Turn | None:
        """From where the furthest joint stands. Raises Refused with the joint or output."""
        for link in self.context.links:
            require_on_path(link, now)
        places = (link.status.path_us if link.status else 0 for link in self.context.links)
        require_outputs(self.context, at_end=False)
        return StartAt(max(places), advancing=True)
