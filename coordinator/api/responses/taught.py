"""Answers about what was taught: the values of `teaching` and `store`, as they are kept."""

from typing import Final

from coordinator.answers.taught import ProgramPreview, TaughtResult, TaughtSnapshot
from coordinator.api.responses.base import ResponseModel, as_answer, eg, plain
from coordinator.api.responses.program import Mistake
from coordinator.codes.outcome import Outcome
from coordinator.store.taught import KeptChange
from coordinator.teaching.correction import Shifted
from coordinator.teaching.shifted_text import ChangedLine
from coordinator.teaching.taught import KeptProgram, Sequence, Visit, Waypoint

_WAYPOINT: Final = Waypoint(3, "above the tray", {"turntable": -35.0, "shoulder": 20.5})
_SEQUENCE: Final = Sequence(1, "one tray", (Visit(3, speed_percent=40.0, dwell_s=0.5),))
_PROGRAM: Final = KeptProgram(5, "one tray by hand", "9f86d081" * 8)
_CHANGE: Final = KeptChange(
    12, 11, "2031-04-05T06:07:08Z", "a page on a computer", "recorded 'above the tray'", (1,)
)

for kind in (TaughtSnapshot, Waypoint, Visit, Sequence, KeptProgram, KeptChange, Shifted):
    as_answer(kind)
as_answer(ChangedLine)
as_answer(ProgramPreview)
as_answer(TaughtResult)

TAUGHT: Final = TaughtSnapshot(
    7, (_WAYPOINT,), (_SEQUENCE,), (_PROGRAM,), "recorded 'above the tray' in 'one tray'", None
)


_PREVIEW: Final = ProgramPreview(
    _PROGRAM, 1, (ChangedLine(4, "G0 C20 (above the tray)", "G0 C20.4 (above the tray)"),), ()
)
_RESULT: Final = TaughtResult(
    9, "one tray", Outcome.FINISHED, "2031-04-05T06:07:08+00:00", "2031-04-05T06:09:31+00:00", 1,
    same_text=True,
)  # fmt: skip


class TaughtChanges(ResponseModel):
    """Changes of what was taught."""

    changes: list[KeptChange] = eg([plain(_CHANGE)])


class ShiftPreview(ResponseModel):
    """What a shift would make of waypoints and programs."""

    waypoints: list[Shifted] = eg([plain(Shifted(_WAYPOINT, _WAYPOINT, ()))])
    programs: list[ProgramPreview] = eg([plain(_PREVIEW)])


class TaughtResults(ResponseModel):
    """The newest run of each sequence and program that was played."""

    runs: list[TaughtResult] = eg([plain(_RESULT)])


class Unfit(ResponseModel):
    """What keeps a program from being a sequence; nothing where it can be one."""

    errors: list[Mistake] = eg(
        [{"line": 2, "column": 1, "message": "a sequence has no pause M0, M1 or M60"}]
    )
