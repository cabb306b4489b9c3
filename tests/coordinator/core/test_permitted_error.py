"""Joints that compute path time a little otherwise neither fail nor advance for it (protocol)."""

import pytest

from coordinator.core import events as ev
from coordinator.core.run import Phase
from protocol.constants import PATH_TOLERANCE_US
from protocol.states import JointState
from tests.coordinator.core.kit import (
    finish,
    homed_world,
    moving,
    state,
    truth,
    unit,
    until,
    until_phase,
)


@pytest.mark.parametrize("off_us", [-PATH_TOLERANCE_US, -1, 1, PATH_TOLERANCE_US])
def test_run_goes_on_at_once_where_a_joint_rests_as_far_off_as_rounding_may_bring_it(
    off_us: int,
) -> None:
    world = homed_world("quiet")
    moving(world)
    world.command(ev.Hold())
    until_phase(world, Phase.HELD)
    # As if its controller had computed the rest a little otherwise.
    body = unit(world, "middle").joint._body
    body.path.stand_us += off_us
    body.rest_position = body.path.buffer.at(body.path.stand_us)[0]
    world.run_for(300_000)
    truth(world)
    world.command(ev.Resume())
    seen: set[JointState] = set()

    def on_its_way() -> bool:
        seen.update(state(world, name) for name in ("base", "middle", "tip"))
        return JointState.MOVING in seen

    until(world, on_its_way)
    assert seen <= {JointState.HELD, JointState.ARMED, JointState.MOVING}
    world.run_for(100_000)  # their clocks are not the same to the µs
    starts = [events[0] for events in truth(world).values()]
    assert {start.event for start in starts} == {"resume"}
    assert len({start.path_us for start in starts}) == 1
    finish(world)
