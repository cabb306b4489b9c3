"""What a request's body may be. Every number and text has its bounds."""

from typing import Annotated, Final

from fastapi import Path
from pydantic import BaseModel, ConfigDict, Field

from coordinator.programs.size import MAX_PROGRAM_BYTES
from coordinator.stop_words import StopWord

MAX_BODY_BYTES: Final = 2 * MAX_PROGRAM_BYTES + 10_000
"""Of a program each line end takes two bytes in JSON, and even one of empty lines must fit."""
Number = Annotated[int, Path(ge=1, le=2**31 - 1, examples=[1])]
JointName = Annotated[str, Field(min_length=1, max_length=32, examples=["elbow"])]


class Body(BaseModel):
    """A body: nothing unknown, and no text where a number belongs."""

    model_config = ConfigDict(extra="forbid", strict=True)


class HomeBody(Body):
    """Joints to home; none named means all."""

    joints: Annotated[list[JointName], Field(max_length=64, examples=[["elbow"]])] = []


class ProgramBody(Body):
    """A program's text."""

    text: Annotated[str, Field(max_length=MAX_BODY_BYTES, examples=["G0 A-35 B-20\nM2\n"])]


class RunBody(ProgramBody):
    """A program to play, and what to call it."""

    name: Annotated[str, Field(min_length=1, max_length=255, examples=["prick_out_tray.nc"])]


class StopBody(Body):
    """How to stop."""

    level: Annotated[StopWord, Field(examples=["stop"])] = "stop"


class OverrideBody(Body):
    """Feed override in per cent of the program's speed."""

    percent: Annotated[float, Field(ge=5.0, le=100.0, allow_inf_nan=False, examples=[50])]


class JogBody(Body):
    """Turn one joint; to be renewed several times a second."""

    joint: JointName
    velocity_deg_s: Annotated[float, Field(ge=-1e4, le=1e4, allow_inf_nan=False, examples=[-5.0])]


class BlinkBody(Body):
    """Show which joint it is."""

    joint: JointName
