"""A joint of the arm as it is now."""

from typing import Annotated

from coordinator.api.answers.base import Answer, eg, example_of, one_of
from coordinator.core.link import LinkState
from protocol.states import JointState

JointWord = Annotated[str, one_of(state.word for state in JointState)]


class Clock(Answer):
    """What is known of a joint's clock."""

    locked: bool = eg(True)
    """Whether a start can be set by it."""
    reason: str = eg("")
    """Why it is not locked; empty if it is."""
    bound_us: int | None = eg(412)
    """What the error of its clock map cannot exceed."""
    rate_ppm: float | None = eg(-13.2)
    """By how much it is faster than the coordinator's."""


class Counters(Answer):
    """What was counted."""

    exchanges: int = eg(200)
    """Of state with the joint, the last of this session."""
    lost: int = eg(1)
    """How many of these."""
    streams: int = eg(1)
    """Connections that were made since the coordinator began."""
    boots_seen: int = eg(0)
    """Restarts of the joint that were seen since the coordinator began."""
    touch_presses: int | None = eg(0)
    """Of the knob at the joint, since its boot."""
    touch_turn: int | None = eg(-3)
    """Detents by which that knob was turned since then, modulo 65536."""


class Joint(Answer):
    """A joint. What only the joint itself can say is `null` until it has said it."""

    name: str = eg("elbow")
    id: str = eg("joint-3")
    """By which it announces itself on the network."""
    word: str = eg("C")
    """Its letter in programs."""
    link: LinkState = eg("up")
    link_message: str = eg("")
    """Why the link is not up; empty if there is nothing to say."""
    firmware: str | None = eg("1.4.0")
    boot: str | None = eg("5f0c21aa")
    """Another one after each restart of the joint."""
    age_us: int | None = eg(18_400)
    """Since its last status came."""
    heard_at_us: int | None = eg(81_211_642)
    """When that was, arm time."""
    range_deg: list[float] | None = eg([-140.0, 140.0])
    """Lowest and highest angle; `null` where it turns without end."""
    warning_c: float = eg(65.0)
    """Temperature in °C above which it is warned of."""
    limit_c: float = eg(80.0)
    """Temperature in °C above which the joint stops."""
    velocity_limit_deg_s: float = eg(60.0)
    acceleration_limit_deg_s2: float = eg(120.0)
    clock: Clock = eg(example_of(Clock))
    stop_wanted: int = eg(0)
    """Level of a stop that it has not confirmed yet: 0 none, 1 stop, 2 stop and release, 3 release.
    """
    measured: bool = eg(True)
    """Whether its link has been measured long enough for a start."""
    q_us: int | None = eg(31_000)
    """How long its link needs to get a repeated state across and back."""
    loss: float | None = eg(0.005)
    """Share of the last exchanges that were lost, 0 to 1."""
    rtt_p50_us: float | None = eg(2_100.0)
    """Median of the round trips of the last exchanges."""
    rtt_p99_us: float | None = eg(9_800.0)
    counters: Counters = eg(example_of(Counters))
    state: JointWord | None = eg("ready")
    homed: bool | None = eg(True)
    energised: bool | None = eg(True)
    """Whether its motor has current."""
    position_deg: float | None = eg(31.42)
    """`null` also while it is not homed."""
    velocity_deg_s: float | None = eg(0.0)
    temperature_c: float | None = eg(41.5)
    """At its driver, in °C."""
    plausible: bool | None = eg(True)
    """Whether that temperature can be believed."""
    warm: bool | None = eg(False)
    """Whether the warning of a warm joint stands."""
    supply_v: float | None = eg(24.1)
    fan_percent: int | None = eg(30)
    rssi_dbm: int | None = eg(-52)
    """Strength of its radio link; `null` without one."""
    lease_us: int | None = eg(None)
    """Path time up to which it may move; `null` with no program loaded, as the next two."""
    path_us: int | None = eg(None)
    """Path time at which it is."""
    buffered_us: int | None = eg(None)
    """Path time up to which it has points."""
    stop: int | None = eg(0)
    """Level of the stop that it has latched, as in `stop_wanted`."""
    faults: list[str] | None = eg([])
