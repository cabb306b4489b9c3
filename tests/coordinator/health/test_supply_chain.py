"""Statuses of all joints to stands, and the volts to expect at the most load."""

from dataclasses import replace

import pytest

from coordinator.health.draw import IDLE_W, WINDING_OHM, drawn_watts, most_watts
from coordinator.health.supply_chain import (
    SETTLE_US,
    LowestVolts,
    SupplyChain,
    by_the_file,
    supply_remark,
)
from protocol.states import JointState
from protocol.status import Status
from simulator.physics.supply import chain_voltages
from tests.coordinator.core.kit import S, small_arm

ARM = small_arm(2)
FITTED = "fitted and at the upper ends of what they may be"
REST = Status(boot=1, sequence=1, state=JointState.READY, energised=True)
OFF = replace(REST, energised=False)
MOVING = replace(REST, state=JointState.MOVING)
UNFED = replace(MOVING, supply_mv=0)
OHM = [0.2, 0.6]


class Told:
    """Two joints that tell their statuses ten times a second, and a world that feeds them."""

    def __init__(self, ohm: list[float] | None = None, source_v: float = 24.0) -> None:
        self.chain = SupplyChain(ARM)
        self.ohm = OHM if ohm is None else ohm
        self.source_v = source_v
        self.now = 0

    def stand(self, *statuses: Status, seconds: float = 4.0) -> None:
        watts = [
            drawn_watts(joint, 1.0, status)
            for joint, status in zip(ARM.joints, statuses, strict=True)
        ]
        volts = chain_voltages(self.source_v, self.ohm, watts)
        for _ in range(round(10 * seconds)):
            for k, (status, v) in enumerate(zip(statuses, volts, strict=True)):
                self.chain.observe(k, replace(status, supply_mv=round(1_000 * v)), self.now)
            self.now += S // 10


def test_a_joint_is_taken_to_draw_what_its_currents_are_by_what_it_does() -> None:
    joint = ARM.joints[0]  # 1.2 A in motion, 0.6 A at rest
    assert drawn_watts(joint, 0.5, OFF) == IDLE_W
    assert drawn_watts(joint, 0.5, UNFED) == IDLE_W
    assert drawn_watts(joint, 0.5, REST) == pytest.approx(IDLE_W + 0.36 * WINDING_OHM)
    assert drawn_watts(joint, 0.5, MOVING) == pytest.approx(IDLE_W + 1.44 * WINDING_OHM)
    assert most_watts(joint) == drawn_watts(joint, 0.5, MOVING)
    found = drawn_watts(joint, 0.5, replace(REST, reduced=True))
    assert found == pytest.approx(IDLE_W + 0.09 * WINDING_OHM)


def test_changes_of_load_make_stands_and_stands_make_figures() -> None:
    told = Told()
    for _ in range(5):
        told.stand(OFF, OFF)
        told.stand(MOVING, REST)
        told.stand(MOVING, MOVING)
    hops = told.chain.estimate().hops
    assert hops[0].stands == 14  # the last one goes on
    assert [hop.ohm for hop in hops] == pytest.approx(OHM, abs=0.02)
    assert told.chain.hop_ohm() == [hop.ohm for hop in hops]
    most = told.chain.hop_ohm(most=True)
    assert most[0] > OHM[0]
    assert most[1] > OHM[1]


def test_what_was_read_before_a_load_settled_is_no_stand() -> None:
    told = Told()
    for _ in range(20):
        told.stand(OFF, OFF, seconds=SETTLE_US / S - 0.2)
        told.stand(MOVING, REST, seconds=SETTLE_US / S - 0.2)
    assert told.chain.estimate().hops[0].stands == 0
    assert told.chain.lowest() is None


def test_a_joint_that_fell_silent_may_have_changed_its_load_unseen() -> None:
    told = Told()
    told.stand(OFF, OFF)
    told.now += 3 * S
    told.stand(OFF, OFF)
    told.stand(REST, OFF)
    assert told.chain.estimate().hops[0].stands == 1  # the second; the first was open as it fell


@pytest.mark.parametrize("supply_mv", [0, 999, 1_000, 2_999])
def test_a_motor_without_supply_makes_no_stand(supply_mv: int) -> None:
    told = Told()
    told.stand(OFF, OFF)
    told.chain.observe(1, replace(OFF, supply_mv=supply_mv), told.now)
    told.stand(REST, OFF)
    assert told.chain.estimate().hops[0].stands == 0


def test_a_motor_whose_supply_comes_back_draws_again_though_nothing_else_changed() -> None:
    told = Told(ohm=[0.05, 0.05])
    told.stand(REST, REST)
    for _ in range(10):
        for k in range(2):
            told.chain.observe(k, UNFED, told.now)
        told.now += S // 10
    told.stand(MOVING, MOVING)
    truth = chain_voltages(24.0, [0.05, 0.05], [most_watts(joint) for joint in ARM.joints])
    lowest = told.chain.lowest()
    assert lowest is not None
    assert lowest.volts == pytest.approx(tuple(truth), abs=2e-3)  # all are in motion already
    told.stand(OFF, OFF)
    assert told.chain.estimate().hops[0].stands == 1  # what was read as the supply went is none


def test_at_the_most_load_only_what_more_load_drops_is_added_to_what_was_read() -> None:
    told = Told(ohm=[0.05, 0.05], source_v=12.0)  # the arm file says 24 V, of software joints
    told.stand(OFF, OFF)
    lowest = told.chain.lowest()
    assert lowest is not None
    assert lowest.fitted == (False, False)
    truth = chain_voltages(12.0, [0.05, 0.05], [most_watts(joint) for joint in ARM.joints])
    assert lowest.volts == pytest.approx(tuple(truth), abs=2e-3)


def test_of_joints_that_are_short_the_one_that_stops_first_is_named() -> None:
    told = Told(ohm=[0.05, 0.05], source_v=17.0)
    told.stand(OFF, OFF)
    found = [told.chain.short(k) for k in range(2)]
    assert [one.bad for one in found] == [None, True]
    assert found[1].message.startswith(
        "at worst, with all joints in motion, middle was expected when this began to have 17.0 V"
    )
    assert "the arm file's, none is fitted yet" in found[1].message


def test_fitted_hops_are_said_to_be_at_the_upper_ends_of_what_they_may_be() -> None:
    said = [LowestVolts(None, one).figures(ARM.joints) for one in ((True, False), (True, True))]
    assert said == [
        f"hop resistances to base are {FITTED}, the rest is the arm file's",
        f"all hop resistances are {FITTED}",
    ]


def test_an_arm_that_would_fall_below_a_warning_only_is_remarked_on_too() -> None:
    first, last = ARM.joints
    assert supply_remark(ARM) is None
    volts = by_the_file(ARM)
    assert volts is not None
    careful = replace(ARM, joints=(first, replace(last, supply_warning_v=24.5)))
    assert supply_remark(careful) == (
        "with all joints in motion by the arm file's source_v, hop_resistance_ohm and "
        f"run_current_a (windings of 2 Ω are assumed), below its supply_warning_v: {last.name} "
        f"{volts[1]:.1f} V (24.5 V)"
    )


def test_the_file_alone_tells_volts_too() -> None:
    volts = by_the_file(ARM)
    truth = chain_voltages(24.0, [0.05, 0.05], [most_watts(joint) for joint in ARM.joints])
    assert volts == pytest.approx(tuple(truth), abs=1e-6)
    weak = replace(
        ARM,
        source_v=5.0,
        joints=tuple(replace(one, hop_resistance_ohm=10.0) for one in ARM.joints),
    )
    assert by_the_file(weak) is None
