"""Everything that is watched of one joint."""

from coordinator.config.joint import Joint
from coordinator.health import link, supply, temperature
from coordinator.health.alarm_kind import Finding
from coordinator.health.heat_load import load_of
from coordinator.health.heat_model import HeatModel
from coordinator.health.lopsided import Lopsidedness, Ways
from coordinator.health.plausible import HIGHEST_C, LOWEST_C, TemperatureSensor
from coordinator.timing.link_quality import LinkQuality
from protocol.status import Fault, Status


class JointHealth:
    """Looks at one joint's statuses. What it finds is no warning yet: see `WarningKeeper`."""

    def __init__(self, joint: Joint, idle_share: float = 1.0) -> None:
        """`idle_share`: of its hold current, that it has after long at rest."""
        self.sensor = TemperatureSensor(joint.name)
        self.heat = HeatModel((joint.hold_current_a / joint.run_current_a) ** 2)
        self._idle_share = idle_share
        self._lopsidedness = Lopsidedness()
        self._joint = joint

    def findings(
        self,
        status: Status,
        clock_reason: str,
        quality: LinkQuality,
        ways: Ways | None,
        now: int,
    ) -> tuple[Finding, ...]:
        """What a status says, with the link and the clock that it came by."""
        joint = self._joint
        centi_c, supply_mv = status.temperature_centi_c, status.supply_mv
        supply_v = None if supply_mv is None else supply_mv / 1000
        celsius = None if centi_c is None else centi_c / 100
        dead = status.faults != 0 and Fault.TEMPERATURE_SENSOR in status.faults
        load = load_of(joint, self._idle_share, status)
        implausible = self.sensor.observe(celsius, now, load=load, dead=dead)
        self.heat.observe(now, None if self.sensor.trouble else celsius, load, status.fan_percent)
        if celsius is not None and not LOWEST_C <= celsius <= HIGHEST_C:
            celsius = None  # no temperature at all; one that jumped may well be true
        return (
            implausible,
            temperature.warm(joint, celsius),
            temperature.hot(joint, celsius),
            temperature.fan_still(joint, celsius, status.fan_percent),
            supply.low(joint, supply_v),
            supply.gone(joint, supply_v),
            Finding(link.LOST, False),
            link.poor(joint.name, quality),
            link.lossy(joint.name, quality),
            self._lopsidedness.observe(joint.name, ways),
            *link.unlocked(joint.name, clock_reason, quality),
        )
