"""What the next drive to a joint says: what may move it, and what the arm is about."""

from typing import Final, Protocol

from coordinator.core.currents import Currents
from coordinator.core.homing import HomingSequence
from coordinator.core.jogging import Jog
from coordinator.core.link.link import JointLink
from coordinator.core.outputs import ToolOutputs
from coordinator.core.run import Run
from coordinator.core.skew import expiry_doubt
from protocol.drive import Drive, Mode
from protocol.light import ConditionWord
from protocol.states import JointState

_GOES_ON: Final = (JointState.HOMING, JointState.ADVANCING, JointState.JOGGING)
"""What another joint's current does not end: only what has not begun waits for it."""


class ArmParts(Protocol):
    """Of the machine: what may move a joint."""

    run: Run | None
    homing: HomingSequence | None
    jog: Jog
    tool: ToolOutputs
    currents: Currents

    @property
    def session(self) -> int:
        """The session in force."""


def next_drive(link: JointLink, arm: ArmParts, word: ConditionWord, now: int) -> Drive:
    """The drive, with its number; a stop that is wanted leaves nothing that moves."""
    orders, sequence = link.orders, link.orders.next_sequence()
    clock_map = link.clock_map(now)
    mode, plan, permit_us, expiry_us = Mode.NONE, None, None, None
    jog_target: int | None = None
    jog_velocity = homing_number = 0
    goes_on = link.state in _GOES_ON
    if orders.stop_wanted:
        pass
    elif arm.run is not None and arm.run.active:
        mode, plan, permit_us, expiry_us = arm.run.drive_fields(now)
        if not goes_on and not arm.currents.are_full(now, counts_silent=True):
            expiry_us = None  # it may be armed meanwhile, but does not advance
    elif not goes_on and not arm.currents.are_full(now):
        pass  # what one joint does is felt by those that carry it
    elif orders.clear_wanted:
        # Nothing homes or jogs before what is to be cleared is: of a fault that was cleared with
        # it, the joint tells before it tells of that.
        pass
    elif arm.homing is not None and (permitted := arm.homing.drive_fields(link, now)):
        mode = Mode.HOME
        homing_number, expiry_us = permitted
    elif order := arm.jog.drive_fields(link, now):
        mode = Mode.JOG
        jog_velocity, jog_target, expiry_us = order.velocity, order.target, order.expiry_us
    if expiry_us is not None and expiry_doubt(link, now):
        mode, expiry_us = mode if mode is Mode.PATH else Mode.NONE, None
    is_still = mode is Mode.NONE and not orders.stop_wanted
    output_mask, output_values = arm.tool.of(link) if is_still else (0, 0)
    starts = plan is not None and plan.change is not None
    if expiry_us is not None or permit_us is not None or starts:
        orders.let_move(now)
    return Drive(
        session=arm.session,
        sequence=sequence,
        mode=mode,
        energise=orders.energise and not orders.stop_wanted,
        stop=orders.stop_wanted,
        clock_map=clock_map,
        plan=plan,
        permit_us=permit_us,
        jog_velocity=jog_velocity,
        jog_target=jog_target,
        expiry_us=expiry_us,
        homing_number=homing_number,
        condition=word,
        output_mask=output_mask,
        output_values=output_values,
        full_current=arm.currents.is_asked,
    )
