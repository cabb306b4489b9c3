"""A warning with its alarm, what is on the shelf, and whether there are too many at once."""

from dataclasses import dataclass

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.alarm_state import AlarmState
from coordinator.codes.level import Level
from coordinator.codes.priority import Priority
from coordinator.health.alarm_place import Shelf, StandingWarning
from coordinator.health.warnings import WarningKeeper


@dataclass(frozen=True, slots=True)
class WarningSnapshot:
    """A warning that has begun and not ended; or one that is over and nobody has acknowledged."""

    id: int
    joint: str
    code: str
    """Stable, for programs."""
    level: Level
    """Attention or danger."""
    message: str
    """As it was when the warning began."""
    advice: str
    """What to do."""
    since_us: int
    """Arm time."""
    acknowledged: bool
    """Whether it stands and somebody has said that it was seen."""
    state: AlarmState
    """Its alarm's."""
    priority: Priority
    """How soon somebody must act."""
    origin: AlarmOrigin
    """Where to look, by which many are grouped."""
    cause: str
    """What is likely behind it."""
    consequence: str
    """What comes of it if nobody acts."""
    episode: int
    """The same number for alarms that came together: that of the one which began first."""
    first_out: bool
    """Whether it is the first of those that came together, or not told apart from it."""
    since_utc: str = ""
    """By the wall clock, which the core does not know: whoever tells people adds it."""


@dataclass(frozen=True, slots=True)
class ShelfSnapshot:
    """A joint's kind of warning whose sign somebody has put aside for a time."""

    id: int
    """By which it is taken off the shelf."""
    joint: str
    code: str
    who: str
    until_us: int
    """Arm time."""
    stands: bool
    """Whether it is so now."""
    until_utc: str = ""
    """By the wall clock, as `since_utc` of a warning."""


@dataclass(frozen=True, slots=True)
class FloodSnapshot:
    """More alarms at once than somebody can look at one by one."""

    since_us: int
    """Arm time."""
    count: int
    """How many began within the last ten minutes."""
    by_origin: dict[str, int]
    """The same by where they come from, most first."""


@dataclass(frozen=True, slots=True)
class AlarmsSnapshot:
    """What is to be told of alarms beside those that stand."""

    returned: tuple[WarningSnapshot, ...]
    """Those that are over and that nobody has acknowledged, oldest first."""
    shelved: tuple[ShelfSnapshot, ...]
    """Those whose sign is put aside; they stand among the warnings all the same."""
    flood: FloodSnapshot | None
    """None where there is none."""


def warnings_snapshot(keeper: WarningKeeper) -> tuple[WarningSnapshot, ...]:
    """All that stand, as they are now."""
    return tuple(_warning(keeper, one) for one in keeper.standing)


def alarms_snapshot(keeper: WarningKeeper) -> AlarmsSnapshot:
    """All else of alarms, as it is now."""
    flood = keeper.flood
    return AlarmsSnapshot(
        returned=tuple(_warning(keeper, one) for one in keeper.returned),
        shelved=tuple(shelf_snapshot(keeper, one) for one in keeper.shelved),
        flood=None
        if flood.since_us is None
        else FloodSnapshot(
            flood.since_us,
            flood.count,
            {origin.value: count for origin, count in flood.by_origin.items()},
        ),
    )


def _warning(keeper: WarningKeeper, warning: StandingWarning) -> WarningSnapshot:
    kind, episode = warning.kind, keeper.episodes.of(warning.id)
    return WarningSnapshot(
        id=warning.id,
        joint=warning.joint,
        code=kind.code,
        level=kind.level,
        message=warning.message,
        advice=kind.advice,
        since_us=warning.since_us,
        acknowledged=warning.acknowledged,
        state=warning.state,
        priority=kind.priority,
        origin=kind.origin,
        cause=kind.cause,
        consequence=kind.consequence,
        episode=episode.number,
        first_out=episode.is_first(warning.id),
    )


def shelf_snapshot(keeper: WarningKeeper, shelf: Shelf) -> ShelfSnapshot:
    """A shelf as it is now."""
    return ShelfSnapshot(
        id=shelf.id,
        joint=shelf.joint,
        code=shelf.kind.code,
        who=shelf.who,
        until_us=shelf.until_us,
        stands=keeper.stands(shelf.joint, shelf.kind),
    )
