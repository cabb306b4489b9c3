"""What is known of one joint's alarm of one kind: what stands, what is over unseen, its shelf."""

from dataclasses import dataclass, replace

from coordinator.codes.alarm_state import AlarmState
from coordinator.codes.priority import Priority
from coordinator.health.alarm_kind import Kind
from coordinator.health.alarm_states import AlarmTrigger, follow


@dataclass(frozen=True, slots=True)
class StandingWarning:
    """A warning that has begun; one that is over too, until somebody has acknowledged it."""

    id: int
    joint: str
    kind: Kind
    message: str
    """As it was when the warning began."""
    since_us: int
    """Arm time."""
    state: AlarmState = AlarmState.UNACKNOWLEDGED

    @property
    def acknowledged(self) -> bool:
        """Whether it stands and somebody has said that it was seen."""
        return self.state is AlarmState.ACKNOWLEDGED

    @property
    def stands(self) -> bool:
        """Whether it is not over."""
        return self.state is not AlarmState.RETURNED


@dataclass(frozen=True, slots=True)
class Shelf:
    """A kind of a joint whose sign is put aside, whether it is so or not."""

    id: int
    """Of the warning that was shelved; of one from before a restart, a number of its own."""
    joint: str
    kind: Kind
    who: str
    until_us: int
    """Arm time."""


@dataclass(slots=True)
class AlarmPlace:
    """Of one joint and kind: what is so, what is shown, and since when it is about to change."""

    state: AlarmState = AlarmState.NORMAL
    warning: StandingWarning | None = None
    returned: StandingWarning | None = None
    """One that is over and that nobody has acknowledged."""
    shelf: Shelf | None = None
    turning_us: int | None = None

    def follow(self, trigger: AlarmTrigger) -> None:
        """Something happened to the alarm; its state and all that depends on it."""
        self.state = follow(self.state, trigger)
        if self.warning is not None:
            self.warning = replace(self.warning, state=self.state)
        if self.state is not AlarmState.RETURNED:
            self.returned = None
        if self.state is not AlarmState.SHELVED:
            self.shelf = None

    def has(self, number: int) -> bool:
        """Whether this is what is meant by a number. What only the journal has is not."""
        return any(
            one is not None and one.id == number and one.kind.priority is not Priority.JOURNAL
            for one in (self.warning, self.returned, self.shelf)
        )
