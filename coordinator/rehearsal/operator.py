"""Who plays a program in a rehearsal: goes on at pauses, resumes after holds, and is patient."""

from collections.abc import Callable
from typing import Final

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.core.run.report import Report, StartRecord
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.programs import Switches
from coordinator.programs.loops import Loops
from coordinator.rehearsal.played import HoldSeen, Played, StartSeen
from coordinator.rehearsal.shared_supply import SharedSupply
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US
from simulator.unit import WorldTruth

REACTION_US: Final = 1 * US
"""Between a hold, or a refusal, and the operator's next try."""
PATIENCE: Final = 3
"""Times its planned duration, and PATIENCE_US more, after which a run is given up."""
PATIENCE_US: Final = 600 * US
NEAR_US: Final = 100_000
"""Further from its instant no start can be: clocks are known to better than 5 ms, and between two
starts a joint must stop first."""
TOLD_US: Final = 1 * US
"""Between two times that it is told how far it is."""
Truths = dict[str, list[WorldTruth]]
"""What each joint truly did, by its name."""
START_TROUBLE: Final = ("partial-start", "start-refused")


class Operator:
    """Plays a program to its end, whatever it takes, and says what was seen."""

    def __init__(
        self,
        world: World,
        text: str,
        switches: Switches,
        loops: Loops,
        supply: SharedSupply,
        tell: Callable[[float], None],
    ) -> None:
        """`tell` is told now and then which share of its planned time has passed, 0 to 1."""
        self._world = world
        self._supply = supply
        self._text = text
        self._switches = switches
        self._loops = loops
        self._commanded_us = world.now
        self._notes = len(world.notes)
        self._given_up = False
        self._tell, self._told_us, self._planned_us = tell, world.now, 0
        for unit in world.units:
            unit.take_truth()

    def play(self) -> None:
        """Play, go on at pauses, resume after holds, until the run has ended or patience has."""
        world = self._world
        start = pose_at(world.arm, world.core.start_counts())
        parts = plan_text(self._text, world.arm, start, self._loops, self._switches)
        self._planned_us = sum(move.duration_us for part in parts for move in part.moves())
        end_us = world.now + PATIENCE * self._planned_us + PATIENCE_US
        if self._ask(ev.Play("rehearsal", self._text, parts, self._loops), end_us):
            while not self._is_over(end_us):
                if self._phase() is Phase.HELD:
                    world.run_for(REACTION_US)
                if self._phase() is not Phase.ENDED and not self._ask(ev.Resume(), end_us):
                    break
        self._given_up = self._phase() is not Phase.ENDED

    def _is_over(self, end_us: int) -> bool:
        """Let the run go on until the operator must act; True where nothing is left to do."""
        went = self._world.run_until(self._must_act, end_us - self._world.now)
        return not went or self._phase() is Phase.ENDED

    def _must_act(self) -> bool:
        now = self._world.now
        if now >= self._told_us:
            self._told_us = now + TOLD_US
            self._tell(min(1.0, (now - self._commanded_us) / max(1, self._planned_us)))
        return self._phase() in (Phase.ENDED, Phase.HELD, Phase.PAUSED)

    def _phase(self) -> Phase | None:
        run = self._world.core.run
        return run.phase if run else None

    def _ask(self, command: ev.Play | ev.Resume, end_us: int) -> bool:
        """Command until it is obeyed or there is nothing to resume; False when patience is over."""
        world = self._world
        while world.now < end_us:
            try:
                world.command(command)
            except ev.Refused as refused:
                if refused.code == "program-empty":
                    raise
                world.run_for(REACTION_US)
                if isinstance(command, ev.Resume) and self._phase() is Phase.ENDED:
                    return True
            else:
                return True
        return False

    def seen(self, seed: int) -> Played:
        """What was seen of it, by the world of this seed."""
        world = self._world
        truths = {unit.settings.name: unit.take_truth() for unit in world.units}
        notes = world.notes[self._notes :]
        run = world.core.run
        report = run.report if run else Report(0, "", (), world.now)
        outcome = "unfinished" if self._given_up else report.outcome
        began_us = _instants_us(truths, "start")
        ended_us = _instants_us(truths, "finish") if outcome == "finished" else [world.now]
        trouble = {note.message for note in notes if note.code in START_TROUBLE}
        return Played(
            seed=seed,
            outcome=outcome,
            message=report.message,
            wait_us=min(began_us) - self._commanded_us if began_us else None,
            motion_us=max(ended_us) - min(began_us) if began_us else None,
            starts=tuple(_start(world, record, truths) for record in report.starts),
            partial_starts=report.partial_starts,
            refused_starts=sum(note.code == "start-refused" for note in notes),
            holds=tuple(
                HoldSeen(hold.cause, hold.apart_us)
                for hold in report.holds
                if hold.cause not in trouble
            ),
            buffer_margin_us=dict(report.buffer_margin_us),
            lowest_supply_v=dict(self._supply.lowest_v),
            simulated_us=world.now - BEGIN_US,
        )


def _instants_us(truths: Truths, event: str) -> list[int]:
    return [t.at_ns // 1_000 for found in truths.values() for t in found if t.event == event]


def _start(world: World, record: StartRecord, truths: Truths) -> StartSeen:
    at_ns = 1_000 * world.laptop.host.true(record.at_us)
    off_us = {
        name: (truth.at_ns - at_ns) / 1_000
        for name, found in truths.items()
        for truth in found
        if truth.event in ("start", "resume") and abs(truth.at_ns - at_ns) <= 1_000 * NEAR_US
    }
    whole = len(off_us) == len(world.units)
    return StartSeen(
        is_resume=record.path_us > 0,
        attempts=record.attempts,
        start_delay_us=record.start_delay_us,
        start_skew_us=max(off_us.values()) - min(off_us.values()) if whole else None,
        start_skew_max_us=record.start_skew_max_us,
        start_margin_us={
            name: entry.start_margin_us
            for name, entry in record.joints.items()
            if entry.start_margin_us is not None
        },
        off_us=off_us,
    )
