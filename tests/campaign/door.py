"""A laptop's coordinator as the API above it sees it, in virtual time.

Control, hands and touch are the API's own (`coordinator/api`); only what they stand on is played
here: planning takes no time, and what is taught is kept in memory.
"""

from collections.abc import Awaitable, Callable, Coroutine, Mapping
from typing import Any, cast

from coordinator.api.control_routes import ControlDesk
from coordinator.api.hand import Hand
from coordinator.api.touch import TouchHands
from coordinator.codes.arm_phase import ArmPhase
from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.core import events as ev
from coordinator.core.snapshot.arm import arm_busy, arm_phase
from coordinator.motion import plan_parts
from coordinator.playing.runs import Wanted
from coordinator.programs import parse_program
from coordinator.records.taught import Editing, TaughtNow
from coordinator.rehearsal.laptop import Laptop
from coordinator.service import Service
from coordinator.store.texts import digest_of
from coordinator.teaching.changes import applied
from coordinator.teaching.known import Circumstances, waypoint_of
from coordinator.teaching.taught import Sequence, Taught, Waypoint, rounded

Ask = Callable[[ev.Command, Laptop], int | None]
"""Has a laptop carry out a command. Raises Refused."""
TRAY = 1
"""The sequence into which presses record, and which they play."""


class Door:
    """Of one coordinator, from its beginning to its end: another one knows nothing of it."""

    def __init__(self, laptop: Laptop, ask: Ask) -> None:
        self.laptop = laptop
        self.core = laptop.core
        self.arm = laptop.core.arm
        self.on_touch: Callable[[ev.Touched], None]
        self.taught = _TaughtInMemory(self)
        self.runs = _Runs(self)
        self.obeyed: list[ev.Command] = []
        """Commands that were carried out, for whoever clears it before."""
        self._ask = ask
        service = cast(Service, self)
        self.desk = ControlDesk(service, lambda: laptop.now)
        self.hand = Hand(service, self.desk)
        self._touch = _TouchAtOnce(service, self.desk, client_id="7" * 24)

    @property
    def open(self) -> bool:
        """Whether this coordinator runs still."""
        return self.laptop.alive and self.laptop.core is self.core

    @property
    def session(self) -> int:
        """As a service's."""
        return self.core.session

    @property
    def phase(self) -> ArmPhase:
        """As a service's."""
        return arm_phase(self.core)

    @property
    def moved_by_hand(self) -> bool:
        """As a service's."""
        return self.core.moved_by_hand

    @property
    def busy(self) -> bool:
        """As a service's."""
        return arm_busy(self.core)

    def command(
        self, command: ev.Command, who: str | None = None, *, detail: bool = False
    ) -> int | None:
        """As a service's."""
        if isinstance(command, ev.Hold | ev.Stop):
            self.runs.halt()
        number = self._ask(command, self.laptop)
        self.obeyed.append(command)
        return number

    def tell(self, level: Level, code: str, message: str) -> None:
        """As a service's."""
        self.core.outbox.note(self.laptop.now, level, code, message)


class _Runs:
    """Plays at once what was planned at once."""

    def __init__(self, door: Door) -> None:
        self.halts = 0
        self._door = door

    def halt(self) -> None:
        """A hold or stop was asked for."""
        self.halts += 1

    async def play(
        self,
        wanted: Wanted,
        has_left: Callable[[], Awaitable[bool]],
        who: str,
        halts: int,
    ) -> int | None:
        """Plan a program from where the joints stand and play it. Raises ProgramError, Refused."""
        door = self._door
        door.core.require_no_run("play")
        program = parse_program(wanted.text, door.arm.letters)
        parts = plan_parts(program, door.arm, door.core.start_counts())
        if await has_left() or halts != self.halts:
            raise ev.Refused(RefusalCode.HALTED, f"{wanted.name} is not wanted any more")
        return door.command(ev.Play(wanted.name, wanted.text, parts), who)


class _TaughtInMemory:
    """One sequence, and waypoints."""

    def __init__(self, door: Door) -> None:
        self._door = door
        self._taught = Taught(sequences={TRAY: Sequence(TRAY, "tray")})
        self._revision, self._next = 0, TRAY

    def waypoint(self, number: int) -> Waypoint:
        """A waypoint. Raises NoSuch."""
        return waypoint_of(self._taught, number)

    def put(self, angles_deg: Mapping[str, float]) -> int:
        """A place that somebody taught before; its number."""
        number = self._fresh()
        waypoint = Waypoint(number, f"place {number}", rounded(angles_deg))
        waypoints = {**self._taught.waypoints, number: waypoint}
        self._taught = Taught(waypoints, self._taught.sequences)
        return number

    async def now(self) -> TaughtNow:
        """What holds now."""
        return TaughtNow(self._revision, self._taught, None, None, TRAY)

    async def edit(self, revision: int, edit: Editing, who: str) -> TaughtNow:
        """Make a change. Raises TaughtError, Refused."""
        core, laptop = self._door.core, self._door.laptop
        known = Circumstances(
            self._door.arm, self._fresh, digest_of, lambda: core.standing_deg(laptop.now)
        )
        self._taught = applied(self._taught, edit.change(self._taught, known))
        self._revision += 1
        return await self.now()

    def _fresh(self) -> int:
        self._next += 1
        return self._next


class _TouchAtOnce(TouchHands):
    """Nothing here waits for a disk or a planner, so what is begun is driven to its end."""

    def _start(self, work: Coroutine[Any, Any, None]) -> None:
        told = self._told(work)
        try:
            told.send(None)
        except StopIteration:
            return
        raise AssertionError("what a press began waits for something")
