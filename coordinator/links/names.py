"""Which announced names are being asked about: few enough, whatever strangers announce."""

import asyncio
import logging
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Iterator
from typing import Final

ASKED: Final = 64
"""Names asked about at once. An arm has fewer joints; whoever announces more is no arm."""
QUESTIONS: Final = 6
"""At once. Most joints say where they are together with their name, and need none."""
QUESTIONS_PER_S: Final = 1.0
"""After that: each costs some five multicasts, and whoever floods the network with names must
not make this host do so too. A joint that is passed over is found when joints are asked for
(`seeking`)."""
PAUSE_FIRST_S: Final = 1.0
PAUSE_LAST_S: Final = 60.0
_logger = logging.getLogger(__name__)


class Names:
    """Asks for each name until `ask` says that it is done with it, ever less often.

    When there are too many names, the one that was announced longest ago is given up: a joint
    answers within moments, so that names which do not cannot crowd it out. Needs a running loop.
    """

    def __init__(self, ask: Callable[[str], Awaitable[bool]]) -> None:
        self._ask = ask
        self._tasks: OrderedDict[str, asyncio.Task[None]] = OrderedDict()
        self._is_crowded = False

    def __len__(self) -> int:
        return len(self._tasks)

    def begin(self, name: str) -> None:
        """Ask about a name, anew if that is under way."""
        self.end(name)
        if len(self._tasks) >= ASKED:
            _, oldest = self._tasks.popitem(last=False)
            oldest.cancel()
            if not self._is_crowded:
                self._is_crowded = True
                _logger.warning(
                    "more than %d joints announce themselves and do not say where they are; only "
                    "the latest are asked",
                    ASKED,
                )
        task = asyncio.get_running_loop().create_task(self._until_done(name))
        self._tasks[name] = task
        task.add_done_callback(lambda done: self._drop(name, done))

    def end(self, name: str) -> None:
        """Ask about a name no more."""
        task = self._tasks.pop(name, None)
        if task is not None:
            task.cancel()

    def close(self) -> None:
        """Ask about nothing any more."""
        for name in list(self._tasks):
            self.end(name)

    async def _until_done(self, name: str) -> None:
        wait_s = pauses_s()
        while not await self._ask(name):
            await asyncio.sleep(next(wait_s))

    def _drop(self, name: str, task: asyncio.Task[None]) -> None:
        if self._tasks.get(name) is task:
            del self._tasks[name]


def pauses_s() -> Iterator[float]:
    """How long to wait before a name is asked about again: twice as long each time."""
    pause_s = PAUSE_FIRST_S
    while True:
        yield pause_s
        pause_s = min(2 * pause_s, PAUSE_LAST_S)


class Budget:
    """How many questions may be asked of the network now. `now_s` is a monotonic clock's."""

    def __init__(self) -> None:
        self._left = float(QUESTIONS)
        self._counted_s = 0.0

    def take(self, now_s: float) -> bool:
        """Whether one more may be asked; it counts as asked then."""
        grown = (now_s - self._counted_s) * QUESTIONS_PER_S
        self._left, self._counted_s = min(QUESTIONS, self._left + grown), now_s
        if self._left < 1.0:
            return False
        self._left -= 1.0
        return True
