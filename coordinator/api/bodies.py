"""What a request's body may be. Every number and text has its bounds."""

from dataclasses import asdict
from typing import Annotated, Final, Self

from fastapi import Path
from pydantic import BaseModel, ConfigDict, Field, model_validator

from coordinator.config.arm_text import MAX_EDITED
from coordinator.config.joint import MAX_ANGLE_DEG
from coordinator.core.stop_words import StopWord
from coordinator.health.link_survey import LEAST_FOR_S, MOST_FOR_S, USUAL_FOR_S
from coordinator.health.shelf_time import SHELF_LEAST_S, SHELF_MOST_S, SHELF_USUAL_S
from coordinator.programs import Switches
from coordinator.programs.loops import MAX_FOR_S, MAX_LOOPS
from coordinator.programs.options import PlayOptions
from coordinator.programs.size import MAX_PROGRAM_BYTES

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


class SurveyBody(Body):
    """Joints whose links are surveyed, all for none named, and for how many seconds."""

    joints: Annotated[list[JointName], Field(max_length=64, examples=[["elbow"]])] = []
    for_s: Annotated[
        float, Field(ge=LEAST_FOR_S, le=MOST_FOR_S, allow_inf_nan=False, examples=[60.0])
    ] = USUAL_FOR_S


class ShelveBody(Body):
    """For how many seconds an alarm's sign is put aside."""

    for_s: Annotated[
        float, Field(ge=SHELF_LEAST_S, le=SHELF_MOST_S, allow_inf_nan=False, examples=[3600.0])
    ] = SHELF_USUAL_S


class ProgramBody(Body):
    """A program's text."""

    text: Annotated[str, Field(max_length=MAX_BODY_BYTES, examples=["G0 A-35 B-20\nM2\n"])]


class SwitchesBody(Body):
    """How a program is to be played: whether lines with a slash are left out, whether M1 stops,
    whether the arm waits after each line, and from which line on.
    """

    block_delete: Annotated[bool, Field(examples=[False])] = False
    optional_stop: Annotated[bool, Field(examples=[False])] = False
    step_by_line: Annotated[bool, Field(examples=[False])] = False
    from_line: Annotated[int | None, Field(ge=1, le=MAX_PROGRAM_BYTES, examples=[None])] = None

    @property
    def switches(self) -> Switches:
        """These as one value."""
        return Switches(self.block_delete, self.optional_stop, self.step_by_line, self.from_line)


class SwitchedBody(ProgramBody, SwitchesBody):
    """A program and how it is to be played."""


class LongBody(SwitchesBody):
    """The same, by its text or by the digest that `POST /texts` has answered of a long one."""

    text: Annotated[
        str | None, Field(max_length=MAX_BODY_BYTES, examples=["G0 A-35 B-20\nM2\n"])
    ] = None
    sent: Annotated[str | None, Field(pattern=r"^[0-9a-f]{64}$", examples=[None])] = None

    @model_validator(mode="after")
    def _one_of_both(self) -> "LongBody":
        if (self.text is None) == (self.sent is None):
            raise ValueError("a program has either its text, or the digest of one that was sent")
        return self


class OptionsBody(SwitchesBody):
    """How a program is to be played: the switches, how often or for how long, and whether home
    edges are checked between loops. Without `loops` and `for_s` it is played once.
    """

    loops: Annotated[int | None, Field(ge=1, le=MAX_LOOPS, examples=[3])] = None
    for_s: Annotated[
        float | None, Field(gt=0, le=MAX_FOR_S, allow_inf_nan=False, examples=[None])
    ] = None
    check_edges: Annotated[bool, Field(examples=[False])] = False

    @model_validator(mode="after")
    def _can_be_asked(self) -> Self:
        _ = self.options
        return self

    @property
    def options(self) -> PlayOptions:
        """How it is to be played, as one value."""
        return PlayOptions(self.loops, self.for_s, self.check_edges, **asdict(self.switches))


class ArmTextBody(Body):
    """The text of an arm file."""

    text: Annotated[str, Field(max_length=MAX_EDITED, examples=['name = "bench arm"\n'])]


class ArmFileBody(ArmTextBody):
    """The same, to be written in place of the text that has this digest."""

    instead_of: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$", examples=["5" * 64])]


Turn = Annotated[
    float | None, Field(ge=-MAX_ANGLE_DEG, le=MAX_ANGLE_DEG, allow_inf_nan=False, examples=[90.0])
]


class BringUpBody(Body):
    """What somebody says of a step of the bring-up: one of its answers, or a turn that was
    commanded and what was measured of it.
    """

    answer: Annotated[str | None, Field(max_length=64, examples=["light"])] = None
    commanded_deg: Turn = None
    measured_deg: Turn = None


class RunBody(LongBody, OptionsBody):
    """A program to play: its name, and under which id its text is kept, if it is."""

    name: Annotated[str, Field(min_length=1, max_length=255, examples=["prick_out_tray.nc"])]
    taught: Annotated[int | None, Field(ge=1, le=2**53 - 1, examples=[None])] = None


class StopBody(Body):
    """How to stop."""

    level: Annotated[StopWord, Field(examples=["stop"])] = "stop"


class OverrideBody(Body):
    """LiveFeed override in per cent of the program's speed."""

    percent: Annotated[float, Field(ge=5.0, le=100.0, allow_inf_nan=False, examples=[50])]


Velocity = Annotated[float, Field(ge=-1e4, le=1e4, allow_inf_nan=False, examples=[-5.0])]


class JogBody(Body):
    """Turn these joints and no others; to be renewed several times a second, empty to let go."""

    velocities_deg_s: Annotated[
        dict[JointName, Velocity], Field(max_length=64, examples=[{"elbow": -5.0}])
    ]


class StepBody(Body):
    """Turn one joint by an angle, from where its last step ends."""

    joint: JointName
    by_deg: Annotated[float, Field(ge=-360, le=360, allow_inf_nan=False, examples=[0.1])]
    speed_deg_s: Annotated[float, Field(gt=0, le=1e4, allow_inf_nan=False, examples=[5.0])]


class HoldHomeBody(Body):
    """Home one joint while this is renewed several times a second; let go by a jog of nothing."""

    joint: JointName


Angle = Annotated[float, Field(ge=-MAX_ANGLE_DEG, le=MAX_ANGLE_DEG, allow_inf_nan=False)]


class GoBody(Body):
    """Go to a waypoint, to a pose of the arm file, or to angles by joint: exactly one of them.

    To be renewed several times a second, let go by a jog of nothing.
    """

    waypoint: Annotated[int | None, Field(ge=1, le=2**53 - 1, examples=[3])] = None
    pose: Annotated[str | None, Field(min_length=1, max_length=64, examples=[None])] = None
    angles_deg: Annotated[
        dict[JointName, Angle] | None, Field(min_length=1, max_length=64, examples=[None])
    ] = None

    @model_validator(mode="after")
    def _goes_to_one_place(self) -> Self:
        named = [one for one in (self.waypoint, self.pose, self.angles_deg) if one is not None]
        if len(named) != 1:
            raise ValueError(
                f"exactly one of waypoint, pose and angles_deg must be there, not {len(named)}"
            )
        return self


class OutputBody(Body):
    """Switch an output by hand."""

    output: Annotated[str, Field(min_length=1, max_length=64, examples=["gripper"])]
    on: Annotated[bool, Field(examples=[True])]


class BlinkBody(Body):
    """Show which joint it is."""

    joint: JointName
