"""The supply of a whole arm whose joints feel each other's draw: fitted, and warned of in time."""

from dataclasses import replace
from random import Random
from typing import Any

from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.snapshot.arm import arm_snapshot
from coordinator.core.snapshot.joint import SupplySnapshot
from coordinator.rehearsal.shared_supply import SharedSupply
from coordinator.rehearsal.world import World
from protocol.status import Fault
from simulator.physics.slip_ring import SlipRing
from tests.coordinator.core.kit import S, all_up, play, small_arm, units, until


def fed_world(*ohm: float) -> World:
    """Its joints are fed one from the other, by hops of so many ohms, and home slowly."""
    arm = small_arm()
    slow = [
        replace(joint, homing=replace(joint.homing, fast_deg_s=1.5, slow_deg_s=0.5))
        for joint in arm.joints
    ]
    arm = replace(arm, joints=tuple(slow))
    joints = units(arm, 1)
    for one, hop in zip(joints, ohm, strict=True):
        one.ring = SlipRing(hop, 0.0, 0.0, Random(1))
    world = World(arm, joints, "none", 1)
    SharedSupply(world.schedule, joints)
    until(world, lambda: all_up(world))
    world.run_for(5 * S)
    return world


def home(world: World) -> None:
    world.command(ev.Home())
    homing = world.core.homing
    assert homing is not None
    until(world, lambda: homing.state is not HomingState.RUNNING, 200 * S)
    assert homing.state is HomingState.DONE, homing.message
    world.run_for(6 * S)


def supplies(world: World) -> dict[str, SupplySnapshot]:
    return {one.name: one.supply for one in arm_snapshot(world.core, world.now).joints}


def faults(world: World) -> set[Fault]:
    return {link.status.faults for link in world.core.links if link.status is not None}


def warned(world: World) -> list[Any]:
    return [one for one in world.core.watch.warnings.standing if "supply" in one.kind.code]


def test_hops_are_fitted_from_what_an_arm_does_anyway() -> None:
    world = fed_world(0.2, 0.2, 1.3)  # the last one is a ring of copper tape
    assert supplies(world)["tip"].hop_message.startswith("loads stood still 0 times")
    for _ in range(4):
        home(world)
    found = supplies(world)
    for name, ohm in (("base", 0.2), ("tip", 1.3)):
        one = found[name]
        assert one.hop_message == ""
        assert one.hop_uncertainty_ohm is not None
        assert abs(one.hop_ohm - ohm) < 2 * one.hop_uncertainty_ohm
    # 3.9 W each in motion, by hand: 11.6 W from 24 V are 0.49 A, of which the tip has a third.
    expected_v = found["tip"].expected_v
    assert expected_v is not None
    assert 23.3 < expected_v < 23.7
    assert warned(world) == []


def test_a_brown_out_is_warned_of_before_it_happens() -> None:
    # One load: V = V0/2 + √(V0²/4 − PR). The 7.3 W of one joint in motion leave 20.4 V behind
    # 10 Ω, the 11.6 W of all three 17.3 V; the limit is 18 V.
    world = fed_world(10.0, 0.05, 0.05)
    for _ in range(4):
        home(world)
    (warning,) = warned(world)
    assert warning.kind.code == "supply-short"
    assert "of base" not in warning.message
    assert "hop resistances to base" in warning.message
    assert "at the upper ends of what they may be" in warning.message
    assert "below 18 V" in warning.message
    expected_v = supplies(world)["base"].expected_v
    assert expected_v is not None
    assert 15.5 < expected_v < 17.5
    play(world, "G1 A60 B60 C60 F600\nM2\n")
    until(world, lambda: Fault.SUPPLY_LOW in faults(world), 60 * S)
