"""The joints' own controls as hands: turned, they step their joint; pressed, they do what the arm
file says. Single control holds for them as for every client.
"""

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any, Final

from coordinator.api.control import Who
from coordinator.api.control_routes import ControlDesk
from coordinator.api.hand import show_recorded
from coordinator.codes.level import Level
from coordinator.config.touch import PressDoes
from coordinator.core.events import Hold, Refused, Step, Touched
from coordinator.playing.runs import Wanted
from coordinator.programs import ProgramError
from coordinator.service import Service
from coordinator.store import StoreError
from coordinator.teaching.program import to_program
from coordinator.teaching.taught import TaughtError
from coordinator.teaching.visit_edits import Record
from coordinator.workers.planner import PlannerBusy

QUIET_US: Final = 2_000_000
"""A refusal is not told again for so long: a hand turns on before it looks."""


class TouchHands:
    """What people do at the arm's own controls; all of them are one client."""

    def __init__(self, service: Service, desk: ControlDesk, client_id: str) -> None:
        self._service = service
        self._desk = desk
        self._id = client_id
        """That nobody else can pass for, so it cannot be guessed."""
        self._told_us: dict[str, int] = {}
        """By joint: when a refusal was told last."""
        self._plays = False
        """Whether a press to play is being seen to: another one holds."""
        self._tasks: set[asyncio.Task[None]] = set()
        service.on_touch = self.touched

    def touched(self, touched: Touched) -> None:
        """Turn the joint, and see to presses."""
        arm = self._service.arm
        joint, does = arm.joint(touched.joint), arm.touch
        if not joint.touch:
            return
        who = Who(self._id, f"the control of {joint.name}")
        if touched.turn:
            speed_deg_s = arm.jog_speeds.of(joint.velocity_deg_s).normal
            step = Step(joint.name, touched.turn * does.detent_deg, speed_deg_s)
            self._try(joint.name, lambda: self._step(step, who))
        for what, times in ((does.press, touched.presses), (does.long_press, touched.long_presses)):
            # More than one between two statuses is one hand that trembles.
            if times:
                self._press(what, joint.name, who)

    def _step(self, step: Step, who: Who) -> None:
        with self._desk.commanding_as(who):
            self._service.command(step, who.name)

    def _press(self, what: PressDoes, joint: str, who: Who) -> None:
        match what:
            case "hold":
                self._try(joint, lambda: self._hold(who))
            case "record":
                self._start(self._record(who))
            case "play" if self._service.busy or self._plays:
                self._try(joint, lambda: self._hold(who))
            case "play":
                self._start(self._play(who))
            case "nothing":
                pass

    def _hold(self, who: Who) -> None:
        self._service.command(Hold(), who.name)

    async def _record(self, who: Who) -> None:
        with self._desk.commanding_as(who):
            now = await self._service.taught.now()
            if now.newest_sequence is None:
                raise TaughtError("there is no sequence to record into: add one on the page Teach")
            record = Record("record", now.newest_sequence)
            await self._service.taught.edit(now.revision, record, who.name)
            show_recorded(self._service, who)
        self._service.tell(Level.INFO, "taught", f"{who.name} {record.words(now.taught)}")

    async def _play(self, who: Who) -> None:
        halts, self._plays = self._service.runs.halts, True
        try:
            with self._desk.commanding_as(who):
                now = await self._service.taught.now()
                if now.newest_sequence is None:
                    raise TaughtError("there is no sequence to play: add one on the page Teach")
                sequence = now.taught.sequences[now.newest_sequence]
                text = to_program(sequence, now.taught, self._service.arm)

                async def has_left() -> bool:
                    self._desk.require(who)  # somebody may have taken control meanwhile
                    return False

                wanted = Wanted(sequence.name, text, taught=sequence.id)
                await self._service.runs.play(wanted, has_left, who.name, halts)
        finally:
            self._plays = False

    # ---- what is refused is told, not raised ------------------------------------------------

    def _try(self, joint: str, work: Callable[[], None]) -> None:
        try:
            work()
        except Refused as error:
            self._tell(joint, str(error))

    def _start(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(self._told(work))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _told(self, work: Coroutine[Any, Any, None]) -> None:
        try:
            await work
        except (Refused, TaughtError, StoreError, ProgramError, PlannerBusy) as error:
            self._tell("", str(error))

    def _tell(self, joint: str, sentence: str) -> None:
        """Whoever turns a control looks at the arm: the page and the journal say why not."""
        now = self._desk.now()
        if now - self._told_us.get(joint, -QUIET_US) < QUIET_US:
            return
        self._told_us[joint] = now
        where = f"the control of {joint}" if joint else "a joint's control"
        self._service.tell(Level.ATTENTION, "touch-refused", f"{where} was refused: {sentence}")
