"""A joint of the arm."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from coordinator.codes.link_word import LinkWord
from coordinator.codes.sensor_state import SensorState
from coordinator.config.jog_speeds import JogSpeeds
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import link_word, why_offline
from coordinator.core.machine import Coordinator
from coordinator.health.heat_report import HeatReport
from coordinator.health.supply import is_gone
from coordinator.health.temperature import WARM
from protocol.drive import StopLevel


@dataclass(frozen=True, slots=True)
class ClockSnapshot:
    """What is known of a joint's clock."""

    locked: bool
    """Whether a start can be set by it."""
    reason: str
    """Why it is not locked; empty if it is."""
    uncertainty_us: int | None
    """What the error of its clock map cannot exceed."""
    rate_ppm: float | None
    """By how much it is faster than the coordinator's."""


@dataclass(frozen=True, slots=True)
class SupplySnapshot:
    """What is known of the way by which a joint gets its supply, beside the volts it measures."""

    lost: bool | None
    """Whether its motor has no supply while its logic answers; None where it does not measure."""
    expected_v: float | None
    """What it would measure with all joints in motion, over hops at the upper ends of what they
    may be; None where `expected_message` says why."""
    expected_message: str
    """A clause; empty where there is a figure."""
    hop_ohm: float
    """Resistance, there and back, of the way from the joint before it; for the first, where it is
    fitted, with the source's own. What the arm file says where it is not fitted."""
    hop_uncertainty_ohm: float | None
    """Standard uncertainty of a fitted one; None where it is the arm file's."""
    hop_message: str
    """Why it is not fitted, a clause; empty where it is."""


@dataclass(frozen=True, slots=True)
class CountersSnapshot:
    """What was counted."""

    exchanges: int
    """Of state with the joint, the last of this session."""
    lost: int
    """How many of these."""
    streams: int
    """Connections that were made since the coordinator began."""
    boots_seen: int
    """Restarts of the joint that were seen since the coordinator began."""
    touch_presses: int | None
    """Short ones of the control at the joint, since its boot."""
    touch_long_presses: int | None
    """Long ones."""
    touch_turn: int | None
    """Detents by which that control was turned since then, modulo 65536."""


@dataclass(frozen=True, slots=True)
class JointSnapshot:
    """A joint. What only the joint itself can say is None until it has said it."""

    name: str
    id: str
    """By which it announces itself on the network."""
    word: str
    """Its letter in programs."""
    link: LinkWord
    """`offline` where it has not been heard for a second: what it does is not known then."""
    link_message: str
    """Why the link is not up; empty if it is."""
    configuration_message: str
    """Why it does not take the arm file's figures, so that nothing moves it; empty if it does, and
    for the moment after its link is up in which it has not answered yet."""
    firmware: str | None
    """The version that runs."""
    image: str | None
    """SHA-256 of the image that runs; None also for one that did not come over the air."""
    on_trial: bool | None
    """Whether that image is not confirmed yet: a restart brings back the one before."""
    board: str | None
    """For which images must be made; None also where it takes none over the air."""
    image_capacity_bytes: int | None
    """Size of the largest that it takes; 0 where it takes none."""
    boot: str | None
    """Another one after each restart of the joint."""
    age_us: int | None
    """Since its last status came."""
    heard_at_us: int | None
    """When that was, arm time."""
    range_deg: tuple[float, float] | None
    """Lowest and highest angle; None where it turns without end."""
    warning_c: float
    """Temperature in °C above which it is warned of."""
    limit_c: float
    """Temperature in °C above which the joint stops."""
    microstep_deg: float
    """By how much the smallest step of its motor turns it; what is told to be less may not turn it.
    """
    velocity_limit_deg_s: float
    jog_speeds_deg_s: JogSpeeds
    """What a hand turns it by; slower while it is not homed."""
    acceleration_limit_deg_s2: float
    clock: ClockSnapshot
    stop_wanted: int
    """Level of a stop that it has not confirmed yet: 0 none, 1 stop, 2 stop and release, 3 release.
    """
    measured: bool
    """Whether its link has been measured long enough for a start."""
    worst_delay_us: int | None
    """How long its link needs to get a repeated state across and back."""
    loss: float | None
    """Share of the last exchanges that were lost, 0 to 1."""
    rtt_p50_us: float | None
    """Median of the round trips of the last exchanges."""
    rtt_p99_us: float | None
    """99th percentile of them."""
    counters: CountersSnapshot
    state: str | None
    """As the joint says, a word of the wire document."""
    homed: bool | None
    wandered_deg: float | None
    """How far home was found from where it was: too far to count as homed until somebody accepts
    it, though the joint itself keeps to its range still. None where that is not so."""
    energised: bool | None
    """Whether its motor has current."""
    reduced: bool | None
    """Whether that is the reduced one of long at rest, or the full one has not settled yet."""
    full_current_because: str
    """Why its current at rest is never reduced though the arm file has `idle_current`, a clause;
    empty where it is, or the file has none."""
    position_deg: float | None
    """None also while it is not homed."""
    velocity_deg_s: float | None
    temperature_c: float | None
    """At its driver, in °C; None also where its sensor is not known to be sound, or this reading
    cannot be one."""
    plausible: bool | None
    """Whether what its sensor reads can be believed; None where that is not known."""
    temperature_sensor: SensorState | None
    """What is known of that sensor; None before a temperature was read in this session."""
    heat: HeatReport | None
    """What was learnt of how it warms, and what comes of that at its present load."""
    warm: bool | None
    """Whether the warning of a warm joint stands."""
    supply_v: float | None
    """As it measures it."""
    supply: SupplySnapshot
    fan_percent: int | None
    rssi_dbm: int | None
    """Strength of its radio link; None without one."""
    permit_us: int | None
    """Path time up to which it may move; None with no program loaded, as the next two."""
    path_us: int | None
    """Path time at which it is."""
    buffered_us: int | None
    """Path time up to which it has points."""
    stop: int | None
    """Level of the stop that it has latched, as in `stop_wanted`."""
    faults: tuple[str, ...] | None
    outputs: dict[str, bool] | None
    """Each of its outputs by name, and whether it is on; none where it has none."""
    inputs: dict[str, bool] | None


def joint_snapshot(core: Coordinator, link: JointLink, now: int) -> JointSnapshot:
    """A joint at arm time `now`."""
    status, joint, quality = link.status, link.joint, link.quality
    word = link_word(link, now)
    loaded = status if status is not None and status.trajectory else None
    temperature = status.temperature_centi_c if status else None
    sensor = link.health.sensor.state
    supply = status.supply_mv if status else None
    return JointSnapshot(
        name=joint.name,
        id=joint.id,
        word=joint.word,
        link=word,
        link_message="" if word is LinkWord.UP else why_offline(link, now),
        configuration_message=link.connection.configuration_message,
        firmware=link.welcome.firmware if link.welcome else None,
        image=link.welcome.image if link.welcome else None,
        on_trial=link.on_trial if link.welcome else None,
        board=link.welcome.capabilities.board if link.welcome else None,
        image_capacity_bytes=link.welcome.capabilities.image_capacity if link.welcome else None,
        boot=f"{link.welcome.boot:08x}" if link.welcome else None,
        age_us=now - link.heard_us if link.heard_us is not None else None,
        heard_at_us=link.heard_us,
        range_deg=joint.range_deg,
        warning_c=joint.temperature_warning_c,
        limit_c=joint.temperature_limit_c,
        microstep_deg=joint.microstep_deg,
        velocity_limit_deg_s=joint.velocity_deg_s,
        jog_speeds_deg_s=core.arm.jog_speeds.of(joint.velocity_deg_s),
        acceleration_limit_deg_s2=joint.acceleration_deg_s2,
        clock=_clock(link, now),
        stop_wanted=link.orders.stop_wanted.value,
        measured=quality.measured,
        worst_delay_us=round(quality.worst_delay_us) if quality.measured else None,
        loss=quality.loss if quality.count else None,
        rtt_p50_us=quality.rtt_p50_us,
        rtt_p99_us=quality.rtt_p99_us,
        counters=_counters(link),
        state=status.state.word if status else None,
        homed=link.homed if status else None,
        wandered_deg=link.home.wandered_deg if link.home is not None else None,
        energised=status.energised if status else None,
        reduced=status.reduced if status else None,
        full_current_because=_full_current_because(core, link),
        position_deg=joint.to_degrees(status.position) if status and link.homed else None,
        velocity_deg_s=joint.to_degrees(status.velocity) if status else None,
        temperature_c=link.temperature_c,
        plausible=None if sensor is None else sensor is SensorState.SOUND,
        temperature_sensor=sensor,
        heat=(
            link.health.heat.report(now, joint.temperature_warning_c, joint.temperature_limit_c)
            if status
            else None
        ),
        warm=core.watch.warnings.stands(link.name, WARM) if temperature is not None else None,
        supply_v=supply / 1000 if supply is not None else None,
        supply=_supply(core, link),
        fan_percent=status.fan_percent if status else None,
        rssi_dbm=(status.rssi_dbm or None) if status else None,
        permit_us=loaded.permit_us if loaded else None,
        path_us=loaded.path_us if loaded else None,
        buffered_us=loaded.buffered_us if loaded else None,
        stop=StopLevel(status.stop).value if status else None,
        faults=tuple(status.faults.words) if status else None,
        outputs=_by_name(joint.outputs, status.outputs) if status else None,
        inputs=_by_name(joint.inputs, status.inputs) if status else None,
    )


def fitted_hops(joints: Iterable[JointSnapshot]) -> dict[str, float]:
    """Resistances in ohm of those hops that are fitted, by the joints to which they lead."""
    return {
        joint.name: joint.supply.hop_ohm
        for joint in joints
        if joint.supply.hop_uncertainty_ohm is not None
    }


def _by_name(names: tuple[str, ...], bits: int) -> dict[str, bool]:
    return {name: bool(bits >> bit & 1) for bit, name in enumerate(names)}


def _full_current_because(core: Coordinator, link: JointLink) -> str:
    if core.arm.idle_current is None:
        return ""
    if link.joint.holds_load:
        return "it holds a load"
    if link.welcome is not None and not link.reduces_current:
        return "its firmware cannot reduce it"
    return ""


def _supply(core: Coordinator, link: JointLink) -> SupplySnapshot:
    chain, status = core.watch.supply, link.status
    hop, lowest = chain.estimate().hops[link.index], chain.lowest()
    volts = lowest.volts if lowest is not None else None
    message = ""
    if lowest is None:
        message = "not every joint has told its volts while loads stood still"
    elif volts is None:
        message = "the supply would collapse"
    return SupplySnapshot(
        lost=None if status is None or status.supply_mv is None else is_gone(status),
        expected_v=volts[link.index] if volts is not None else None,
        expected_message=message,
        hop_ohm=link.joint.hop_resistance_ohm if hop.ohm is None else hop.ohm,
        hop_uncertainty_ohm=hop.uncertainty_ohm,
        hop_message=hop.reason,
    )


def _clock(link: JointLink, now: int) -> ClockSnapshot:
    clock, uncertainty_us = link.clock, link.clock_uncertainty_us(now)
    return ClockSnapshot(
        locked=clock.locked,
        reason=clock.reason,
        # Up, so that a bound stays one.
        uncertainty_us=math.ceil(uncertainty_us) if uncertainty_us is not None else None,
        rate_ppm=clock.rate * 1e6 if clock.rate_measured else None,
    )


def _counters(link: JointLink) -> CountersSnapshot:
    """Exchanges are the last of this session, streams and boots since the coordinator began."""
    status, quality = link.status, link.quality
    return CountersSnapshot(
        exchanges=quality.count,
        lost=round(quality.loss * quality.count),
        streams=link.connection.streams,
        boots_seen=link.connection.boots_seen,
        touch_presses=status.touch_presses if status else None,
        touch_long_presses=status.touch_long_presses if status else None,
        touch_turn=status.touch_turn if status else None,
    )
