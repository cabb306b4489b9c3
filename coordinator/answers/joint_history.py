"""What a joint was over time, and what it has done in all."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Readings:
    """A figure over time: one value for each stretch, None where nothing was known of it."""

    min: tuple[float | None, ...]
    """The least that was read in each stretch."""
    mean: tuple[float | None, ...]
    """The mean of all that was read."""
    max: tuple[float | None, ...]
    """The greatest."""
    count: tuple[int, ...]
    """How often it was read: once a second at most, but `position_error_deg` with each status."""


@dataclass(frozen=True, slots=True)
class HopWear:
    """How the hop to a joint wears: a line that wanders through its mean of each UTC day.

    Dates are UTC. They hold if it goes on as it did, the other hops, the source and what joints
    draw stay as they are, and the arm's clock was right.
    """

    ohm: float | None
    """As it is fitted now; None where `message` says why it is not."""
    uncertainty_ohm: float | None
    """Standard."""
    message: str
    """A clause; empty where it is fitted."""
    limit_ohm: float | None
    """The most it may have so that no joint falls below its `supply_limit_v` with all in motion;
    None where one does even if this hop has none."""
    beyond: bool | None
    """Whether it has more than that, by what is fitted now (before, by the newest day's mean) or by
    the line; None where neither is known."""
    days: int
    """How many days of the last 365 have a value, of those that were asked for."""
    since: str | None
    """The first of them, ISO 8601; None where there is none."""
    until: str | None
    """The last of them: what is told goes on from there, however long ago it was."""
    ohm_per_day: float | None
    """None where no rise is told apart from none: `reason` says so."""
    uncertainty_ohm_per_day: float | None
    """Standard; None where too few days have a value."""
    passes: str | None
    """When the line passes the limit, ISO 8601; the first day with a value where that was before
    it. None where `reason` says why it is not told."""
    earliest: str | None
    """It passes between these by its 90 % interval, of which fewer held where rings were simulated
    (docs/history.md); None without a forecast, and for a day after 2199."""
    latest: str | None
    reason: str
    """Why `passes` is not told, a clause; empty where it is."""


@dataclass(frozen=True, slots=True)
class JointHistory:
    """A joint over time, in stretches of one length. Those of which nothing is known are left out.

    Instants are the laptop's time of day, which somebody may have set meanwhile.
    """

    joint: str
    from_utc: str
    """Where the first stretch begins, as far as anything is known: at what was asked for or before,
    as stretches begin at multiples of their length."""
    to_utc: str
    """Where the last one would end."""
    stretch_s: int
    """How long each is, in s."""
    start_s: tuple[int, ...]
    """Where each begins, Unix time in s, oldest first. All else is in this order too."""
    temperature_c: Readings
    """At its driver, where it can be believed."""
    supply_v: Readings
    rtt_p99_us: Readings
    """99th percentile of the last 200 round trips, read once a second."""
    loss: Readings
    """Share of the last 200 exchanges that were lost, 0 to 1, read once a second."""
    clock_uncertainty_us: Readings
    """What the error of its clock map could not exceed."""
    hop_ohm: Readings
    """Resistance, there and back, of the way from the joint before it, for the first with the
    source's: fitted anew each time that 16 loads stood still since the last time, never the arm
    file's."""
    position_error_deg: Readings
    """How far it reported to be from where its plan had it at the path time that it named, while it
    moved along a path; of steps that were lost it knows nothing."""
    on_s: tuple[float, ...]
    """How long it was heard in each stretch, in s."""
    moving_s: tuple[float, ...]
    """How long it turned."""
    starts: tuple[int, ...]
    """How often it began to turn."""
    reversals: tuple[int, ...]
    """How often it turned the other way than before."""
    distance_deg: tuple[float, ...]
    """How far it turned, both ways together, as it reports its position."""
    temperature_warning_c: float
    """The arm file's limits as they are now, as the next three."""
    temperature_limit_c: float
    supply_warning_v: float
    supply_limit_v: float


@dataclass(frozen=True, slots=True)
class JointWear:
    """What a joint has done in all, as far as this data folder knows."""

    joint: str
    since_utc: str | None
    """The hour in which it was heard first; None before."""
    on_s: float
    """How long it was heard, in s."""
    moving_s: float
    """How long it turned."""
    starts: int
    """How often it began to turn."""
    reversals: int
    """How often it turned the other way than before."""
    distance_deg: float
    """How far it turned, both ways together, as it reported its position."""
    hop: HopWear | None
    """How the way by which it gets its supply wears; None of a coordinator that does not say."""
