"""Updates of the software joints, in worlds of values and of bytes: the rules of either end met by
the other's, and not by a stand-in's.
"""

from dataclasses import replace
from functools import partial
from random import Random

import pytest

from coordinator.codes.update_phase import UpdatePhase as P
from coordinator.core import events as ev
from coordinator.core.updating.signed import SignedImage, read_signed
from coordinator.core.updating.updates import UpdateSnapshot
from coordinator.rehearsal.world import World
from protocol.drive import StopLevel
from protocol.image import encode_header
from simulator.joint.images import ImageStore
from tests.coordinator.core.kit import S, all_up, home, link, small_arm, unit, units, until
from tests.simulator.joint.signing import CAPACITY, SECRET, STRANGER, data_of, header_of, store

KEY = bytes(32)


def signed(data: bytes, key: object = SECRET, board: str = "software-joint") -> SignedImage:
    header = encode_header(header_of(data, board=board))
    assert isinstance(key, type(SECRET))
    return read_signed("firmware.image", header + key.sign(header) + data)


@pytest.fixture(name="world", params=["values", "bytes"])
def world_of_joints_that_take_images(request: pytest.FixtureRequest) -> World:
    return made(KEY if request.param == "bytes" else None)


def made(key: bytes | None = None, capacity: int = CAPACITY) -> World:
    arm, joints = small_arm(2), units(small_arm(2), 3)
    for one in joints:
        one.images = store(capacity)
        one.reboot(0)
    arm = replace(arm, joints=tuple(replace(joint, touch=False) for joint in arm.joints))
    world = World(arm, joints, "none", 3, key=key)
    until(world, lambda: all_up(world), 30 * S)
    return world


def images(world: World) -> ImageStore:
    found = unit(world, "base").images
    assert found is not None
    return found


def update(world: World) -> UpdateSnapshot:
    found = world.core.updates.snapshot()
    assert found is not None
    return found


def over(world: World) -> UpdateSnapshot:
    until(world, lambda: update(world).phase.is_over, 400 * S)
    return update(world)


def test_a_software_joint_is_updated_and_confirmed(world: World) -> None:
    data = data_of(1)
    world.command(ev.Update("base", signed(data)))
    assert over(world).message == "base: 1.5.0 confirmed; it was unisono-software-joint 1"
    assert images(world).running_sha256 == header_of(data).sha256.hex()
    assert not images(world).on_trial
    welcome = link(world, "base").welcome
    assert welcome is not None
    assert welcome.firmware == "1.5.0"
    # It is a joint as before: it homes and plays.
    until(world, lambda: all_up(world), 30 * S)
    home(world)


def test_a_foreign_signature_is_refused_by_the_joint(world: World) -> None:
    world.command(ev.Update("base", signed(data_of(1), STRANGER)))
    found = over(world)
    assert (found.phase, found.code) == (P.FAILED, "image-signature")
    assert images(world).running is None


def test_an_update_goes_before_and_after_motion_but_never_with_motors_on(world: World) -> None:
    home(world)
    world.run_for(1 * S)
    with pytest.raises(ev.Refused) as refused:
        world.command(ev.Update("base", signed(data_of(1))))
    assert refused.value.code == "energised"
    world.command(ev.Stop(StopLevel.STOP_AND_RELEASE))
    until(world, lambda: not any(one.orders.stop_wanted for one in world.core.links))
    world.run_for(1 * S)
    world.command(ev.Update("base", signed(data_of(1))))
    assert over(world).phase is P.DONE
    until(world, lambda: all_up(world), 30 * S)
    home(world, "base")


def test_one_whose_store_fails_says_so(world: World) -> None:
    world.command(ev.Update("base", signed(data_of(1))))
    images(world).fails = True
    found = over(world)
    assert (found.phase, found.code) == (P.FAILED, "image-store")


@pytest.mark.parametrize("seed", range(2))
def test_breaks_and_power_cuts_cost_time_and_nothing_else(seed: int) -> None:
    random, world = Random(seed), made(capacity=400_000)
    data = random.randbytes(300_000)
    world.command(ev.Update("base", signed(data)))
    breaks = 0
    while not update(world).phase.is_over and breaks < 30:
        floor = update(world).sent_bytes
        until(world, partial(_has_come, world, floor))
        if not update(world).phase.may_be_cancelled:
            break
        if random.random() < 0.4:
            world.kill_joint("base")
            world.run_for(random.randrange(S))
            world.restart_joint("base")
        else:
            world.break_stream("base")
        breaks += 1
    assert over(world).phase is P.DONE
    assert breaks == 30
    assert images(world).running_sha256 == header_of(data).sha256.hex()


def _has_come(world: World, floor: int) -> bool:
    found = update(world)
    return found.sent_bytes > floor + 4096 or not found.phase.may_be_cancelled
