"""Stops and faults: what ends any motion, and what is latched until `clear`."""

from typing import Final

from protocol.drive import StopLevel
from protocol.messages import Faulted
from protocol.states import JointState, Trigger
from protocol.status import Fault
from simulator.joint.body import Body
from simulator.joint.free import Mover
from simulator.joint.playing import Player
from simulator.joint.refusal import Refusal

FAN_ON_CENTI_C: Final = 4_500
FAN_OFF_CENTI_C: Final = 4_000
"""The fan cools the driver long before the plastic softens (PLA at 59 °C); 5 °C against hunting."""

_TEXT: Final = {
    Fault.OVER_TEMPERATURE: "the temperature passed its limit",
    Fault.DRIVER: "the motor driver reports a fault",
    Fault.HALL_SENSOR: "the home sensor was not found as expected",
    Fault.STEPS_LOST: "steps were lost",
    Fault.TEMPERATURE_SENSOR: "the temperature sensor gives no reading",
    Fault.SUPPLY_LOW: "the supply fell below its limit",
}
_POSITION_UNSURE: Final = Fault.DRIVER | Fault.HALL_SENSOR | Fault.STEPS_LOST


class Safety:
    """Stops, faults and the readings that cause them."""

    def __init__(self, body: Body, player: Player, mover: Mover) -> None:
        self._body = body
        self._player = player
        self._mover = mover
        self.temperature_centi_c: int | None = None
        self.supply_mv: int | None = None
        self.fan_percent = 0
        self._sensed = False

    def stop(self, level: StopLevel, now: float) -> None:
        """A stop level from a drive. Only a higher one than is latched does anything."""
        body = self._body
        if level <= body.latched:
            return
        body.latched = level
        if level is StopLevel.RELEASE:
            self._mover.release(now)
            self._player.discard()
            self._mover.stopped(now)
            return
        if not body.at_rest:
            self._brake(now)
        elif body.state in _DISCARDABLE:
            body.follow(Trigger.DISCARD)
        self._player.discard()
        if body.at_rest:
            self._mover.stopped(now)

    def fault(self, fault: Fault, now: float, detail: str = "") -> None:
        """A fault is found; one already known changes nothing."""
        body = self._body
        if fault & ~body.faults == 0:
            return
        body.faults |= fault
        if fault & _POSITION_UNSURE:
            body.homed = False
        if not body.at_rest:
            self._brake(now)
        elif body.state is not JointState.FAULTED:
            body.follow(Trigger.FAULT)
        self._player.discard()
        for one in fault:
            message = f"{_TEXT[one]}: {detail}" if detail else _TEXT[one]
            body.emit(Faulted(at_us=round(now), fault=one.words[0], message=message))

    def sense(self, temperature_centi_c: int | None, supply_mv: int | None, now: float) -> None:
        """Readings of temperature (0.01 °C, None from a dead sensor) and supply (mV)."""
        self.temperature_centi_c, self.supply_mv = temperature_centi_c, supply_mv
        self._sensed = True
        if temperature_centi_c is None or temperature_centi_c >= FAN_ON_CENTI_C:
            self.fan_percent = 100
        elif temperature_centi_c < FAN_OFF_CENTI_C:
            self.fan_percent = 0
        for fault, reading in self._present().items():
            self.fault(fault, now, reading)

    def clear(self, asked: StopLevel) -> Refusal | None:
        """Lift latched stop and faults, or say why not and change nothing."""
        body = self._body
        if asked:
            return Refusal("stop-still-asked", f"the newest drive still asks for stop {asked:d}")
        present = self._present()
        if present and body.faults:
            fault, reading = next(iter(present.items()))
            return Refusal("fault-persists", f"{_TEXT[fault]}: {reading}")
        body.latched, body.faults = StopLevel.NONE, Fault.NONE
        if body.state is JointState.FAULTED:
            body.follow(Trigger.CLEAR_HOMED if body.homed else Trigger.CLEAR_UNHOMED)
        return None

    def _present(self) -> dict[Fault, str]:
        """Faults that the newest readings show, each with its figure and limit."""
        found: dict[Fault, str] = {}
        if not self._sensed or self._body.configuration is None:
            return found
        limits = self._body.limits
        temperature, supply = self.temperature_centi_c, self.supply_mv
        if temperature is None:
            found[Fault.TEMPERATURE_SENSOR] = "no reading"
        elif temperature > limits.temperature_limit_centi_c:
            limit = limits.temperature_limit_centi_c / 100
            found[Fault.OVER_TEMPERATURE] = f"{temperature / 100:.2f} °C, limit {limit:.2f} °C"
        if supply is not None and supply < limits.supply_limit_mv:
            found[Fault.SUPPLY_LOW] = f"{supply} mV, limit {limits.supply_limit_mv} mV"
        return found

    def _brake(self, now: float) -> None:
        if self._body.state is not JointState.STOPPING:
            self._mover.brake(now)


_DISCARDABLE: Final = frozenset(
    {JointState.PREPARED, JointState.ARMED, JointState.HELD, JointState.FINISHED}
)
