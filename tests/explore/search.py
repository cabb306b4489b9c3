"""Depth-first search over all that a run could have met.

A run goes tick by tick. Before each tick the world is copied; then one copy goes on with every
message as usual, and for each message that the tick sent, and each fate it could have met, another
copy goes on with that. What may happen, happens between two ticks, again in a copy. So no beginning
of a run is run twice. A run is named by its decisions; `replay` runs one alone.
"""

import time
import traceback
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from tests.campaign.clone import clone
from tests.explore.found import Found, Merged
from tests.explore.happenings import STRIKE
from tests.explore.links import TICK_US, Fate
from tests.explore.scope import Scope
from tests.explore.stories import AROUND, Family

NEAR_US = 6 * TICK_US
"""After a deviation so much later something may still happen: longer than a turn of the drives."""


class Search:
    """All runs of a family, or this worker's share of them."""

    def __init__(
        self, family: Family, *, worker: int = 0, workers: int = 1, stop_after: int = 20
    ) -> None:
        self.family = family
        self.found = Found()
        self._worker = worker
        self._workers = workers
        self._stop_after = stop_after
        self._branches = 0

    def run(self) -> Found:
        """Search until everything is seen, or too much is wrong."""
        begun = time.monotonic()
        with suppress(_Enough):
            self._walk(begin(self.family, self.found), 0, self.family.depth)
        self.found.seconds = time.monotonic() - begun
        return self.found

    # ---- inside -------------------------------------------------------------------------------

    def _walk(self, scope: Scope, tick: int, left: int) -> None:
        """All ways to go on from the beginning of a tick."""
        ours = bool(scope.decisions) or self._worker == 0
        try:
            while tick < self.family.ticks:
                may_strike = self._may_strike(scope)
                if not (may_strike or left):
                    break
                kept = clone(scope)
                if may_strike:
                    self._strike(kept, tick, left)
                asked = scope.step({})
                if left:
                    self._deviate(kept, tick, {}, asked, left)
                tick += 1
            if ours:
                for _ in range(tick, self.family.ticks):
                    scope.step({})
                scope.finish()
                self.found.schedules += 1
        except Merged:
            self.found.merged += 1
        except _Enough:
            raise
        except Exception as error:  # noqa: BLE001 - whatever it is, it belongs to this run
            self._wrong(scope, error)

    def _may_strike(self, scope: Scope) -> bool:
        late = scope.deviated_us is not None and scope.world.now > scope.deviated_us + NEAR_US
        return bool(self.family.happenings) and scope.struck is None and not late

    def _strike(self, kept: Scope, tick: int, left: int) -> None:
        for name in self.family.happenings:
            if not kept.decisions and not self._mine():
                continue
            scope = clone(kept)
            scope.ask_about(self.family.width)
            try:
                scope.strike(name, STRIKE[name], tick)
            except Merged:
                self.found.merged += 1
                continue
            except Exception as error:  # noqa: BLE001
                self._wrong(scope, error)
                continue
            self._walk(scope, tick, left)

    def _deviate(
        self,
        kept: Scope,
        tick: int,
        script: dict[int, Fate],
        asked: list[tuple[int, bool]],
        left: int,
    ) -> None:
        """Run the tick again for each further deviation after those in `script`."""
        for message, datagram in asked:
            if script and message <= max(script):
                continue
            for fate in self.family.fates if datagram else (Fate.LOST,):
                if not kept.decisions and not script and not self._mine():
                    continue
                scope, more = clone(kept), {**script, message: fate}
                try:
                    further = scope.step(more)
                except Merged:
                    self.found.merged += 1
                    continue
                except Exception as error:  # noqa: BLE001
                    self._wrong(scope, error)
                    continue
                if left > 1:
                    self._deviate(kept, tick, more, further, left - 1)
                self._walk(scope, tick + 1, left - 1)

    def _mine(self) -> bool:
        """First branches are dealt out to the workers in turn."""
        self._branches += 1
        return self._branches % self._workers == self._worker

    def _wrong(self, scope: Scope, error: Exception) -> None:
        self.found.schedules += 1
        self.found.violations.append((scope.decisions, describe(error)))
        if len(self.found.violations) >= self._stop_after:
            raise _Enough


class _Enough(Exception):
    """So many violations say enough."""


def search_share(family: Family, worker: int, workers: int) -> Found:
    """What one of some worker processes does."""
    return Search(family, worker=worker, workers=workers).run()


def begin(family: Family, found: Found) -> Scope:
    """A family's world at the instant from which on anything may happen."""
    scope = Scope(family.joints, found, rough=family.rough)
    AROUND[family.around](scope)
    scope.ask_about(family.width)
    return scope


def replay(family: Family, decisions: list[str]) -> Iterator[str]:
    """Run one schedule alone and tell what happens in it, line by line."""
    fates = {
        int(message): Fate(fate)
        for message, _, fate in (one.partition("=") for one in decisions if "=" in one)
    }
    strikes = [one.partition("@") for one in decisions if "@" in one]
    scope = begin(family, Found())
    scope.trace = []
    try:
        for tick in range(family.ticks):
            for name, _, at in strikes:
                if int(at) == tick:
                    scope.ask_about(family.width)
                    scope.strike(name, STRIKE[name], tick)
            scope.step(fates)
        scope.finish()
        verdict = "nothing is wrong"
    except Merged:
        verdict = "the same as a schedule without what changed nothing"
    except Exception as error:  # noqa: BLE001
        verdict = describe(error)
    yield from scope.trace
    yield from (f"{note.at_us} {note.code}: {note.message}" for note in scope.world.notes)
    unused = [one for one in decisions if one not in scope.decisions]
    if unused:
        yield f"never came to: {' '.join(unused)}"
    yield verdict


def describe(error: Exception) -> str:
    """What went wrong, in a sentence, with the place where it is not an invariant."""
    if isinstance(error, AssertionError) and str(error):
        return str(error)
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f"{type(error).__name__}: {error} ({Path(last.filename).name}:{last.lineno})"
