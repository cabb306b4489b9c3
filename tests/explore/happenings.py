"""What may strike once: an outage, one thing that the operator does, or a crash."""

from collections.abc import Callable

from coordinator.core import events as ev
from protocol.drive import StopLevel
from simulator.network import BOTH, Direction
from tests.explore.found import Merged
from tests.explore.links import NAMES
from tests.explore.scope import Scope

MS = 1_000
STRUCK = NAMES[1]
"""The joint that is cut off or loses its power, but for what says it is the first one."""
FIRST = NAMES[0]
"""The joint that is behind the others in a resume, and advances."""


def _ask(command: Callable[[], ev.Command]) -> Callable[[Scope], None]:
    def strike(scope: Scope) -> None:
        _accepted(lambda: scope.world.command(command()))

    return strike


def _accepted(ask: Callable[[], object]) -> None:
    """A refused command has changed nothing: that schedule is run without it too."""
    try:
        ask()
    except ev.Refused:
        raise Merged from None


def _play(scope: Scope) -> None:
    _accepted(scope.play)


def _cut(duration_ms: int, *ways: Direction, name: str = STRUCK) -> Callable[[Scope], None]:
    def strike(scope: Scope) -> None:
        scope.world.cut(name, duration_ms * MS, ways or BOTH)

    return strike


def _crash(scope: Scope) -> None:
    scope.world.kill_coordinator()


def _crash_and_return(scope: Scope) -> None:
    scope.world.kill_coordinator()
    scope.world.at(scope.world.now + 150 * MS, scope.world.start_coordinator)


def _reboot(name: str) -> Callable[[Scope], None]:
    def strike(scope: Scope) -> None:
        scope.world.kill_joint(name)
        scope.world.at(scope.world.now + 100 * MS, scope.world.restart_joint, name)

    return strike


def _stream_breaks(name: str) -> Callable[[Scope], None]:
    def strike(scope: Scope) -> None:
        scope.world.break_stream(name)

    return strike


STRIKE: dict[str, Callable[[Scope], None]] = {
    "hold": _ask(ev.Hold),
    "resume": _ask(ev.Resume),
    "stop": _ask(ev.Stop),
    "release": _ask(lambda: ev.Stop(StopLevel.STOP_AND_RELEASE)),
    "override": _ask(lambda: ev.Override(300_000)),
    "play": _play,
    "home": _ask(ev.Home),
    "cut": _cut(300),
    "cut-long": _cut(2_500),
    "cut-to": _cut(800, "forward"),
    "cut-from": _cut(800, "back"),
    "stream": _stream_breaks(STRUCK),
    "crash": _crash,
    "crash-back": _crash_and_return,
    "reboot": _reboot(STRUCK),
    "first-cut": _cut(300, name=FIRST),
    "first-cut-long": _cut(2_500, name=FIRST),
    "first-cut-to": _cut(800, "forward", name=FIRST),
    "first-cut-from": _cut(800, "back", name=FIRST),
    "first-stream": _stream_breaks(FIRST),
    "first-reboot": _reboot(FIRST),
}
OPERATOR = ("hold", "resume", "stop", "release", "override", "play", "home")
OUTAGES = ("cut", "cut-long", "cut-to", "cut-from", "stream")
CRASHES = ("crash", "crash-back", "reboot")
TO_FIRST = tuple(name for name in STRIKE if name.startswith("first-"))
