"""What runs were: their reports, runs in short, and the journal."""

from typing import Annotated, Literal

from pydantic import Field

from coordinator.api.answers.base import Answer, eg, example_of
from coordinator.api.answers.run import Outcome

Level = Literal["info", "attention", "danger"]


class StartOfJoint(Answer):
    """One joint at one start. Instants are arm time; `null` is what was never told or proved."""

    q_us: int = eg(31_000)
    """How long its link needed to get a repeated state across and back."""
    slack_us: int | None = eg(171_000)
    """How long before the instant it had all it needed to start."""
    clock_bound_us: int | None = eg(412)
    """What the error of its clock map could not exceed."""
    started_at_us: int | None = eg(80_000_120)
    """The middle of the next two."""
    earliest_us: int | None = eg(79_999_860)
    """It is proved not to have started before."""
    latest_us: int | None = eg(80_000_380)
    """It is proved not to have started after."""


class Start(Answer):
    """One start or resume of all joints."""

    part: int = eg(1)
    """Of the program, from 1."""
    attempts: int = eg(1)
    lead_us: int = eg(240_000)
    """How far ahead its instant was set."""
    margin_us: int = eg(62_000)
    """What of that was to spare, beyond what the slowest link was expected to need."""
    at_us: int = eg(80_000_000)
    """Its instant, arm time."""
    path_us: int = eg(0)
    """Path time from which it went; above 0 for a resume."""
    spread_us: int | None = eg(310)
    """From the first joint's start to the last one's."""
    bound_us: int | None = eg(820)
    """What that is proved not to exceed."""
    joints: dict[str, StartOfJoint] = eg({"elbow": example_of(StartOfJoint)})


class Hold(Answer):
    """A hold after which all joints rested."""

    at_us: int = eg(83_000_000)
    """Arm time."""
    cause: str = eg("held by the operator")
    path_us: dict[str, int | None] = eg({"elbow": 1_230_000})
    """Path time at which each joint rests."""
    apart_us: int = eg(0)
    """Largest difference between these."""


class OverrideInForce(Answer):
    """From when the speed was another one."""

    at_us: int = eg(82_000_000)
    """Arm time."""
    percent: float = eg(50.0)


class Unwritten(Answer):
    """What the disk did not take of a run."""

    what: str = eg("report")
    utc: str = eg("2026-05-01T10:00:31+00:00")
    why: str = eg("the disk is full")


class ReportOfJoint(Answer):
    """One joint at the run's first start, and at its end."""

    name: str = eg("elbow")
    slack_us: int | None = eg(171_000)
    clock_bound_us: int | None = eg(412)
    started_at_us: int | None = eg(80_000_120)
    """Arm time."""
    finished_at_us: int | None = eg(89_400_090)
    """Arm time at which it reached the last point."""
    feed_slack_us: int | None = eg(310_000)
    """How much longer its points would have lasted than the slowest delivery took."""


class Report(Answer):
    """What a run was, or is so far. Of one that an older coordinator wrote, members may lack."""

    run: int = eg(1)
    name: str = eg("prick_out_tray.nc")
    outcome: Outcome = eg("finished")
    message: str = eg("")
    """Why it ended so, or is held; empty if there is nothing to say."""
    began_at_us: int = eg(79_000_000)
    """Arm time, which holds within one session of a coordinator."""
    ended_at_us: int | None = eg(89_500_000)
    start: Start | None = eg(example_of(Start))
    """The first of `starts`."""
    starts: list[Start] = eg([example_of(Start)])
    partial_starts: int = eg(0)
    """Starts in which some joints began alone."""
    holds: list[Hold] = eg([example_of(Hold)])
    overrides: list[OverrideInForce] = eg([example_of(OverrideInForce)])
    stop_level: Literal["stop", "stop-and-release", "release"] | None = eg(None)
    """Of the stop that ended it."""
    stop_unconfirmed: list[str] = eg([])
    """Joints that have not said yet that they latched it."""
    joints: list[ReportOfJoint] = eg([example_of(ReportOfJoint)])
    """Base to tool."""
    began_utc: str | None = eg("2026-05-01T10:00:20+00:00")
    """By the wall clock, as all that ends in `_utc`."""
    ended_utc: str | None = eg("2026-05-01T10:00:31+00:00")
    unwritten: list[Unwritten] = eg([])
    """What will never be in the database."""
    written_utc: Annotated[str, Field(json_schema_extra=lambda schema: schema.pop("default"))] = ""
    """When it was written: only of a report that comes from the database."""


class RunInShort(Answer):
    """A run in a list."""

    run: int = eg(1)
    name: str = eg("prick_out_tray.nc")
    outcome: Outcome = eg("finished")
    began_utc: str | None = eg("2026-05-01T10:00:20+00:00")
    ended_utc: str | None = eg("2026-05-01T10:00:31+00:00")


class Runs(Answer):
    """Runs, newest first."""

    runs: list[RunInShort] = eg([example_of(RunInShort)])


class Event(Answer):
    """Something that happened or was commanded."""

    id: int = eg(17)
    """Grows with time."""
    utc: str = eg("2026-05-01T10:00:20.114+00:00")
    at_us: int = eg(79_000_000)
    """Arm time, which holds within one session of a coordinator."""
    level: Level = eg("info")
    code: str = eg("command-play")
    """Stable, for programs."""
    message: str = eg("play prick_out_tray.nc, run 1")
    joint: str | None = eg(None)
    """The joint that it is about."""
    who: str | None = eg("the terminal of gardener@bench")
    """Who commanded it."""


class Events(Answer):
    """The journal, newest first."""

    events: list[Event] = eg([example_of(Event)])
