"""What a joint is told about itself by `configure`: limits, homing, ramp (design section 3).

All lengths are counts (microsteps × 256) of the motor, so that a joint needs no degrees.
"""

import hashlib
import json
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from protocol.constants import PPM
from protocol.ramp import Ramp

Counts = Annotated[int, Field(ge=-(2**62), le=2**62)]
Speed = Annotated[int, Field(gt=0, le=2**31 - 1)]

RampRow = tuple[Annotated[int, Field(ge=0, le=2**31 - 1)], Annotated[int, Field(ge=0, le=PPM)]]
"""Time from rest in µs, rate in ppm."""


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Homing(_Strict):
    """How a joint finds its home sensor. Speeds in counts/s."""

    direction: Annotated[int, Field(ge=-1, le=1)]
    """Sign of the motor's counts in which the search goes."""
    travel: Annotated[int, Field(gt=0, le=2**62)]
    """Furthest that homing may move from where it began."""
    backoff: Annotated[int, Field(gt=0, le=2**62)]
    fast: Speed
    slow: Speed
    home: Counts
    """Position of the sensor's middle."""

    @model_validator(mode="after")
    def _direction_is_a_sign(self) -> Self:
        if self.direction == 0:
            raise ValueError("direction is 1 or -1, not 0")
        return self


class Configuration(_Strict):
    """A joint's whole configuration."""

    name: Annotated[str, Field(min_length=1, max_length=32)]
    counts_per_turn: Annotated[int, Field(gt=0, le=2**62)]
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
        excess = Ramp(self.ramp).excess(self.velocity, self.acceleration)
        if excess:
            raise ValueError(excess)
        return self

    def geometry(self) -> tuple[object, ...]:
        """What, when it changes, makes an earlier homing worthless."""
        return self.counts_per_turn, self.homing.direction, self.homing.home

    def digest(self) -> str:
        """SHA-256 in hex of the canonical JSON: keys sorted, no spaces, ASCII."""
        text = json.dumps(self.model_dump(mode="json"), sort_keys=True, separators=(",", ":"))
        return hashlib.sha256(text.encode("ascii")).hexdigest()
