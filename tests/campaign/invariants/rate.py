"""The arm goes as fast as was asked for last, and every joint by the same change.

Design section 5. A run begins at full speed; an override counts through holds and parts until
the run ends, and not in the next. A start goes to what was wanted since it was begun. An override
goes from the newest change that all joints have confirmed. One that is withdrawn leaves that very
change, since a joint that gets another holds by itself; then what it goes by is what is wanted,
unless more was asked for meanwhile. People are told what is wanted.
"""

from dataclasses import dataclass, field

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import PPM, RATE_MAX_PPM
from protocol.drive import Drive
from protocol.pathtime import RateChange
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge


@dataclass(slots=True)
class _Rates:
    """What was asked of one session, and what it sent."""

    wanted_ppm: int = RATE_MAX_PPM
    asked_us: int = 0
    """When that was asked for."""
    may_start_ppm: set[int] = field(default_factory=lambda: {RATE_MAX_PPM})
    """What was wanted since the start under way was begun."""
    plan: int = 0
    change: RateChange | None = None
    """Number and change of the newest plan that has one."""
    issued_us: int = 0
    """When that change was sent first."""
    sent: list[RateChange] = field(default_factory=list)
    """All changes from the newest start on."""
    confirmed: RateChange | None = None
    """The newest that all joints are known to have confirmed."""


class AsFastAsWanted(Invariant):
    """Follows all changes of rate of each session."""

    name = "rate"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._rates: dict[int, _Rates] = {}

    def _of(self, laptop: Laptop) -> _Rates:
        return self._rates.setdefault(laptop.core.session, _Rates())

    def commanded(self, laptop: Laptop, command: ev.Command) -> None:
        rates = self._of(laptop)
        match command:
            case ev.Play():
                rates.wanted_ppm, rates.may_start_ppm = RATE_MAX_PPM, {RATE_MAX_PPM}
            case ev.Override(rate_ppm=rate_ppm):
                rates.wanted_ppm, rates.asked_us = rate_ppm, self.world.now
                rates.may_start_ppm.add(rate_ppm)

    def heard(self, laptop: Laptop, joint_id: str) -> None:
        self._see_confirmed(laptop, self._of(laptop))

    def _see_confirmed(self, laptop: Laptop, rates: _Rates) -> None:
        statuses = [link.status for link in laptop.core.links]
        if rates.plan and all(one is not None and one.plan == rates.plan for one in statuses):
            rates.confirmed = rates.change

    def sent(self, laptop: Laptop, joint_id: str, drive: Drive) -> None:
        run, rates = laptop.core.run, self._of(laptop)
        if run is None:
            return
        if run.phase is not Phase.STARTING:
            rates.may_start_ppm = {rates.wanted_ppm}
        plan = drive.plan
        if plan is not None and plan.change is not None and plan.number != rates.plan:
            self._see_confirmed(laptop, rates)
            self._judge(rates, plan.change)
            rates.plan, rates.change = plan.number, plan.change
        if run.phase is Phase.MOVING and run.rate_ppm != rates.wanted_ppm:
            raise self.broken(
                f"the speed is told to be {_percent(run.rate_ppm)}, it is "
                f"{_percent(rates.wanted_ppm)} that was asked for or left"
            )

    def _judge(self, rates: _Rates, change: RateChange) -> None:
        """A new plan carries this change."""
        now, confirmed = self.world.now, rates.confirmed
        if change in rates.sent:
            if change not in (rates.change, confirmed):
                raise self.broken(f"{change} is sent again, all had confirmed {confirmed}")
            if change != rates.change and rates.asked_us <= rates.issued_us:
                rates.wanted_ppm = change.after_ppm
            return
        if change.before_ppm == 0:
            if change.after_ppm not in rates.may_start_ppm:
                wanted = " or ".join(map(_percent, sorted(rates.may_start_ppm)))
                raise self.broken(f"a start goes to {_percent(change.after_ppm)}, not {wanted}")
            rates.sent, rates.confirmed = [], None
        elif confirmed is None or change.before_ppm != confirmed.after_ppm:
            raise self.broken(f"{change} is sent after {confirmed}")
        elif change.after_ppm != rates.wanted_ppm:
            wanted = _percent(rates.wanted_ppm)
            raise self.broken(f"an override goes to {_percent(change.after_ppm)}, not {wanted}")
        rates.sent.append(change)
        rates.issued_us = now


def _percent(rate_ppm: int) -> str:
    return f"{rate_ppm * 100 / PPM:g} %"
