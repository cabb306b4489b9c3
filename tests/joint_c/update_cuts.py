"""Power that goes while firmware comes, and what a board is like afterwards.

Board and joint are killed, which shows what they do in which order, not what a flash memory does
without power.
"""

import random
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path

from tests.joint_c.bare import Board
from tests.joint_c.updated import NEW, OLD, Updated, require_told
from tests.joint_c.updating import Gone, Signed, stream

EXIT_CUT = 9
"""Of a board whose power went at a step on its disk."""
PUT_STEPS = 7
"""On the disk, in which a record is stored."""


class Phase(Enum):
    """What a coordinator had heard last when the power went."""

    NOTHING = "nothing"
    ANNOUNCED = "that the image may come"
    PART = "that a part of it came"
    INSTALLED = "that it restarts with it"
    ON_TRIAL = "that it runs on trial"
    CONFIRMED = "that it stays"


class Found(Enum):
    """What came up when power was back."""

    OLD = "the old firmware"
    TRIAL = "the new one, on trial"
    NEW = "the new one, for good"


@dataclass(slots=True)
class Update:
    """One update as far as it went, by what the coordinator heard."""

    phase: Phase = Phase.NOTHING
    told: int = 0
    """Bytes that the joint said are kept."""
    sent: int = 0
    """Bytes that were acknowledged, at least; so many and what was under way may be there."""
    found: Found | None = None
    kept: int = 0
    """Bytes with which it went on after the power was back."""
    took_s: float = 0.0
    """From the power on to the confirmation, where nothing befell it."""


@dataclass(frozen=True, slots=True)
class Cut:
    """An update of a board whose power goes meanwhile, once or never."""

    board: Updated
    image: Signed
    update: Update = field(default_factory=Update)

    def play(self, *options: str, pull: Callable[[Board], None] | None = None) -> int | None:
        """As far as it goes; `pull` is given the board when it begins. The board's exit code where
        its power went by itself.
        """
        with self.board.power(*options) as (one, port):
            if pull is not None:
                pull(one)
            began = time.monotonic()
            try:
                self._bring(one, port)
            except Gone:
                return one.process.wait()
            self.update.took_s = time.monotonic() - began
            return None

    def _bring(self, one: Board, port: int) -> None:
        update, image = self.update, self.image

        def alive() -> bool:
            return one.process.poll() is None

        with stream(port, alive) as link:
            if link.welcome.firmware == OLD:
                update.told = link.announce(image)
                update.phase = Phase.ANNOUNCED
                for sent in link.bring(image, update.told):
                    update.phase, update.sent = Phase.PART, sent
                link.install()
                update.phase = Phase.INSTALLED
                link.closing_code()
        with stream(port, alive) as link:
            if link.welcome.on_trial:
                update.phase = Phase.ON_TRIAL
                link.drive()
            if link.welcome.firmware == NEW:
                update.phase = Phase.CONFIRMED

    def require_recovers(self) -> Found:
        """Power is back: it comes up with the old firmware or the new, knows all that it was told,
        and takes the update to its end, which a further restart leaves.
        """
        update, image = self.update, self.image
        with self.board.power() as (one, port):
            with stream(port) as link:
                welcome = link.welcome
                update.found = (
                    Found.OLD
                    if welcome.firmware == OLD
                    else Found.TRIAL
                    if welcome.on_trial
                    else Found.NEW
                )
                new = update.found is not Found.OLD
                require_told(welcome, image if new else None, update.found is Found.TRIAL)
                self.board.require_kept(one, NEW if new else OLD)
                self._require_possible(update.found)
                if not new:
                    update.kept = link.announce(image)
                    if update.phase in (Phase.NOTHING, Phase.ANNOUNCED, Phase.PART):
                        assert update.kept >= update.told
                    link.bring_all(image, update.kept)
                    link.install()
                    link.closing_code()
            with stream(port) as link:
                require_told(link.welcome, image, on_trial=update.found is not Found.NEW)
                link.drive()
            with stream(port) as link:
                require_told(link.welcome, image, on_trial=False)
            one.pull()
        with self.board.power() as (one, port):
            self.board.require_kept(one, NEW)
            with stream(port) as link:
                require_told(link.welcome, image, on_trial=False)
        names = {file.name for file in self.board.bench.memory.iterdir()}
        assert names <= {"board", "arm.key", "updates", "slot-a", "slot-b", "restart"}
        return update.found

    def _require_possible(self, found: Found) -> None:
        """An answer may be lost, a promise may not be broken."""
        update = self.update
        unsent = update.sent < len(self.image.data)
        if update.phase in (Phase.NOTHING, Phase.ANNOUNCED, Phase.PART) and unsent:
            assert found is Found.OLD
        elif update.phase is Phase.CONFIRMED:
            assert found is Found.NEW


def cut_at_random(
    memory: Path, build: Path, folder: Path, image: Signed, draw: random.Random, span_s: float
) -> Update:
    """An update whose board is pulled at an instant within `span_s` of its beginning, after which
    it recovers.
    """
    cut = Cut(Updated.copy_of(memory, build, folder), image)
    timers: list[threading.Timer] = []

    def pull(one: Board) -> None:
        timers.append(threading.Timer(draw.uniform(0, span_s), one.pull))
        timers[0].start()

    cut.play(pull=pull)
    for timer in timers:
        timer.join()
    cut.require_recovers()
    return cut.update
