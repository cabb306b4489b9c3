"""Families of schedules: around which part of a run, what may happen, how much may deviate."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from random import Random

from coordinator.core import events as ev
from coordinator.core.run import Phase
from coordinator.rehearsal.laptop import Laptop
from protocol.constants import ADVANCE_RATE_PPM, PPM
from tests.campaign.hands import Hands
from tests.campaign.scenario import Happening
from tests.campaign.truth import path_us
from tests.explore.happenings import CRASHES, OPERATOR, OUTAGES, STRUCK, TO_FIRST
from tests.explore.links import GRIP, NAMES, PASSING, TICK_US, Fate
from tests.explore.scope import SETTLE_US, Scope

JOGS_DEG_S = {NAMES[0]: -10.0, NAMES[1]: -8.0}
STEPS_DEG = (-0.37, -0.37, 0.53)
"""No whole number of counts, so that rounding each of them would be seen."""
STEP_DEG_S = 10.0
ALL_FATES = (Fate.LOST, Fate.SLOW, Fate.LATE, Fate.TWICE, Fate.STALE, Fate.AGAIN)
FEW_FATES = (Fate.LOST, Fate.LATE, Fate.STALE)
TWO_FATES = (Fate.LOST, Fate.LATE)


@dataclass(frozen=True, slots=True)
class Family:
    """One scenario family."""

    name: str
    joints: int
    around: str
    """A key of `AROUND`."""
    ticks: int
    """How long something may happen or deviate."""
    depth: int = 1
    """Messages that may deviate in one run."""
    happenings: tuple[str, ...] = ()
    """At most one of these strikes in one run."""
    width: int | None = None
    """How many messages may deviate from the beginning on, and as many again from what happens on.
    None for all."""
    fates: tuple[Fate, ...] = ALL_FATES
    rough: bool = False


def _start(scope: Scope) -> None:
    """From *play* on."""
    scope.play()


def _arm(scope: Scope) -> None:
    """From *arm* on: all is loaded and prepared."""
    scope.play()
    scope.until("the start begins", lambda: scope.phase is Phase.STARTING, SETTLE_US)


def _moving(scope: Scope) -> None:
    """Once the arm runs at full rate."""
    scope.play()
    scope.until("the run moves", lambda: scope.phase is Phase.MOVING, SETTLE_US)
    _pass(scope, 60)


def _end(scope: Scope) -> None:
    """From shortly before the last point on."""
    scope.play()
    scope.until("the run moves", lambda: scope.phase is Phase.MOVING, SETTLE_US)
    run = scope.world.core.run
    end_us = run.point_feed.end_us if run is not None else None
    assert end_us is not None
    scope.until("the end is near", lambda: _furthest(scope) > end_us - 8 * TICK_US, SETTLE_US)


def _held(scope: Scope) -> None:
    """Held, and the joints apart: the hold did not come to one of them."""
    scope.play()
    scope.until("the run moves", lambda: scope.phase is Phase.MOVING, SETTLE_US)
    _pass(scope, 45)
    scope.world.cut(STRUCK, 10 * TICK_US)
    scope.world.command(ev.Hold())
    scope.until("the run is held", lambda: scope.phase is Phase.HELD, SETTLE_US)


def _resume(scope: Scope) -> None:
    """From *resume* on: an advance, and a start in the middle of the path."""
    _held(scope)
    scope.world.command(ev.Resume())


def _arrive(scope: Scope) -> None:
    """From shortly before the advance of a resume arrives: then *arm*, *go* and the start."""
    _resume(scope)
    behind = scope.world.node(NAMES[0])
    goal_us = _furthest(scope)

    def near() -> bool:
        here_us = path_us(behind, behind.unit.joint_us(scope.world.now))
        return here_us > goal_us - ADVANCE_RATE_PPM / PPM * 4 * TICK_US

    scope.until("the advance is about to arrive", near, SETTLE_US)


def _hold(scope: Scope) -> None:
    """From *hold* on."""
    _moving(scope)
    scope.world.command(ev.Hold())


def _override(scope: Scope) -> None:
    """From *override* on."""
    _moving(scope)
    scope.world.command(ev.Override(300_000))


def _stop(scope: Scope) -> None:
    """From *stop* on."""
    _moving(scope)
    scope.world.command(ev.Stop())


def _home(scope: Scope) -> None:
    """From *home* on, of an arm that is homed: its joints search their sensors again."""
    scope.world.command(ev.Home())


def _jog(scope: Scope) -> None:
    """Two joints while a control is held, until the hand has gone without letting go."""
    _keep_jogging(scope, scope.world.now + 30 * TICK_US)
    _pass(scope, 20)


def _keep_jogging(scope: Scope, until_us: int) -> None:
    if scope.world.laptop.awake:
        with suppress(ev.Refused):
            scope.world.command(ev.Jog(JOGS_DEG_S))
    if scope.world.now < until_us:
        scope.world.at(scope.world.now + 10 * TICK_US, _keep_jogging, scope, until_us)


def _steps(scope: Scope) -> None:
    """Exact steps of the joint that is struck, queued, the last one back."""
    laptop = scope.world.laptop
    scope.until(
        "the arm rests", lambda: all(one.rests(laptop.now) for one in scope.links), SETTLE_US
    )
    for by_deg in STEPS_DEG:
        scope.world.command(ev.Step(STRUCK, by_deg, STEP_DEG_S))
    _pass(scope, 4)


def _page(*ways: str, amount: float = JOGS_DEG_S[NAMES[0]]) -> Callable[[Scope], None]:
    """A page holds one of its controls for 300 ms, and its wishes travel in these ways."""

    def begin(scope: Scope) -> None:
        held = Happening(0, "hand", for_ms=300, amount=amount, ways=ways)
        place = {name: JOGS_DEG_S[name] / 2 for name in NAMES[:2]}
        _hands(scope).hold(held, [STRUCK, NAMES[0]], place)  # where it steps, the first of them
        _pass(scope, 20)

    return begin


def _two_pages(scope: Scope) -> None:
    """A page takes over from another one that holds a control still."""
    hands = _hands(scope)
    for page, amount in (("first", -10.0), ("other", -8.0)):
        held = Happening(0, "hand", for_ms=300, amount=amount, ways=(page,))
        hands.hold(held, list(NAMES[:2]), {})
        _pass(scope, 12)


def _hands(scope: Scope) -> Hands:
    return Hands(scope.world, scope.judge, _ask, Random(1))


def _switch(scope: Scope) -> None:
    """From shortly before an output switches, behind which an input is awaited."""
    scope.take(GRIP)
    _end(scope)


def _waiting(scope: Scope) -> None:
    """From the beginning of a wait on, through the start behind it."""
    scope.take(GRIP)
    scope.play()
    scope.until("the run waits", lambda: scope.phase is Phase.WAITING, SETTLE_US)


def _waiting_in_vain(scope: Scope) -> None:
    """Shortly before a wait is over for which the input did not come."""
    scope.world.node(STRUCK).unit.follows = False
    _waiting(scope)
    _pass(scope, 42)


def _corner(scope: Scope) -> None:
    """Where the arm passes corners without a rest."""
    scope.take(PASSING)
    scope.play()
    scope.until("the run moves", lambda: scope.phase is Phase.MOVING, SETTLE_US)
    end_us = scope.world.core.run.point_feed.end_us  # type: ignore[union-attr]
    assert end_us is not None
    scope.until("a corner is passed", lambda: _furthest(scope) > 0.4 * end_us, SETTLE_US)


def _corner_hold(scope: Scope) -> None:
    """From *hold* on, between two corners that are passed."""
    _corner(scope)
    scope.world.command(ev.Hold())


def _corner_resume(scope: Scope) -> None:
    """From *resume* on, in the middle of a path that passes its corners."""
    _corner_hold(scope)
    scope.until("the run is held", lambda: scope.phase is Phase.HELD, SETTLE_US)
    scope.world.command(ev.Resume())


def _touch(scope: Scope) -> None:
    """Both joints' controls are turned for a while."""
    world = scope.world
    hands = _hands(scope)
    hands.begin()
    nodes = [world.node(name) for name in NAMES[:2]]
    _pass(scope, 20)
    hands.touch(Happening(0, "turn", for_ms=150, amount=-30.0), nodes)
    _pass(scope, 8)


def _ask(command: ev.Command, laptop: Laptop) -> int | None:
    return laptop.command(command)


def _pass(scope: Scope, ticks: int) -> None:
    for _ in range(ticks):
        scope.tick()


def _furthest(scope: Scope) -> int:
    return max(link.status.path_us if link.status else 0 for link in scope.links)


AROUND: dict[str, Callable[[Scope], None]] = {
    "start": _start,
    "arm": _arm,
    "moving": _moving,
    "end": _end,
    "held": _held,
    "resume": _resume,
    "arrive": _arrive,
    "hold": _hold,
    "override": _override,
    "stop": _stop,
    "home": _home,
    "jog": _jog,
    "touch": _touch,
    "steps": _steps,
    "way": _page("go", "gone"),
    "wish-late": _page("late"),
    "wish-mixed": _page("twice", "mixed"),
    "wish-step": _page("step", "twice", "mixed", amount=STEPS_DEG[0]),
    "two-pages": _two_pages,
    "switch": _switch,
    "wait": _waiting,
    "wait-in-vain": _waiting_in_vain,
    "corner-hold": _corner_hold,
    "corner-resume": _corner_resume,
}

EVERYTHING = (*OPERATOR, *OUTAGES, *CRASHES)

FAMILIES = (
    # Only messages deviate: every pair of those sent in so many ticks, by the fates named.
    Family("start", 2, "start", ticks=14, depth=2),
    Family("start-rough", 2, "start", ticks=30, depth=2, fates=FEW_FATES, rough=True),
    Family("moving", 2, "moving", ticks=9, depth=2),
    Family("hold", 2, "hold", ticks=10, depth=2),
    Family("override", 2, "override", ticks=10, depth=2),
    Family("stop", 2, "stop", ticks=8, depth=2),
    Family("resume", 2, "arrive", ticks=20, depth=2, fates=FEW_FATES),
    Family("end", 2, "end", ticks=12, depth=2),
    Family("home", 2, "home", ticks=12, depth=1),
    Family("jog", 2, "jog", ticks=12, depth=1),
    Family("touch", 2, "touch", ticks=14, depth=1),
    Family("steps", 2, "steps", ticks=14, depth=1),
    Family("way", 2, "way", ticks=14, depth=1),
    Family("wish-late", 2, "wish-late", ticks=12, depth=1),
    Family("wish-mixed", 2, "wish-mixed", ticks=12, depth=1),
    Family("wish-step", 2, "wish-step", ticks=12, depth=1),
    Family("two-pages", 2, "two-pages", ticks=12, depth=1),
    # One thing happens, at every tick, and one of the next few messages deviates, or of the first.
    Family("start+1", 2, "start", 16, 1, EVERYTHING, width=6, fates=TWO_FATES),
    Family("moving+1", 2, "moving", 5, 1, EVERYTHING, width=8, fates=FEW_FATES),
    Family("held+1", 2, "held", 5, 1, EVERYTHING, width=8, fates=FEW_FATES),
    Family("resume+1", 2, "resume", 6, 1, EVERYTHING, width=6, fates=TWO_FATES),
    Family("arrive+1", 2, "arrive", 18, 1, EVERYTHING, width=6, fates=TWO_FATES),
    Family("end+1", 2, "end", 16, 1, EVERYTHING, width=6, fates=TWO_FATES),
    Family("arrive+first", 2, "arrive", 18, 1, TO_FIRST, width=6, fates=TWO_FATES),
    Family("home+1", 2, "home", 16, 0, (*EVERYTHING, *TO_FIRST)),
    Family("jog+1", 2, "jog", 12, 0, EVERYTHING),
    Family("touch+1", 2, "touch", 14, 0, EVERYTHING),
    Family("steps+1", 2, "steps", 14, 0, EVERYTHING),
    Family("way+1", 2, "way", 14, 0, EVERYTHING),
    Family("wish-late+1", 2, "wish-late", 12, 0, EVERYTHING),
    Family("wish-mixed+1", 2, "wish-mixed", 12, 0, EVERYTHING),
    Family("wish-step+1", 2, "wish-step", 12, 0, EVERYTHING),
    Family("two-pages+1", 2, "two-pages", 12, 0, EVERYTHING),
    # Outputs, waits for an input, and corners that are passed: one message, or one thing.
    Family("switch", 2, "switch", ticks=14, depth=1),
    Family("wait", 2, "wait", ticks=26, depth=1, fates=FEW_FATES),
    Family("wait-in-vain", 2, "wait-in-vain", ticks=14, depth=1, fates=FEW_FATES),
    Family("corner-hold", 2, "corner-hold", ticks=10, depth=1),
    Family("corner-resume", 2, "corner-resume", ticks=24, depth=1, fates=FEW_FATES),
    Family("switch+1", 2, "switch", 14, 0, EVERYTHING),
    Family("wait+1", 2, "wait", 26, 0, EVERYTHING),
    Family("wait-in-vain+1", 2, "wait-in-vain", 14, 0, EVERYTHING),
    Family("corner-hold+1", 2, "corner-hold", 10, 0, EVERYTHING),
    Family("corner-resume+1", 2, "corner-resume", 24, 0, EVERYTHING),
    # Three joints: one message deviates, or one thing happens.
    Family("start-3", 3, "start", ticks=30, depth=1),
    Family("resume-3", 3, "arrive", ticks=24, depth=1),
    Family("hold-3", 3, "hold", ticks=12, depth=1),
    Family("override-3", 3, "override", ticks=12, depth=1),
    Family("start-3+1", 3, "start", 20, 0, EVERYTHING),
    Family("arrive-3+1", 3, "arrive", 24, 0, EVERYTHING),
    Family("end-3+1", 3, "end", 20, 0, EVERYTHING),
)
