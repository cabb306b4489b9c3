"""What joints tell, and what the laptop's network does, reach people in words."""

import re
from pathlib import Path

import pytest

import protocol
from coordinator.core import events as ev
from coordinator.core.joint_words import held, stopped
from coordinator.core.run import Phase
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from protocol.messages import Held, Stopped
from tests.coordinator.core.kit import S, homed_world, moving, until_phase


def held_by(cause: str) -> Held:
    return Held(trajectory=1, at_us=7, path_us=1_500_000, ramp_began_us=0, cause=cause)


@pytest.mark.parametrize(
    ("cause", "words"),
    [
        ("permit", "tip holds at 1.500 s of the path: its permission to move ran out"),
        ("silence", "tip holds at 1.500 s of the path: it heard nothing for too long"),
        ("knock", "tip holds at 1.500 s of the path: knock"),
    ],
)
def test_hold_of_a_joint_is_told_with_its_cause(cause: str, words: str) -> None:
    assert held("tip", held_by(cause)) == words


@pytest.mark.parametrize("cause", ["permit", "withdrawn"])
def test_hold_of_the_whole_arm_is_told_by_its_own_cause_and_not_as_what_carried_it(
    cause: str,
) -> None:
    told = held("tip", held_by(cause), "the operator asked")
    assert told == "tip holds at 1.500 s of the path: it was told to hold: the operator asked"


def test_joint_that_holds_for_a_cause_of_its_own_tells_that_though_the_arm_holds_too() -> None:
    told = held("tip", held_by("silence"), "the operator asked")
    assert told == "tip holds at 1.500 s of the path: it heard nothing for too long"


def details(world: World) -> dict[str, str]:
    return {str(note.joint): note.message for note in world.notes if note.code == "joint-held"}


def test_joints_that_were_told_to_hold_say_so_and_the_one_that_was_lost_what_befell_it() -> None:
    world = homed_world("none")
    moving(world)
    world.command(ev.Hold(ev.Because.TAKEN_OVER))
    until_phase(world, Phase.HELD)
    world.run_for(1 * S)
    for name, message in details(world).items():
        assert message.endswith("it was told to hold: control was taken over"), name
    assert len(details(world)) == 3
    world.notes.clear()
    world.command(ev.Resume())
    until_phase(world, Phase.MOVING)
    world.run_for(1 * S)
    world.cut("tip", 2 * S)
    until_phase(world, Phase.HELD)
    world.run_for(5 * S)
    told = details(world)
    cause = "tip could not be reached in time to let it move on"
    assert told["base"].endswith(f"it was told to hold: {cause}")
    assert not told["tip"].rpartition(": ")[2].startswith("tip was")


def test_every_cause_that_the_wire_names_has_words() -> None:
    text = (Path(protocol.__file__).parent / "README.md").read_text()
    (line,) = [line for line in text.splitlines() if line.startswith("| `event-held` | `cause`")]
    causes = re.findall(r"`(\w+)`", line)[1:]
    assert len(causes) == 6
    for cause in causes:
        assert len(held("tip", held_by(cause)).rpartition(": ")[2].split()) > 2


def test_stop_that_takes_the_current_says_that_the_joint_can_sink() -> None:
    for level in StopLevel:
        words = stopped("tip", Stopped(at_us=7, level=level, position=0))
        sinks = level in (StopLevel.STOP_AND_RELEASE, StopLevel.RELEASE)
        assert ("can sink" in words) is sinks


def test_address_that_the_laptop_loses_and_gets_back_is_told() -> None:
    world = homed_world("none")
    for event in (ev.AddressGone("192.0.2.7"), ev.AddressBack("192.0.2.7")):
        world.core.handle(event, world.now)
    gone, back = list(world.core.outbox.notes)[-2:]
    assert (gone.level, gone.code) == ("danger", "address-gone")
    assert (back.level, back.code) == ("info", "address-back")
    assert "192.0.2.7" in gone.message
    assert "192.0.2.7" in back.message
