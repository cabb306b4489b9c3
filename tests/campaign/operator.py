"""A patient operator: brings an arm up, and plays once the faults are over."""

from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.run import Phase
from coordinator.rehearsal.world import World
from protocol.constants import PPM, US
from protocol.states import JointState
from protocol.status import Fault
from tests.campaign.happenings import Happenings

UP_US = 15 * US
HOMING_US = 90 * US
RUN_US = 60 * US
LOOK_US = 500_000
"""How long the operator waits before asking again."""
PLAYS = 3
JOG_US = 100_000
JOG_STEPS = 200
NEAR_DEG = 3.0


class Operator:
    """Uses the first laptop as a person would, and never asks for what must be refused twice."""

    def __init__(self, world: World, happenings: Happenings) -> None:
        self.world = world
        self.happenings = happenings
        self.first_failed = ""
        """What became of the first play after the faults, where it did not simply finish."""

    def bring_up(self) -> bool:
        """Wait for the joints and home them; True when that succeeded."""
        self.world.run_until(self.all_there, UP_US)
        for _ in range(3):
            if not self._home():
                return True
            self.world.run_for(LOOK_US)
        return False

    def play_through(self, stated_us: int) -> str | None:
        """Ask until a play has succeeded; a sentence when none did within the stated time."""
        world, end_us = self.world, self.world.now + stated_us
        plays, resumed, why = 0, False, "nothing was tried"
        while world.now < end_us:
            core = world.core
            run = core.run
            if run is not None and run.phase is not Phase.ENDED:
                if run.phase is Phase.PAUSED or (run.phase is Phase.HELD and not resumed):
                    resumed = run.phase is Phase.HELD
                    if not self.happenings.command(ev.Resume()):
                        self.happenings.command(ev.Stop())
                        world.run_for(LOOK_US)
                elif not self._follow_fast() or resumed:
                    why = f"run {run.number} stayed {run.phase}"
                    self.happenings.command(ev.Stop())
                    world.run_for(LOOK_US)
                    resumed = False
                continue
            resumed = False
            if plays and run is not None and run.report.outcome == "finished":
                return None
            if plays >= PLAYS:
                break
            self._accept_homes()
            if self._must_home():
                if not_homed := self._home():
                    self._jog_back()
                    self._power_cycle()
                    why = f"the arm is not homed: {not_homed}"
                    world.run_for(LOOK_US)
            elif self.happenings.play_briefly():
                plays += 1
                self._follow(Phase.HELD, Phase.PAUSED, Phase.ENDED)
                run = world.core.run
                why = f"the play ended {run.report.outcome}: {run.report.message}" if run else ""
                if plays == 1 and (run is None or run.report.outcome != "finished"):
                    self.first_failed = f"{why}, run {run.phase}" if run else "there was no run"
                # Why it did is still on its way: a fault shows in the next status.
                world.run_for(LOOK_US)
            else:
                why = f"a play was refused, {self.happenings.last_refusal}"
                self._power_cycle()
                world.run_for(LOOK_US)
        return f"{plays} plays within {stated_us / US:.0f} s; at last {why}"

    def _follow_fast(self) -> bool:
        """The end or a rest of what still plays: at its full rate, as a tenth of it, which somebody
        asked for before, would take all the time that is stated for a play.
        """
        self.happenings.command(ev.Override(PPM))
        return self._follow(Phase.HELD, Phase.PAUSED, Phase.ENDED)

    def all_there(self) -> bool:
        """Whether every joint is connected, and its clock known."""
        return all(
            link.up and link.connection.configured and link.status and link.clock.locked
            for link in self.world.core.links
        )

    def _accept_homes(self) -> None:
        """Somebody looks at every joint whose home wandered, and lets it be as it is."""
        core, now = self.world.core, self.world.laptop.now
        for link in core.links:
            if link.home is not None and link.wandered:
                core.accept_home(link.name, link.home.homing, "the operator", now)

    def _must_home(self) -> bool:
        return any(
            link.status is None
            or not link.status.homed
            or link.status.faults
            or link.in_state(JointState.UNHOMED)
            for link in self.world.core.links
        )

    def _home(self) -> str:
        """Home all joints, or wait on for a homing that is under way. Why that has not succeeded, a
        sentence; empty where it has.
        """
        if self._homing_over() and not self.happenings.command(ev.Home()):
            return f"homing was refused, {self.happenings.last_refusal}"
        self.world.run_until(self._homing_over, HOMING_US)
        homing = self.world.core.homing
        if homing is None:
            return "nobody knows of its homing any more"
        if homing.current is not None:
            return f"{homing.current.name} is being homed for more than {HOMING_US / US:g} s"
        return homing.message

    def _jog_back(self) -> None:
        """A joint that cannot know that it stands behind its sensor is jogged to the near side.

        A person sees where it stands. (The simulated axis has no end stop to run against.) All
        others find their sensor by themselves, also after a homing that was cut short.
        """
        astray, homing = self.happenings.judge.astray, self.world.core.homing
        in_vain = homing is not None and "without being homed" in homing.message
        for joint, link in zip(self.world.arm.joints, self.world.core.links, strict=True):
            status = link.status
            if status is None or joint.id not in astray:
                continue
            if not (status.faults & Fault.HALL_SENSOR or (in_vain and not status.homed)):
                continue
            unit, search = self.world.nodes[joint.id].unit, joint.homing.direction
            for _ in range(JOG_STEPS):
                angle = joint.to_degrees(unit.true_position(self.world.now)[0])
                if (joint.home_deg - angle) * search > NEAR_DEG:
                    break
                self.happenings.command(ev.Jog({joint.name: -joint.homing.fast_deg_s * search}))
                self.world.run_for(JOG_US)
            self.happenings.command(ev.Jog({joint.name: 0.0}))
            self.world.run_for(LOOK_US)

    def _homing_over(self) -> bool:
        homing = self.world.core.homing
        return homing is None or homing.state is not HomingState.RUNNING

    def _follow(self, *phases: Phase) -> bool:
        def reached() -> bool:
            run = self.world.core.run
            return run is None or run.phase in phases

        return self.world.run_until(reached, RUN_US)

    def _power_cycle(self) -> None:
        """A joint whose clock is not trusted for minutes is switched off and on."""
        for link in self.world.core.links:
            if not link.clock.locked and link.joint.id in self.happenings.judge.broken_clock:
                self.world.kill_joint(link.name)
                self.world.restart_joint(link.name)
