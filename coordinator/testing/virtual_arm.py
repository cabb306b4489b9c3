"""An arm of software joints with its coordinator, in virtual time: what the fixture `arm` gives.

It plays the same coordinator and joints as `unisono rehearse`; the same arm file, network and seed
make the same course of events. Nothing waits: hours pass in seconds.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from coordinator.client import ClientError, HomingFailed, Refused, WrongInput
from coordinator.codes.refusal import INPUT_CODES
from coordinator.config.arm import Arm
from coordinator.core import events as ev
from coordinator.core.homing import HomingSequence, HomingState
from coordinator.core.run import Phase
from coordinator.core.run.report_snapshot import RunReport, report_snapshot
from coordinator.core.snapshot.arm import ArmSnapshot, arm_snapshot
from coordinator.core.stop_words import STOP_LEVELS, StopWord
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.programs import ProgramError
from coordinator.rehearsal.meeting import wait_for_all
from coordinator.rehearsal.operator import PATIENCE, PATIENCE_US, REACTION_US
from coordinator.rehearsal.rehearse import HOMING_US, KEY
from coordinator.rehearsal.software_joints import joint_settings
from coordinator.rehearsal.world import BEGIN_US, World
from coordinator.testing.faults import Faults
from coordinator.testing.recorder import Recorder
from coordinator.testing.run_time import LONGEST_S, Happen, RunTime, duration_us
from coordinator.testing.truth import Truth
from protocol.constants import PPM, US
from simulator.unit import JointUnit

HOLD_US: Final = 60 * US
"""Patience for a hold, a stop or a step to come to its end beyond what it should take."""
COLDEST_C: Final = -40.0
HOTTEST_C: Final = 125.0
"""Between which a joint's sensor measures (`coordinator/health/plausible.py`)."""
RESTS: Final = (Phase.ENDED, Phase.HELD, Phase.PAUSED)


class VirtualArm:
    """An arm that is switched on, all joints connected and none homed.

    `network` is one of `unisono simulate --network`. Every command may raise Refused or
    WrongInput, as the client would; what does not come to its end raises AssertionError. Raises
    RehearsalError where the joints do not come up.
    """

    def __init__(self, arm: Arm, *, network: str = "quiet", seed: int = 1) -> None:
        units = [JointUnit(one, KEY, float(BEGIN_US)) for one in joint_settings(arm, seed)]
        self._recorder = Recorder(units, self._started)
        # Nothing real moves here, and nobody is there to hold a control.
        arm = replace(arm, homing_while_held=False)
        self._world = World(arm, units, network, seed, observer=self._recorder)
        self._time = RunTime(self._world)
        self._faults = Faults(self._world, self._recorder)
        self._planned_us = 0
        self.truth = Truth(self._world, self._recorder, self._time)
        """What joints truly do."""
        self._recorder.begin(self._world)
        wait_for_all(self._world)

    # ---- what is so -----------------------------------------------------------------------------

    @property
    def state(self) -> ArmSnapshot:
        """What the coordinator knows and tells: condition, run, joints, warnings."""
        return arm_snapshot(self._world.core, self._world.laptop.now)

    @property
    def messages(self) -> list[str]:
        """What people were told so far, oldest first."""
        return [note.message for note in self._world.notes]

    @property
    def report(self) -> RunReport:
        """The newest run's report as it is now. Raises AssertionError before the first."""
        run = self._world.core.run
        if run is None:
            raise AssertionError("there is no report: no program was played")
        return report_snapshot(run.report)

    @property
    def at_s(self) -> float | None:
        """Seconds since the newest run's first joint began to move; None before the first run."""
        return self._time.at_s

    # ---- commands -------------------------------------------------------------------------------

    def home(self, *joints: str) -> None:
        """Home these joints, all for none, to the end. Raises HomingFailed."""
        self._command(ev.Home(joints))
        homing = self._world.core.homing
        assert homing is not None
        self._until(lambda: _is_over(homing), HOMING_US, "the homing did not end")
        if homing.state is not HomingState.DONE:
            raise HomingFailed(homing.snapshot())
        self._world.run_for(REACTION_US)

    def begin(self, text: str, *, name: str = "test") -> None:
        """Play a program; returns at the instant at which the first joint begins to move.

        Raises WrongInput with `mistakes`, and AssertionError where the run ends before.
        """
        core, arm = self._world.core, self._world.arm
        try:
            parts = plan_text(text, arm, pose_at(arm, core.start_counts()))
        except ProgramError as error:
            raise WrongInput(str(error), error.problems, "program") from error
        except ev.Refused as refused:
            raise _as_told(refused) from refused
        self._planned_us = sum(move.duration_us for part in parts for move in part.moves())
        self._command(ev.Play(name, text, parts))
        self._time.new_run()
        self._until(
            lambda: self._time.begun or self._rests(), self._patience_us, "the run did not start"
        )
        if not self._time.begun:
            raise AssertionError(f"no joint started: {self.report.message} {self._time.words()}")

    def wait(self) -> RunReport:
        """Wait until the run has ended, is held or is paused; its report.

        Raises AssertionError where it ended before a fault that was to come, and where no program
        was played.
        """
        if self._phase is None:
            raise AssertionError("no program was played: there is no run to wait for")
        self._until(self._rests, self._patience_us, "the run did not end")
        # Why it is held or faulted, and the proof of its starts, are still on their way.
        self._world.run_for(REACTION_US)
        if self._phase is Phase.ENDED:
            self._time.require_all_happened()
        return self.report

    def play(self, text: str, *, name: str = "test") -> RunReport:
        """Play a program until it has ended, is held or is paused; its report.

        Nothing is raised where it did not finish: `report.outcome` says so. Raises as `begin` and
        `wait` do.
        """
        self.begin(text, name=name)
        return self.wait()

    def hold(self) -> RunReport:
        """Come to rest on the path; the run's report."""
        self._command(ev.Hold())
        return self._settled("the hold did not end")

    def resume(self) -> RunReport:
        """Go on after a hold or a pause, until the run has ended, or is held or paused again."""
        self._command(ev.Resume())
        return self.wait()

    def stop(self, level: StopWord = "stop") -> RunReport | None:
        """Brake off the path, and end the run if one goes on. Raises ValueError.

        The newest run's report; None where no program was played.
        """
        if level not in STOP_LEVELS:
            raise ValueError(f"level is {level!r}, but must be one of {', '.join(STOP_LEVELS)}")
        self._command(ev.Stop(STOP_LEVELS[level]))
        if self._phase is None:
            self._world.run_for(REACTION_US)
            return None
        return self._settled("the stop did not end the run")

    def override(self, percent: float) -> None:
        """Speed of the run, in per cent of the program's, 5 to 100."""
        self._command(ev.Override(round(percent * PPM / 100)))

    def step(self, joint: str, *, by_deg: float, speed_deg_s: float) -> None:
        """Turn one joint by exactly that angle, until it stands. Raises ValueError."""
        if not speed_deg_s > 0:
            raise ValueError(f"speed_deg_s is {speed_deg_s:g}, but must be above 0")
        self._command(ev.Step(joint, by_deg, speed_deg_s))
        takes_us = round(abs(by_deg) / speed_deg_s * US)
        self._until(
            lambda: not self._world.core.jog.goes_on,
            PATIENCE * takes_us + HOLD_US,
            f"the step of {joint} did not end",
        )
        self._world.run_for(REACTION_US)

    def run_for(self, duration_s: float) -> None:
        """Let virtual time pass."""
        self._world.run_for(duration_us("duration_s", duration_s))

    # ---- what befalls it ------------------------------------------------------------------------

    def lose(self, joint: str, *, at_s: float | None = None, for_s: float | None = None) -> None:
        """Nothing passes between coordinator and joint, for good without `for_s`.

        `at_s` is a time of the run that goes on, or of the next one: 0 is its first joint's start.
        Without it, now. The same holds for all that follows.
        """
        for_us = duration_us("for_s", LONGEST_S if for_s is None else for_s)
        self._befall(joint, "lost", at_s, lambda: self._faults.lose(joint, for_us))

    def heat(self, joint: str, *, to_c: float, at_s: float | None = None) -> None:
        """Something from outside warms or cools a joint by 4 °C/s, and then keeps it at `to_c`."""
        if not COLDEST_C <= to_c <= HOTTEST_C:
            raise ValueError(f"to_c is {to_c:g}, but must be {COLDEST_C:g} to {HOTTEST_C:g} °C")
        self._befall(joint, "heated", at_s, lambda: self._faults.heat(joint, to_c))

    def reboot(self, joint: str, *, at_s: float | None = None, off_s: float = 1.0) -> None:
        """A joint loses its power, stands where it is, and is there again after `off_s`."""
        off_us = duration_us("off_s", off_s)
        self._befall(joint, "rebooted", at_s, lambda: self._faults.reboot(joint, off_us))

    # ---- inside ---------------------------------------------------------------------------------

    def _befall(self, joint: str, what: str, at_s: float | None, happen: Happen) -> None:
        self._time.joint(joint)
        run = self._world.core.run
        goes_on = run is not None and run.phase is not Phase.ENDED
        self._time.happen(f"{joint} was to be {what}", at_s, happen, goes_on=goes_on)

    def _started(self, true_us: float) -> None:
        self._time.started(true_us)

    def _command(self, command: ev.Command) -> None:
        try:
            self._world.command(command)
        except ev.Refused as refused:
            raise _as_told(refused) from refused

    @property
    def _phase(self) -> Phase | None:
        run = self._world.core.run
        return None if run is None else run.phase

    def _rests(self) -> bool:
        return self._phase in RESTS

    @property
    def _patience_us(self) -> int:
        return PATIENCE * self._planned_us + PATIENCE_US

    def _settled(self, otherwise: str) -> RunReport:
        self._until(self._rests, HOLD_US, otherwise)
        self._world.run_for(REACTION_US)
        return self.report

    def _until(self, condition: Callable[[], bool], limit_us: int, otherwise: str) -> None:
        if not self._world.run_until(condition, limit_us):
            told = "; ".join(self.messages[-3:]) or "nothing"
            raise AssertionError(
                f"{otherwise} within {limit_us / US:g} s, {self._time.words()}; told last: {told}"
            )


def _as_told(refused: ev.Refused) -> ClientError:
    """What the client raises for it, by the same codes as the API."""
    if refused.code in INPUT_CODES:
        return WrongInput(refused.message, code=refused.code)
    return Refused(refused.code, refused.message)


def _is_over(homing: HomingSequence) -> bool:
    return homing.state is not HomingState.RUNNING
