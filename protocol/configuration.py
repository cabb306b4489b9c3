"""What a joint is told about itself by `configure`: limits, homing, ramp (design section 3).

All lengths are counts (microsteps × 256) of the motor, so that a joint needs no degrees.
"""

from typing import Annotated, Any, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    SerializerFunctionWrapHandler,
    model_serializer,
    model_validator,
)

from protocol.constants import MAX_INTEGER, PPM
from protocol.ramp import Ramp

Counts = Annotated[int, Field(ge=-MAX_INTEGER, le=MAX_INTEGER)]
Length = Annotated[int, Field(gt=0, le=MAX_INTEGER)]
Speed = Annotated[int, Field(gt=0, le=2**31 - 1)]

MAX_RAMP_US = 30_000_000
"""Far beyond a bench arm; with it the law of path time fits 64-bit whole numbers (`fixedpoint`)."""
RampRow = tuple[Annotated[int, Field(ge=0, le=MAX_RAMP_US)], Annotated[int, Field(ge=0, le=PPM)]]
"""Time from rest in µs, rate in ppm."""
OutputMask = Annotated[int, Field(ge=0, le=255)]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{1,32}$")]
"""Such that it needs no escape in JSON."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Homing(_Strict):
    """How a joint finds its home sensor. Speeds in counts/s."""

    direction: Annotated[int, Field(ge=-1, le=1)]
    """Sign of the motor's counts in which the search goes."""
    travel: Length
    """Furthest that homing may move from where it began."""
    backoff: Length
    fast: Speed
    slow: Speed
    home: Counts
    """Position of the sensor's middle."""

    @model_validator(mode="after")
    def _direction_is_a_sign(self) -> Self:
        if self.direction == 0:
            raise ValueError("direction is 1 or -1, not 0")
        return self


class OutputsOff(_Strict):
    """Outputs that a joint switches off by itself, one bit each; the others it keeps."""

    on_hold: OutputMask
    """When it comes to rest on its path before the end."""
    on_stop: OutputMask
    """With a stop of any level, once it rests."""
    on_lost: OutputMask
    """Once it has heard no valid drive for `SILENCE_US`, as soon as it rests."""


class IdleCurrent(_Strict):
    """When a motor that rests gets less current, and how much."""

    after_ms: Annotated[int, Field(ge=100, le=86_400_000)]
    """At rest, with no joint of the arm about to move."""
    current_ma: Annotated[int, Field(ge=0, le=10_000)]


class Configuration(_Strict):
    """A joint's whole configuration."""

    name: Name
    counts_per_turn: Length
    """Of the joint's output."""
    full_step: Annotated[int, Field(gt=0, le=2**31 - 1)]
    """Of the motor: its microsteps × 256."""
    range_low: Counts | None
    """None for a joint that turns without end."""
    range_high: Counts | None
    velocity: Speed
    acceleration: Annotated[int, Field(gt=0, le=2**40)]
    jog_unhomed: Speed
    """Fastest jog before homing."""
    homing: Homing
    ramp: Annotated[list[RampRow], Field(min_length=2, max_length=64)]
    temperature_limit_centi_c: Annotated[int, Field(ge=0, le=15_000)]
    supply_limit_mv: Annotated[int, Field(ge=0, le=60_000)]
    run_current_ma: Annotated[int, Field(ge=0, le=10_000)]
    hold_current_ma: Annotated[int, Field(ge=0, le=10_000)]
    outputs_off: OutputsOff | None = None
    """Left out where every output is kept, so that a joint without outputs need not know it."""
    idle_current: IdleCurrent | None = None
    """Left out where the current at rest is never reduced; only for a joint that says it can."""

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        if (self.range_low is None) != (self.range_high is None):
            raise ValueError("a range has both ends or none")
        if (
            self.range_low is not None
            and self.range_high is not None
            and self.range_low >= self.range_high
        ):
            raise ValueError(f"range {self.range_low} to {self.range_high} is empty")
        if max(self.homing.fast, self.homing.slow, self.jog_unhomed) > self.velocity:
            raise ValueError(f"homing and jog speeds may not pass the velocity {self.velocity}")
        if self.idle_current is not None and self.idle_current.current_ma > self.hold_current_ma:
            raise ValueError(
                f"the reduced current is {self.idle_current.current_ma} mA, at most "
                f"hold_current_ma, {self.hold_current_ma} mA"
            )
        excess = Ramp(self.ramp).excess(self.velocity, self.acceleration)
        if excess:
            raise ValueError(excess)
        return self

    @model_serializer(mode="wrap")
    def _without_what_is_kept(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        found: dict[str, Any] = handler(self)
        if self.outputs_off is None:
            del found["outputs_off"]
        if self.idle_current is None:
            del found["idle_current"]
        return found

    def geometry(self) -> tuple[object, ...]:
        """What, when it changes, makes an earlier homing worthless."""
        return self.counts_per_turn, self.homing.direction, self.homing.home
