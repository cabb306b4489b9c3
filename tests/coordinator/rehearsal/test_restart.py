"""Joints that restart by themselves in virtual time, by values and by bytes: with new firmware."""

from functools import partial

import pytest

from coordinator.core import events as ev
from coordinator.rehearsal.world import BEGIN_US, World
from protocol.constants import TRIAL_US
from protocol.image import ImageFrame
from protocol.messages import Install
from protocol.points import PointsFrame
from simulator.joint.images import BOARD
from simulator.joint.joint import Joint
from simulator.joint.refusal import Refusal
from simulator.unit import FIRMWARE
from tests.campaign.scenario import KEY, Scenario, make_arm, make_units
from tests.simulator.joint.signing import announcing, data_of, frames_of, header_of, store

SECOND = 1_000_000
DATA = data_of(1)


@pytest.fixture(params=["values", "bytes"])
def world(request: pytest.FixtureRequest) -> World:
    """Two joints, the first of which takes images."""
    scenario = Scenario(5, 2, 11, "quiet", (), ())
    arm = make_arm(scenario)
    units = make_units(scenario, arm, BEGIN_US)
    units[0].images = store()
    units[0].reboot(BEGIN_US)
    made = World(arm, units, "quiet", 5, key=KEY if request.param == "bytes" else None)
    assert made.run_until(lambda: up(made), 10 * SECOND)
    return made


def up(world: World) -> bool:
    return all(link.up and link.connection.configured for link in world.core.links)


def send(world: World, content: ev.Content) -> None:
    frame = ev.SendFrame(world.units[0].settings.id, 1 << 30, content)
    assert world.carrier.carry_out(world.laptop, frame) is not None
    world.run_for(SECOND // 10)


def updated(world: World) -> None:
    send(world, announcing(header_of(DATA)))
    for frame in frames_of(DATA):
        send(world, frame)
    send(world, Install())


def carried_out(content: ev.Content, joint: Joint, now: float) -> Refusal | None:
    if isinstance(content, ImageFrame):
        return joint.image_frame(content, now)
    assert not isinstance(content, PointsFrame)
    return joint.request(content, now)


def boots(world: World) -> list[int]:
    return [node.boot for node in world.nodes.values()]


def test_joint_restarts_with_what_came_and_is_met_again(world: World) -> None:
    welcome = world.core.links[0].connection.welcome
    assert welcome is not None
    assert (welcome.capabilities.board, welcome.firmware) == (BOARD, FIRMWARE)
    before = boots(world)
    updated(world)
    assert boots(world)[0] != before[0]
    assert boots(world)[1] == before[1]
    assert world.run_until(lambda: up(world), 10 * SECOND)
    welcome = world.core.links[0].connection.welcome
    assert welcome is not None
    assert (welcome.boot, welcome.firmware) == (boots(world)[0], "1.5.0")
    assert welcome.image == header_of(DATA).sha256.hex()
    world.run_for(SECOND)
    images = world.units[0].images
    assert images is not None
    assert not images.on_trial  # the coordinator's drives are answered


def test_joint_that_nobody_drives_goes_back_and_says_so(world: World) -> None:
    world.kill_coordinator()
    unit = world.units[0]
    images = unit.images
    assert images is not None
    steps: list[ev.Content] = [announcing(header_of(DATA)), *frames_of(DATA), Install()]
    for content in steps:
        assert unit.by_value(world.now, partial(carried_out, content)) is None
    world.poll(world.nodes[unit.settings.id])
    tried = boots(world)[0]
    assert unit.joint.identity.firmware == "1.5.0"
    world.run_for(TRIAL_US + SECOND)
    assert boots(world)[0] != tried
    assert unit.joint.identity.firmware == FIRMWARE
    world.start_coordinator()
    assert world.run_until(lambda: up(world), 10 * SECOND)
    welcome = world.core.links[0].connection.welcome
    assert welcome is not None
    assert (welcome.firmware, welcome.image) == (FIRMWARE, None)
