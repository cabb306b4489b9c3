"""Rules of touch and of pages' hands notice what they are there for, each with a safeguard gone."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from coordinator.api.control_routes import ControlDesk
from coordinator.api.hand import Hand
from coordinator.api.touch import TouchHands
from coordinator.api.wishes import Wishes
from coordinator.core import events as ev
from coordinator.core.homing import HomingSequence, HomingState
from coordinator.core.jogging import Jog, JogOrder
from coordinator.core.link.link import JointLink
from coordinator.core.machine import Coordinator
from coordinator.core.run import Phase
from coordinator.core.touch import Counted, TouchWatch
from protocol.constants import US
from protocol.status import Status
from tests.campaign.happenings import Happenings
from tests.campaign.invariants import ALWAYS
from tests.campaign.judge import Violated
from tests.campaign.rule_kit import SCENARIO, phase
from tests.campaign.scenario import Happening, Scenario
from tests.campaign.stage import Stage, stage_of

Patch = pytest.MonkeyPatch
LISTENS = replace(SCENARIO, arm_seed=10)
"""Both joints listen, a detent is 0.5°, a press holds, a long one plays."""
DEAF = replace(SCENARIO, arm_seed=2)
"""The first joint does not listen; a press holds."""


class Bench:
    """An arm at rest, and what hands do to it."""

    def __init__(self, scenario: Scenario = LISTENS) -> None:
        self.stage: Stage = stage_of(scenario, ALWAYS)
        self.happenings = Happenings(scenario, self.stage.world, self.stage.judge)
        self.happenings.hands.begin()
        self.stage.world.run_for(US)

    def happen(self, what: str, *joints: int, for_ms: int = 0, amount: float = 0.0,
               ways: tuple[str, ...] = ()) -> None:  # fmt: skip
        """Something happens in an instant, so that what breaks at once breaks in the world."""
        one = Happening(0, what, joints or (0,), for_ms, amount, ways)
        self.stage.world.at(self.stage.world.now + 1, self.happenings._happen, one)

    def turn(self, detents: int, joint: int = 0, for_ms: int = 0) -> None:
        """A control is turned."""
        self.happen("turn", joint, for_ms=for_ms, amount=float(detents))

    def run(self, ms: int) -> None:
        """Let time pass."""
        self.stage.world.run_for(ms * 1000)

    @property
    def counts(self) -> list[int]:
        """Where the joints say they are."""
        return self.stage.world.core.start_counts()


def broken_by(bench: Bench, provoke: Callable[[Bench], None]) -> str:
    """The rule that is broken by what happens, or soon after; fails where none is."""

    def befall() -> None:
        provoke(bench)
        bench.run(20_000)

    with pytest.raises(Violated) as caught:
        befall()
    return caught.value.invariant


# ---- nothing is broken --------------------------------------------------------------------------


def test_turns_and_presses_at_any_time_break_nothing_and_turn_joints_by_their_detents() -> None:
    bench = Bench()
    first, second = bench.counts
    bench.turn(-4)
    bench.turn(-2, 1, for_ms=500)
    bench.run(4_000)
    joints = bench.stage.world.arm.joints
    assert bench.counts == [
        first + round(-2.0 * joints[0].counts_per_degree),
        second + round(-1.0 * joints[1].counts_per_degree),
    ]
    bench.happen("press", 0, 1, for_ms=1_000, amount=100.0)
    bench.run(2_000)


def test_what_is_done_in_a_gap_at_a_deaf_joint_or_while_a_program_plays_moves_nothing() -> None:
    bench = Bench(DEAF)
    before = bench.counts
    bench.turn(-3)
    bench.happen("outage", 1, for_ms=3_000, ways=("forward", "back"))
    bench.run(500)
    bench.turn(-3, 1)
    bench.run(5_000)
    assert bench.counts == before
    assert bench.happenings.play()
    world = bench.stage.world
    assert world.run_until(lambda: phase(world) is Phase.MOVING, 10 * US)
    bench.turn(-3, 1)
    bench.run(1_000)
    assert phase(world) is Phase.MOVING
    assert bench.happenings.refused["step: running"] == 1


@pytest.mark.parametrize(
    "ways", [(), ("late",), ("twice",), ("mixed",), ("go", "mixed"), ("gone",)]
)
def test_hands_of_two_pages_one_after_another_break_nothing(ways: tuple[str, ...]) -> None:
    bench = Bench()
    before = bench.counts
    bench.happen("hand", 0, 1, for_ms=1_000, amount=-5.0, ways=ways)
    bench.run(500)
    bench.happen("hand", 1, for_ms=1_000, amount=-5.0, ways=("other", *ways))
    bench.run(5_000)
    assert bench.counts != before
    assert not bench.stage.world.core.jogging


@pytest.mark.parametrize("ways", [(), ("late",), ("twice",), ("mixed",), ("gone",), ("other",)])
def test_homings_that_hands_hold_and_let_go_break_nothing(ways: tuple[str, ...]) -> None:
    bench = Bench()
    bench.happen("hand", 0, for_ms=700, ways=("home", *ways))
    bench.run(400)
    bench.happen("hand", 1, for_ms=900, ways=("home", "other", *ways))
    bench.run(6_000)
    assert not bench.stage.world.core.moved_by_hand


def test_a_homing_that_a_hand_holds_to_its_end_is_one_and_is_stopped_by_nobody() -> None:
    bench = Bench()
    bench.happen("hand", 0, for_ms=30_000, ways=("home",))
    bench.run(32_000)
    homing = bench.stage.world.core.homing
    assert homing is not None
    assert (homing.state, homing.held) == (HomingState.DONE, True)
    assert len(bench.counts) == 2


# ---- what is taken out is noticed: touch --------------------------------------------------------


def in_a_gap(bench: Bench) -> None:
    """Turned while nobody hears the joint."""
    bench.happen("outage", for_ms=3_000, ways=("forward", "back"))
    bench.run(500)
    bench.turn(-3)


def through_a_restart(bench: Bench) -> None:
    """Turned before the joint restarts, and not after."""
    bench.turn(-3)
    bench.run(3_000)
    bench.happen("reboot", for_ms=50)


def asleep(bench: Bench) -> None:
    """Turned while the laptop sleeps."""
    bench.happen("sleep", for_ms=3_000)
    bench.run(500)
    bench.turn(-3)


def awake(bench: Bench) -> None:
    """Turned twice, and well."""
    bench.turn(-3)
    bench.run(2_000)
    bench.turn(-3)


def jogged_and_pressed(bench: Bench) -> None:
    """Pressed while a page jogs."""
    bench.happen("hand", 1, for_ms=2_000, amount=-5.0)
    bench.run(500)
    bench.happen("press", 1, amount=1.0)


def played_and_turned(bench: Bench) -> None:
    """Turned while the arm is on its path."""
    world = bench.stage.world
    assert bench.happenings.play()
    assert world.run_until(lambda: phase(world) is Phase.MOVING, 10 * US)
    bench.turn(-3)


def obeys_what_is_old(patch: Patch) -> None:
    """However long ago it was."""
    patch.setattr("coordinator.core.touch.TOUCH_OLD_US", 60 * US)


def knows_no_sleep(patch: Patch) -> None:
    """Arm time stood still meanwhile."""
    patch.setattr(TouchWatch, "forget", lambda watch: None)


def knows_no_restart(patch: Patch) -> None:
    """A joint that restarted counts from 0 again."""

    def counted(status: Status) -> Counted:
        return Counted(0, status.touch_turn, status.touch_presses, status.touch_long_presses)

    patch.setattr("coordinator.core.touch._counted", counted)


def tells_again(patch: Patch) -> None:
    """What was told before is told with what is new."""
    observe, kept = TouchWatch.observe, list[ev.Touched]()

    def again(watch: TouchWatch, link: JointLink, sent_us: int, now: int) -> ev.Touched | None:
        told = observe(watch, link, sent_us, now)
        if told is None:
            return None
        kept.append(told)
        return replace(told, turn=sum(one.turn for one in kept))

    patch.setattr(TouchWatch, "observe", again)


def turns_twice_as_far(patch: Patch) -> None:
    """Two detents for one."""
    step = TouchHands._step

    def twice(hands: TouchHands, one: ev.Step, who: object) -> None:
        step(hands, replace(one, by_deg=2 * one.by_deg), who)  # type: ignore[arg-type]

    patch.setattr(TouchHands, "_step", twice)


def goes_further(patch: Patch) -> None:
    """The joint is told another target than was asked for."""
    fields = Jog.drive_fields

    def further(jog: Jog, link: JointLink, now: int) -> JogOrder | None:
        order = fields(jog, link, now)
        if order is None or order.target is None:
            return order
        return replace(order, target=order.target - 500)

    patch.setattr(Jog, "drive_fields", further)


def holds_nothing(patch: Patch) -> None:
    """A press is heard, and nothing is done."""
    patch.setattr(TouchHands, "_hold", lambda hands, who: None)


def steps_on_its_path(patch: Patch) -> None:
    """A step waits neither for the end of a run nor for rest."""

    def base(jog: Jog, link: JointLink, now: int) -> int:
        assert link.status is not None
        return link.status.position

    patch.setattr(Coordinator, "require_no_run", lambda core, wanted: None)
    patch.setattr(Jog, "_base", base)


@pytest.mark.parametrize(
    ("take_out", "provoke"),
    [
        (obeys_what_is_old, in_a_gap),
        (knows_no_sleep, asleep),
        (knows_no_restart, through_a_restart),
        (tells_again, awake),
        (turns_twice_as_far, awake),
        (goes_further, awake),
        (holds_nothing, jogged_and_pressed),
        (steps_on_its_path, played_and_turned),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_touch_without_a_safeguard_is_noticed(
    take_out: Callable[[Patch], None],
    provoke: Callable[[Bench], None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = Bench()
    take_out(monkeypatch)
    assert broken_by(bench, provoke) == "touch"


@pytest.mark.parametrize(
    "provoke", [in_a_gap, asleep, through_a_restart, awake, jogged_and_pressed]
)
def test_the_same_with_all_safeguards_breaks_nothing(provoke: Callable[[Bench], None]) -> None:
    bench = Bench()
    provoke(bench)
    bench.run(20_000)


def test_joint_that_listens_though_it_is_set_not_to_is_noticed() -> None:
    bench = Bench(DEAF)
    door = bench.happenings.hands.door
    hearing = tuple(replace(joint, touch=True) for joint in door.arm.joints)
    door.arm = replace(door.arm, joints=hearing)
    assert broken_by(bench, awake) == "touch"


# ---- what is taken out is noticed: hands --------------------------------------------------------


def obeys_old_wishes(patch: Patch) -> None:
    """However long they waited."""
    patch.setattr("coordinator.api.wishes.JOG_OLD_US", 60 * US)


def obeys_every_wish(patch: Patch) -> None:
    """In whatever order it comes, and however often."""
    take = Wishes.take

    def forgetful(wishes: Wishes, text: str, now: int) -> object:
        wishes._last = 0
        return take(wishes, text, now)

    patch.setattr(Wishes, "take", forgetful)


def takes_over_in_silence(patch: Patch) -> None:
    """What moved for another goes on."""

    def take(desk: ControlDesk, who: object) -> None:
        desk.control.take(who, desk.now(), moving=True)  # type: ignore[arg-type]

    patch.setattr(ControlDesk, "take", take)


def goes_on_alone(patch: Patch) -> None:
    """A hand that has gone is not missed."""
    patch.setattr(Hand, "end", lambda hand, who: None)


@pytest.mark.parametrize(
    ("take_out", "ways"),
    [
        (obeys_old_wishes, ("late",)),
        (obeys_every_wish, ("twice", "mixed")),
        (takes_over_in_silence, ()),
        (goes_on_alone, ("gone",)),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_hands_without_a_safeguard_are_noticed(
    take_out: Callable[[Patch], None], ways: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench()
    take_out(monkeypatch)

    def jog(bench: Bench) -> None:
        for _ in range(3):  # what a page's wishes meet is drawn
            bench.happen("hand", for_ms=700, amount=-5.0, ways=ways)
            bench.run(1)
        if not ways:
            bench.run(300)
            bench.happen("hand", 1, for_ms=700, amount=-5.0, ways=("other",))

    assert broken_by(bench, jog) == "hand"


def homes_on(patch: Patch) -> None:
    """A homing that was held goes on as its control is let go."""
    patch.setattr(HomingSequence, "_is_let_go", lambda homing, link, now: False)


@pytest.mark.parametrize(
    ("take_out", "ways", "rule"),
    [
        (homes_on, (), "I11"),
        (obeys_old_wishes, ("late",), "hand"),
        (goes_on_alone, ("gone",), "hand"),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_held_homings_without_a_safeguard_are_noticed(
    take_out: Callable[[Patch], None],
    ways: tuple[str, ...],
    rule: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = Bench()
    take_out(monkeypatch)

    def hold(bench: Bench) -> None:
        for _ in range(3):  # what a page's wishes meet is drawn
            bench.happen("hand", for_ms=700, ways=("home", *ways))
            bench.run(1)

    assert broken_by(bench, hold) == rule
