"""A run while it goes on, and where it is."""

from typing import Final

from pydantic import RootModel

from coordinator.answers.run import RunGoing, RunOver
from coordinator.answers.way import WayBack
from coordinator.api.responses.base import as_answer
from coordinator.codes.delay import DelayKind
from coordinator.codes.outcome import Outcome
from coordinator.core.run import Phase
from coordinator.core.run.production import (
    Cycle,
    Delay,
    Interventions,
    Production,
)
from coordinator.core.snapshot.run import RunSnapshot, StartSnapshot

START: Final = StartSnapshot(
    at_us=80_000_000,
    path_us=0,
    set=False,
    attempts=1,
    start_delay_us=240_000,
    start_skew_us=310,
    start_skew_max_us=820,
    start_margin_us={"elbow": 171_000},
)
PRODUCTION: Final = Production(
    done=1,
    mean_us=14_200_000,
    slowest=Cycle(
        loop=1,
        lasted_us=14_200_000,
        delays=(Delay(DelayKind.HELD, "the operator asked", 4_700_000),),
    ),
    interventions=Interventions(holds=1),
)
RUN: Final = RunSnapshot(
    number=1,
    name="prick_out_tray.nc",
    phase=Phase.MOVING,
    part=1,
    parts=2,
    line=7,
    loop=1,
    loops=1,
    for_s=None,
    check_edges=False,
    checks_edges_now=False,
    production=PRODUCTION,
    to_go_us=None,
    path_us=1_230_000,
    end_us=9_400_000,
    rate_percent=100.0,
    attempts=1,
    message="",
    lines=42,
    left_us=8_170_000,
    start=START,
    behind_us=None,
    awaits="seedling_held to be on",
    obstacle=None,
)


OVER: Final = RunOver(1, "prick_out_tray.nc", Outcome.FINISHED, "", None, "ended")
WAY: Final = WayBack(1, "prick_out_tray.nc", 7, {"elbow": 35.0})
as_answer(WayBack)
as_answer(RunGoing)
as_answer(RunOver)


class RunProgress(RootModel[RunOver | RunGoing]):
    """Where a run is."""
