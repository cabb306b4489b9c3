"""What a hand wishes counts while it is fresh, once and in order; and it ends with the hand.

A wish to turn, to go to a place or to home a joint of more than 250 ms ago moves nothing, nor a
step of more than 1 s ago, nor a wish that was overtaken by a later one. When control is taken over,
whatever was jogged or homed ends at once; when who had it has gone, what was jogged, and what was
homed while it was held.
"""

from typing import Final

from coordinator.codes.arm_phase import ArmPhase
from coordinator.core import events as ev
from coordinator.core.snapshot.arm import arm_phase
from coordinator.rehearsal.laptop import Laptop
from tests.campaign.invariants.base import Invariant
from tests.campaign.judge import Judge

JOG_OLD_US: Final = 250_000
STEP_OLD_US: Final = 1_000_000
"""Design section 5.7."""
SPARE_US: Final = 1_000


class OnlyByLiveHands(Invariant):
    """Keeps the newest wish of every feed that moved something."""

    name = "hand"

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self._newest: dict[object, int] = {}

    def wished(
        self,
        laptop: Laptop,
        feed: object,
        number: int,
        made_us: int,
        obeyed: tuple[ev.Command, ...],
    ) -> None:
        for command in obeyed:
            if isinstance(command, ev.Hold | ev.Blink) or not laptop.core.moved_by_hand:
                continue  # to let go is never too late; after a sleep the session ends with it
            newest = self._newest.get(feed, 0)
            if number <= newest:
                raise self.broken(f"wish {number} of a hand is obeyed after its wish {newest}")
            self._newest[feed] = number
            ago_us = self.world.now - made_us
            lets_go = isinstance(command, ev.Jog) and not any(command.velocities_deg_s.values())
            old_us = STEP_OLD_US if isinstance(command, ev.Step) else JOG_OLD_US
            if not lets_go and ago_us > old_us + SPARE_US:
                raise self.broken(
                    f"a wish of {ago_us / 1e3:.0f} ms ago is obeyed, a {type(command).__name__}"
                )

    def handed(self, laptop: Laptop, why: str, *, taken: bool) -> None:
        phase = arm_phase(laptop.core)
        if laptop.core.moved_by_hand or (taken and phase is ArmPhase.HOMING):
            raise self.broken(f"{why}, and the arm goes on {phase}")
