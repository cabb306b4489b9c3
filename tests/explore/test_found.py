"""What the search found, and what holds since."""

from coordinator.core.run import Phase
from tests.explore.found import Found
from tests.explore.scope import PLAY_US, Scope


def test_joints_that_use_up_the_first_permit_soon_are_given_more_at_once() -> None:
    """With v/a of 0.1 s the first 100 ms of path take 0.17 s; levelling begins 0.15 s before."""
    scope = Scope(2, Found(), acceleration_deg_s2=600)
    scope.play()
    scope.until("the run ends", lambda: scope.phase in (Phase.ENDED, Phase.HELD), PLAY_US)
    run = scope.world.core.run
    assert run is not None
    assert run.report.holds == []
    assert run.report.outcome == "finished"
