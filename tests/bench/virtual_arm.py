"""One arm in virtual time with its operator, who plays on it whatever it takes."""

from collections.abc import Callable, Sequence

from coordinator.config.arm import Arm
from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.run import Phase, Run
from coordinator.motion import plan_parts
from coordinator.programs import End, Move, Program, Target
from coordinator.rehearsal.software_joints import joint_settings
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import US
from simulator.network import Profile
from simulator.unit import JointUnit, WorldTruth
from tests.bench.arms import arm
from tests.bench.starts import Began

PATIENCE_US = 300 * US
REACTION_US = 1 * US
"""Between a hold, or a refusal, and the operator's next try."""


class VirtualArm:
    """An arm in a world of its own. Raises TimeoutError when anything takes far too long."""

    def __init__(self, network: str, profile: Profile, joints: int | Arm, seed: int) -> None:
        self.arm = arm(joints) if isinstance(joints, int) else joints
        self.where = f"{network}, {len(self.arm.joints)} joints, seed {seed}"
        units = [
            JointUnit(settings, bytes(32), float(BEGIN_US))
            for settings in joint_settings(self.arm, seed)
        ]
        self.world = World(self.arm, units, profile, seed)

    @property
    def run(self) -> Run:
        """The newest run."""
        run = self.world.core.run
        assert run is not None
        return run

    def home(self) -> None:
        """Wait for all links, then home until it is done."""
        links = self.world.core.links
        self.until(
            lambda: all(link.up and link.quality.measured and link.clock.locked for link in links),
            "all joints linked and measured",
        )
        while not self._homed():
            self.world.run_for(REACTION_US)

    def begin(self, targets: Callable[[float], Sequence[float]]) -> Run:
        """Play rapid moves of all joints to the same angles in degrees, one after another; which
        ones, is asked with the angle at which the first joint stands.
        """
        self.command(self._play(targets))
        return self.run

    def command_once(self, targets: Callable[[float], Sequence[float]]) -> None:
        """The same, once. Raises Refused."""
        self.world.command(self._play(targets)())

    def _play(self, targets: Callable[[float], Sequence[float]]) -> Callable[[], ev.Command]:
        def command() -> ev.Command:
            counts = self.world.core.start_counts()
            angles = targets(self.arm.joints[0].to_degrees(counts[0]))
            moves = [
                Move(
                    k,
                    1,
                    tuple(Target(joint, angle, 1) for joint in range(len(counts))),
                    False,
                    True,
                )
                for k, angle in enumerate(angles, 1)
            ]
            program = Program((*moves, End(len(moves) + 1)), self.arm.words)
            return ev.Play("bench", "", plan_parts(program, self.arm, counts))

        return command

    def go_on(self) -> None:
        """Resume what is held until it moves or has ended."""
        while self.run.phase is Phase.HELD:
            self.world.run_for(REACTION_US)
            try:
                self.world.command(ev.Resume())
            except ev.Refused:
                continue
            self.until_phase(Phase.MOVING, Phase.HELD, Phase.ENDED)

    def until_phase(self, *phases: Phase) -> None:
        """Let time pass until the run is in one of these."""
        self.until(lambda: self.run.phase in phases, " or ".join(phases))

    def until(self, condition: Callable[[], bool], what: str) -> None:
        """Let time pass until a condition holds."""
        if not self.world.run_until(condition, PATIENCE_US):
            raise TimeoutError(f"{self.where}: {what}: not within {PATIENCE_US // US} s")

    def happened(self) -> list[tuple[str, WorldTruth]]:
        """What truly happened since the last call, by joint; arm time is true time here."""
        return [
            (unit.settings.name, truth) for unit in self.world.units for truth in unit.take_truth()
        ]

    def command(self, command: Callable[[], ev.Command]) -> None:
        """Command, trying again while the arm refuses, as after an outage. Raises TimeoutError."""
        end_us = self.world.now + PATIENCE_US
        while True:
            try:
                self.world.command(command())
            except ev.Refused as refused:
                if self.world.now > end_us:
                    raise TimeoutError(f"{self.where}: {refused.message}") from refused
                self.world.run_for(REACTION_US)
            else:
                return

    def _homed(self) -> bool:
        self.command(ev.Home)
        homing = self.world.core.homing
        assert homing is not None
        self.until(lambda: homing.state is not HomingState.RUNNING, "homing")
        return homing.state is HomingState.DONE


def began(happened: list[tuple[str, WorldTruth]]) -> list[Began]:
    """The starts and resumes in it."""
    return [
        (name, truth.at_ns / 1000) for name, truth in happened if truth.event in ("start", "resume")
    ]
