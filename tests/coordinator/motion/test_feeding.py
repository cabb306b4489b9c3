"""A plan that comes in pieces is the plan that is made at once."""

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coordinator.motion import Part, PlannedMove, feeding
from coordinator.motion.feeding import FedMove, FedPlan, PlayedPart, pieces_of
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.programs import Switches
from coordinator.programs.loops import Loops
from tests.coordinator.motion.test_plan import ARM, ZERO

LINES = st.lists(
    st.one_of(
        st.builds(
            "{} A{:.2f} B{:.2f}".format,
            st.sampled_from(["G0", "G1", "G61 G1", "G64 P0.5 G1", "G64 P5 G0", "G61.1 G1"]),
            st.floats(-60, 60),
            st.floats(-60, 60),
        ),
        st.sampled_from(["M0", "M1", "G4 P0.2", "G4 P0", "G0 A0", "A0"]),
    ),
    max_size=40,
)


def told(moves: Iterator[PlannedMove | None], part: PlayedPart) -> list[tuple[object, ...]]:
    """Moves as a run sees them."""
    return [
        (one.line, part.loop_of(k), one.start_us, one.duration_us, one.points, one.switch)
        for k, one in enumerate(moves)
        # What leads nowhere is not taken by whoever plays.
        if one is not None and (one.duration_us or any(one.points))
    ]


@settings(max_examples=12, deadline=None)
@given(
    lines=LINES,
    loops=st.integers(1, 3),
    by_line=st.booleans(),
    size=st.sampled_from([1, 2, 7, 256]),
)
def test_a_plan_in_pieces_is_to_the_last_count_the_plan_made_at_once(
    lines: list[str], loops: int, by_line: bool, size: int
) -> None:
    text = "\n".join(["F900", "G0 A1", *lines, "M2"])
    switches = Switches(optional_stop=True, step_by_line=by_line)
    start = pose_at(ARM, ZERO)
    whole = plan_text(text, ARM, start, Loops(loops), switches)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(feeding, "PIECES", size)
        pieces = list(pieces_of(plan_text(text, ARM, start, Loops(loops), switches, ahead=False)))
    plan = FedPlan(len(whole))
    taken = iter(pieces)
    for number, part in enumerate(whole):
        while True:
            # What is played waits for each move until its piece has come.
            try:
                fed = plan[number]
                break
            except IndexError:
                plan.take(next(taken))
        assert fed.first_points() == part.first_points()
        ends = (part.is_empty, part.pause_line, part.pause_loop, part.end_line, part.awaits)
        assert (fed.is_empty, fed.pause_line, fed.pause_loop, fed.end_line, fed.awaits) == ends
        assert told(pulled(plan, fed, taken), fed) == told(part.moves(), part)
    assert next(taken, ()) == ()


def pulled(
    plan: FedPlan, part: PlayedPart, pieces: Iterator[tuple[feeding.Fed, ...]]
) -> Iterator[PlannedMove | None]:
    for move in part.moves():
        if move is not None:
            yield move
        elif (piece := next(pieces, None)) is not None:
            plan.take(piece)
        else:
            plan.close()


def long_part() -> tuple[Part, ...]:
    text = "".join(f"G0 A{k % 2}\n" for k in range(3_000)) + "M2\n"
    return plan_text(text, ARM, pose_at(ARM, ZERO), ahead=False)


def test_no_more_is_asked_for_than_is_soon_played() -> None:
    pieces = pieces_of(long_part())
    plan = FedPlan(1)
    moves = 0
    while plan.wants:
        piece = next(pieces)
        plan.take(piece)
        moves += sum(isinstance(one, FedMove) for one in piece)
    assert moves < feeding.AHEAD + feeding.PIECES
    taken = plan[0].moves()
    for _ in range(feeding.PIECES):
        assert next(taken) is not None
    assert plan.wants
