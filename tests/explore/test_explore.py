"""The small-scope search: it finds nothing in the code as it is, and finds what is taken out of it.

`make explore` searches deeper; here is as much as takes some seconds.
"""

from collections.abc import Callable
from concurrent.futures import Executor
from typing import Any

import pytest

from coordinator.core.jogging import Jog
from coordinator.core.link.link import JointLink
from coordinator.core.run.discarding import Discarding
from coordinator.core.run.holding import Holding
from coordinator.core.run.permit import PermitKeeper
from coordinator.core.run.start import Stage, Start
from coordinator.core.run.turns import Turn
from coordinator.core.run.waiting import Waiting, next_part
from protocol.drive import Drive, Plan
from simulator.joint.body import Body
from simulator.joint.free import Mover
from simulator.joint.session import Session
from simulator.unit import JointUnit
from tests.campaign.clone import clone
from tests.campaign.invariants.i02_permit import NoFurtherThanPermit
from tests.explore.found import Found
from tests.explore.happenings import CRASHES, OPERATOR, OUTAGES
from tests.explore.links import Fate
from tests.explore.scope import Scope
from tests.explore.search import Search, begin, replay, search_share
from tests.explore.stories import FEW_FATES, Family

ARM = Family("arm", 2, "arm", ticks=8, depth=1, fates=FEW_FATES)
TWICE = Family("arm", 2, "arm", ticks=6, depth=1, fates=(Fate.TWICE,))
HOLD = Family("hold", 2, "moving", 2, 0, ("hold",))
LOST_PAIRS = Family("arm", 2, "arm", ticks=8, depth=2, fates=(Fate.LOST,))


@pytest.mark.parametrize(
    "family",
    [
        ARM,
        LOST_PAIRS,
        Family("resume", 2, "arrive", ticks=8, depth=1, fates=FEW_FATES),
        Family("moving", 2, "moving", 2, 0, (*OPERATOR, *OUTAGES, *CRASHES)),
        Family("start-3", 3, "start", 12, 0, ("hold", "crash")),
        Family("jog", 2, "jog", 3, 0, (*OPERATOR, *OUTAGES, *CRASHES)),
        Family("touch", 2, "touch", 3, 0, (*OPERATOR, *OUTAGES, *CRASHES)),
        Family("steps", 2, "steps", 3, 0, (*OPERATOR, *OUTAGES, *CRASHES)),
        Family("way", 2, "way", 3, 0, (*OPERATOR, *OUTAGES, *CRASHES)),
        Family("wish-step", 2, "wish-step", 3, 0, (*OPERATOR, *OUTAGES, *CRASHES)),
        Family("switch", 2, "switch", 9, 0, ("hold", "reboot")),
        Family("wait-in-vain", 2, "wait-in-vain", 12, 0, ("hold", "stop")),
        Family("corner-resume", 2, "corner-resume", 2, 0, (*OPERATOR, *OUTAGES, *CRASHES)),
    ],
    ids=lambda family: str(family.name),
)
def test_no_schedule_of_a_small_scope_breaks_an_invariant(family: Family, worker: Executor) -> None:
    found = worker.submit(search_share, family, 0, 1).result()
    assert found.violations == []
    assert found.schedules > 10
    assert found.settled


# ---- what is taken out is missed ----------------------------------------------------------------


def no_arm_echo(patch: pytest.MonkeyPatch) -> None:
    """One joint's *arm* is enough for *go*, at a start delay into which no lost message fits: at
    a longer one a joint that did not arm is seen not to echo *go* either, and the start is
    withdrawn.
    """
    patch.setattr("coordinator.timing.link_quality.ACTIVE_INTERVAL_US", 0)
    whole = Start._all_comply

    def one_complies(self: Start, now: int) -> bool:
        if self.stage is Stage.ARMING:
            return any(link.complies(self.plan) for link in self._links)
        return whole(self, now)

    patch.setattr(Start, "_all_comply", one_complies)


def no_go_echo(patch: pytest.MonkeyPatch) -> None:
    """A start counts as confirmed as soon as it is asked for."""
    whole = Start._all_comply
    patch.setattr(
        Start, "_all_comply", lambda self, now: self.stage is Stage.STARTING or whole(self, now)
    )


def any_echo(patch: pytest.MonkeyPatch) -> None:
    """The echo of any plan counts."""

    def complies(self: JointLink, plan: Plan) -> bool:
        return self.status is not None and self.status.plan != 0

    patch.setattr(JointLink, "complies", complies)


def old_drives(patch: pytest.MonkeyPatch) -> None:
    """A joint takes drives in whatever order they come."""

    def may_take(self: Session, session: int, sequence: int) -> bool:
        return session == self.number

    patch.setattr(Session, "may_take", may_take)


def no_expiry(patch: pytest.MonkeyPatch) -> None:
    """A joint gives a permission to advance five seconds more."""
    whole = Mover.obey

    def obey(self: Mover, drive: Drive, now: float) -> None:
        whole(self, drive, now)
        if self.expiry_us is not None:
            self.expiry_us += 5_000_000

    patch.setattr(Mover, "obey", obey)


def nothing_forgotten(patch: pytest.MonkeyPatch) -> None:
    """A joint goes on through the loss of its power."""
    patch.setattr(JointUnit, "reboot", lambda self, true_us: None)


def jogs_for_ever(patch: pytest.MonkeyPatch) -> None:
    """A jog goes on though its hand has gone."""
    patch.setattr(Jog, "step", lambda self, now: None)


def obeys_what_is_old(patch: pytest.MonkeyPatch) -> None:
    """What was done at a joint's control counts however long ago it was."""
    patch.setattr("coordinator.core.touch.TOUCH_OLD_US", 60_000_000)


def goes_on_without_its_input(patch: pytest.MonkeyPatch) -> None:
    """A run that waits for an input goes on as if it had come."""
    patch.setattr(Waiting, "step", lambda self, now: next_part(self.context, now))


def nothing_goes_off(patch: pytest.MonkeyPatch) -> None:
    """What is to go off at a stop is kept."""
    whole = Body.switch

    def switch(self: Body, mask: int, values: int, now: float) -> None:
        if values:
            whole(self, mask, values, now)

    patch.setattr(Body, "switch", switch)


def restart_is_let_pass(patch: pytest.MonkeyPatch) -> None:
    """A joint may restart while a part is discarded, whatever is to come."""
    patch.setattr(Discarding, "end_at_rest", lambda self, ending, cause, now: None)


def permit_raised_in_a_hold(patch: pytest.MonkeyPatch) -> None:
    """A hold lowers the permit, but it is renewed again on the way to rest."""
    whole, await_rest = PermitKeeper.renew, Holding.step

    def renew(self: PermitKeeper, *known: Any) -> bool:
        self.fixed = False
        return whole(self, *known)

    def renewing(self: Holding, now: int) -> Turn | None:
        if self.motion is not None:
            self.motion.step(now)
        return await_rest(self, now)

    patch.setattr(PermitKeeper, "renew", renew)
    patch.setattr(Holding, "step", renewing)


@pytest.mark.parametrize(
    ("take_out", "family", "invariants"),
    [
        (no_arm_echo, LOST_PAIRS, {"I1"}),
        (no_go_echo, LOST_PAIRS, {"I2"}),
        (any_echo, LOST_PAIRS, {"I2"}),
        (permit_raised_in_a_hold, HOLD, {"I2"}),
        (old_drives, ARM, {"I11"}),
        (no_expiry, Family("advance", 2, "resume", 4, 0, ("crash",)), {"I3"}),
        (jogs_for_ever, Family("jog", 2, "jog", 2, 0, ("cut-to",)), {"I11"}),
        (obeys_what_is_old, Family("touch", 2, "touch", 3, 0, ("cut-long",)), {"touch"}),
        (goes_on_without_its_input, Family("switch", 2, "switch", 9, 0, ("hold",)), {"I11"}),
        (nothing_goes_off, Family("wait", 2, "wait", 1, 0, ("stop",)), {"output"}),
        (restart_is_let_pass, Family("switch", 2, "switch", 9, 0, ("reboot",)), {"I12"}),
        (nothing_forgotten, Family("moving", 2, "moving", 2, 0, ("reboot",)), {"I7"}),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_what_is_taken_out_is_missed_and_the_schedule_can_be_replayed(
    take_out: Callable[[pytest.MonkeyPatch], None],
    family: Family,
    invariants: set[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    take_out(monkeypatch)
    found = Search(family, stop_after=1).run()
    assert found.violations, f"{found.schedules} runs and nothing was missed"
    decisions, text = found.violations[0]
    assert text.split()[0] in invariants, f"{decisions}: {text}"
    assert list(replay(family, decisions))[-1] == text


def test_only_the_look_at_offers_sees_a_permit_that_is_raised_in_a_hold(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """So the test above shows that offers are looked at, not only a run's first ones."""
    permit_raised_in_a_hold(monkeypatch)
    monkeypatch.setattr(NoFurtherThanPermit, "_judge_offer", lambda self, laptop, drive: None)
    assert Search(HOLD).run().violations == []


# ---- the search itself --------------------------------------------------------------------------


def told(scope: Scope) -> list[str]:
    scope.trace = []
    scope.finish()
    return scope.trace


def test_a_copy_of_a_world_goes_on_like_the_world() -> None:
    scope = begin(ARM, Found())
    for _ in range(12):
        scope.step({})
    copied = clone(scope)
    copied.found = Found()
    trace = told(scope)
    assert len(trace) > 100
    assert told(copied) == trace


def test_a_copy_of_a_world_leaves_the_world_as_it_was() -> None:
    scope, other = begin(ARM, Found()), begin(ARM, Found())
    copied = clone(scope)
    copied.found = Found()
    told(copied)
    assert scope.world.now == other.world.now
    assert told(scope) == told(other)


def test_a_drive_that_comes_twice_is_dropped_and_its_schedule_merges() -> None:
    found = Search(TWICE).run()
    assert found.violations == []
    assert found.merged > 0


def test_workers_share_a_search_without_gap_or_overlap() -> None:
    alone = Search(TWICE).run()
    shares = [Search(TWICE, worker=worker, workers=3).run() for worker in range(3)]
    assert sum(share.schedules for share in shares) == alone.schedules
    assert sum(share.merged for share in shares) == alone.merged
    assert set[int]().union(*(share.states for share in shares)) == alone.states
