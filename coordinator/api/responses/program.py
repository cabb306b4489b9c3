"""Programs checked and rehearsed."""

from dataclasses import asdict
from typing import Literal

from coordinator.api.rehearsals import Network
from coordinator.api.responses.base import ResponseModel, as_answer, eg
from coordinator.health.heat_report import Estimate
from coordinator.motion.check import CheckedMove, Overtravels, SlowerCorner, SlowerMove
from coordinator.motion.curves import Curves
from coordinator.motion.marks import CurveMark, MarkKind
from coordinator.motion.peaks import JointPeaks, Peak
from coordinator.motion.points import CornerLimit
from coordinator.motion.seam import Seam
from coordinator.rehearsal.summary import Quantiles, Share, Summary

_MOVE = CheckedMove(1, {"A": -35.0, "B": -20.0}, True, 1.92)
_SLOWER = SlowerMove(1, "elbow", 60.0, 75.0, 0.93, 1.17)
_CORNER = SlowerCorner(2, 60.0, 14.2, CornerLimit.TOLERANCE, None)
_OVERTRAVELS = Overtravels(3, 1.81, ("elbow",), 0)
_SEAM = Seam(1, {"elbow": 17.5}, 1.02, "")
_SEEN = Quantiles(1, 310.0, 310.0, 310.0, 310.0, 310.0)
_DELAY = Quantiles(1, 240_000.0, 240_000.0, 240_000.0, 240_000.0, 240_000.0)
_NONE = Share(0, 1, 0.95)
_SUMMARY = Summary(
    rehearsals=1, outcomes={"finished": 1}, reasons={}, wait_us=_DELAY, duration_us=_DELAY,
    start_skew_us=_SEEN, start_skew_max_us=_SEEN, start_margin_us={"elbow": _SEEN},
    off_us={"elbow": _SEEN},
    start_delay_us=_DELAY, not_at_once=_NONE, retried=_NONE, partial=_NONE, refused=_NONE, holds=0,
    holds_per_run=0.0, holds_per_minute=0.0, hold_causes={}, apart_us=None, buffer_margin_us={},
    lowest_supply_v={"elbow": 23.4}, simulated_us=4_000_000,
)  # fmt: skip
CURVES = Curves(
    "here", (0.0, 0.96), {"elbow": (-17.5, -35.0)}, {"elbow": (0.0, -17.5)}, (1, 1),
    {"elbow": (-170.0, 170.0)}, 1.92, {"elbow": (-47.4, -47.4)}, {"elbow": (0.0, 0.0)},
    {"elbow": (-96.0, -96.0)}, {"elbow": (96.0, 96.0)}, {"elbow": 60.0}, {"elbow": 120.0},
    {"elbow": 96.0}, (CurveMark(MarkKind.OUTPUT, 1.92, 1.92, 2, "gripper", True),), {"passed": 12},
)  # fmt: skip
as_answer(Curves)
_WARMEST = Estimate(48.2, 46.5, 49.9)
_PEAKS = JointPeaks("elbow", Peak(60.0, 60.0, 1), Peak(120.0, 120.0, 1))


class Mistake(ResponseModel):
    """A place in a program and what is to be said of it. Lines and columns count from 1."""

    line: int = eg(3)
    column: int = eg(8)
    """In characters of the text."""
    message: str = eg(
        "Q5 is a peck's depth (NISTIR 6556 §3.5.16), and not taken here; the joints are A B C"
    )


class Check(ResponseModel):
    """What a program would do. Times in s of path time, without pauses."""

    ok: bool = eg(True)
    begins: Literal["here", "park"] = eg("here")
    """From where it was checked: `park` where nobody knows where the arm stands."""
    duration_s: float | None = eg(1.92)
    """`null` for a program with mistakes."""
    moves: list[CheckedMove] = eg([asdict(_MOVE)])
    slower: list[SlowerMove] = eg([asdict(_SLOWER)])
    corners: list[SlowerCorner] = eg([asdict(_CORNER)])
    """Ends of moves in G64 that are passed more slowly than the program asks."""
    errors: list[Mistake] = eg([])
    """Mistakes, at most a hundred and one that counts the rest."""
    remarks: list[Mistake] = eg([])
    """What is no mistake, but may not be meant."""
    overtravel: Overtravels | None = eg(asdict(_OVERTRAVELS))
    """`null` for an arm without approach sides, and for a program with mistakes."""
    seam: Seam | None = eg(asdict(_SEAM))
    """With what another loop would begin; `null` where each ends as it begins."""
    pauses: int | None = eg(2)
    """How often it waits for somebody to resume, with these switches; `null` with mistakes."""
    edges_s: float | None = eg(94.2)
    """How long one check of home edges takes between two loops; `null` where it cannot be made or
    nobody knows, and for a program with mistakes."""
    more: dict[str, int] = eg({})
    """Of `moves`, `slower` and `corners`, how many more there are: 50,000 of each are told."""


class Rehearsal(ResponseModel):
    """How a rehearsal goes or went, with what is known so far."""

    rehearsal: int = eg(1)
    name: str = eg("prick_out_tray.nc")
    network: Network = eg("home")
    state: Literal["running", "done", "cancelled", "failed"] = eg("done")
    message: str = eg("")
    """Why it failed; empty if it did not."""
    errors: list[Mistake] = eg([])
    """The program's mistakes, for an arm that stands at its pose `park`."""
    done: int = eg(1)
    """How often it was played so far."""
    of: int = eg(1)
    """How often it is to be."""
    summary: Summary | None = eg(asdict(_SUMMARY))
    """`null` before the first is done."""
    joints: list[JointPeaks] = eg([asdict(_PEAKS)])
    """Base to tool; empty until the program is planned."""
    fitted_hops: list[str] = eg(["elbow"])
    """Joints the way to which has the resistance that is fitted on the arm; the rest has the arm
    file's."""
    highest_temperature_c: dict[str, Estimate | None] = eg({"elbow": asdict(_WARMEST)})
    """Of each joint, with its 90 % interval, by what was fitted to it when this was asked for;
    `null` where it is not known. Empty before the first is done."""
    heat: str = eg("highest temperature: elbow 48.2 °C (46.5 to 49.9)")
    """The same for people, with what is nearest to where it stops, and why some are not known."""


class Begun(ResponseModel):
    """A rehearsal has begun."""

    rehearsal: int = eg(1)
    """Its number."""


class Choice(ResponseModel):
    """What was asked for last."""

    network: Network = eg("home")
    repetitions: int = eg(20)
    """How often a program was to be played."""
