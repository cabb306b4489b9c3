"""What comes of the joints' own controls: steps, holds, waypoints, under single control."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from coordinator.api.control import Who
from coordinator.api.control_routes import ControlDesk
from coordinator.api.touch import TouchHands
from coordinator.codes.refusal import RefusalCode
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.config.touch import Touch
from coordinator.core.events import Blink, Command, Hold, Refused, Step, Touched
from coordinator.playing.runs import Wanted
from coordinator.service import Service
from coordinator.teaching.sequence_edits import AddSequence

OTHER = Who("b" * 24, "a page on a computer")


@dataclass(slots=True)
class Bench:
    """A service that carries nothing out but keeps what it was asked."""

    service: Service
    desk: ControlDesk
    hands: TouchHands
    done: list[tuple[Command, str | None]] = field(default_factory=list)

    async def settle(self) -> None:
        """Let what began come to its end."""
        while self.hands._tasks:
            await asyncio.gather(*self.hands._tasks)

    @property
    def told(self) -> list[str]:
        return [note.message for note in self.service.snapshot().notes]


@pytest.fixture(name="bench")
async def bench_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Bench]:
    arm = load_arm(DEMO_ARM)
    deaf = tuple(replace(joint, touch=joint.name != "wrist") for joint in arm.joints)
    make_key(tmp_path)
    service = Service(replace(arm, joints=deaf), tmp_path, "127.0.0.1")
    desk = ControlDesk(service)
    bench = Bench(service, desk, TouchHands(service, desk, "touch"))

    def command(command: Command, who: str | None = None, *, detail: bool = False) -> None:
        bench.done.append((command, who))

    monkeypatch.setattr(service, "command", command)
    standing = {joint.name: 1.0 for joint in arm.joints}
    monkeypatch.setattr(service._core, "standing_deg", lambda _now: standing)
    yield bench
    await service.close()


async def test_a_turn_steps_that_joint_by_its_detents_and_takes_control(bench: Bench) -> None:
    bench.service.on_touch(Touched("elbow", -3, 0, 0))
    ((step, who),) = bench.done
    speed = bench.service.arm.jog_speeds.normal * bench.service.arm.joint("elbow").velocity_deg_s
    assert isinstance(step, Step)
    assert (step.joint, step.speed_deg_s) == ("elbow", speed)
    assert step.by_deg == pytest.approx(-0.3)
    assert who == "the control of elbow"
    assert bench.desk.state().name == "the control of elbow"


async def test_a_joint_that_is_set_not_to_listen_moves_and_records_nothing(bench: Bench) -> None:
    bench.service.on_touch(Touched("wrist", 5, 1, 1))
    await bench.settle()
    assert bench.done == []
    assert bench.desk.state().holder is None


async def test_while_another_has_control_a_turn_moves_nothing_and_that_is_told_once(
    bench: Bench,
) -> None:
    bench.desk.take(OTHER)
    for _ in range(20):
        bench.service.on_touch(Touched("elbow", 1, 0, 0))
    assert bench.done == []
    told = [line for line in bench.told if "the control of elbow was refused" in line]
    assert len(told) == 1
    assert OTHER.name in told[0]


async def test_a_press_holds_whoever_has_control(bench: Bench) -> None:
    bench.desk.take(OTHER)
    bench.service.on_touch(Touched("elbow", 0, 1, 0))
    assert bench.done == [(Hold(), "the control of elbow")]


async def test_a_long_press_records_into_the_sequence_that_was_changed_last(bench: Bench) -> None:
    keeper = bench.service.taught
    for name in ("first", "second"):
        now = await keeper.now()
        await keeper.edit(now.revision, AddSequence("add-sequence", name), "test")
    bench.service.on_touch(Touched("elbow", 0, 0, 1))
    await bench.settle()
    now = await keeper.now()
    (second,) = [one for one in now.taught.sequences.values() if one.name == "second"]
    assert len(second.visits) == 1
    blinks = [command.joint for command, _ in bench.done if isinstance(command, Blink)]
    assert blinks == [joint.name for joint in bench.service.arm.joints]


async def test_a_long_press_without_a_sequence_says_what_to_do(bench: Bench) -> None:
    bench.service.on_touch(Touched("elbow", 0, 0, 1))
    await bench.settle()
    assert any("add one on the page Teach" in line for line in bench.told)
    assert (await bench.service.taught.now()).taught.waypoints == {}


async def test_presses_do_what_the_arm_file_says(bench: Bench) -> None:
    bench.service.arm = replace(bench.service.arm, touch=Touch(0.5, "nothing", "hold"))
    bench.service.on_touch(Touched("elbow", 2, 1, 0))
    ((step, _),) = bench.done
    assert isinstance(step, Step)
    assert step.by_deg == pytest.approx(1.0)
    bench.service.on_touch(Touched("elbow", 0, 0, 1))
    assert [command for command, _ in bench.done[1:]] == [Hold()]


async def test_a_hundred_presses_a_second_are_as_many_holds_and_refusals_are_told_once(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(command: Command, who: str | None = None, *, detail: bool = False) -> None:
        raise Refused(RefusalCode.NOTHING_MOVES, "nothing moves")

    monkeypatch.setattr(bench.service, "command", refuse)
    for _ in range(100):
        bench.service.on_touch(Touched("elbow", 0, 1, 0))
    assert len([line for line in bench.told if "nothing moves" in line]) == 1


@dataclass(slots=True)
class Planning:
    """A play that takes its time, until `over` is set."""

    bench: Bench
    over: asyncio.Event = field(default_factory=asyncio.Event)
    begun: list[str] = field(default_factory=list)
    played: list[str] = field(default_factory=list)

    async def play(
        self, wanted: Wanted, has_left: Callable[[], Awaitable[bool]], who: str, halts: int
    ) -> int:
        self.begun.append(wanted.name)
        await self.over.wait()
        assert not await has_left()
        if self.bench.service.runs.halts != halts:
            raise Refused(RefusalCode.HALTED, "a hold or stop was asked for")
        self.played.append(wanted.name)
        return 1


@pytest.fixture(name="planning")
async def planning_of(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> Planning:
    """A press plays, and there is a sequence `tray`."""
    bench.service.arm = replace(bench.service.arm, touch=Touch(0.1, "play", "nothing"))
    await bench.service.taught.edit(0, AddSequence("add-sequence", "tray"), "test")
    planning = Planning(bench)
    monkeypatch.setattr(bench.service.runs, "play", planning.play)
    return planning


async def pressed(bench: Bench, planning: Planning) -> None:
    """One press, until its program is being planned."""
    bench.service.on_touch(Touched("elbow", 0, 1, 0))
    while not planning.begun:
        await asyncio.sleep(0)


async def test_a_press_plays_the_sequence_and_another_one_holds_while_it_is_planned(
    bench: Bench, planning: Planning
) -> None:
    await pressed(bench, planning)
    bench.service.on_touch(Touched("elbow", 0, 1, 0))
    assert [command for command, _ in bench.done] == [Hold()]
    planning.over.set()
    await bench.settle()
    assert planning.begun == ["tray"]


@pytest.mark.parametrize("what", ["halt", "takeover"])
async def test_a_stop_or_a_takeover_while_it_is_planned_keeps_it_from_beginning(
    bench: Bench, planning: Planning, what: str
) -> None:
    await pressed(bench, planning)
    if what == "halt":
        bench.service.runs.halt()
    else:
        bench.desk.take(OTHER)
    planning.over.set()
    await bench.settle()
    assert planning.played == []
    assert any("was refused" in line for line in bench.told)


async def test_a_press_that_plays_resumes_nothing(bench: Bench, planning: Planning) -> None:
    await pressed(bench, planning)
    planning.over.set()
    await bench.settle()
    assert planning.played == ["tray"]
    assert [command for command, _ in bench.done] == []
