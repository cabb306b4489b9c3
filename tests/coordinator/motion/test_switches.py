"""What the operator's switches leave of a program, and what M1 and M60 do."""

from coordinator.motion import check_program
from coordinator.motion.curves import curves
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.programs import NO_SWITCHES, Switches
from coordinator.programs.loops import Loops
from tests.coordinator.motion.test_plan import ARM, ZERO

TEXT = "G0 A10\nM1\nA20\nM60\n/A30\nM0\nA0\nM2\n"
STOPS = Switches(optional_stop=True)
DELETES = Switches(block_delete=True)


def pauses(switches: Switches = NO_SWITCHES, loops: int = 1) -> list[int | None]:
    found = plan_text(TEXT, ARM, pose_at(ARM, ZERO), Loops(loops), switches)
    return [part.pause_line for part in found]


def test_m1_parts_a_program_only_where_optional_stop_is_on_and_m60_always() -> None:
    # NISTIR 6556 §3.6.1, from memory.
    assert pauses() == [4, 6, None]
    assert pauses(STOPS) == [2, 4, 6, None]
    assert pauses(STOPS, 2) == [2, 4, 6, 2, 4, 6, None]


def test_a_pause_that_is_off_leaves_no_rest_in_the_trajectory_of_its_part() -> None:
    part, *_ = plan_text(TEXT, ARM, pose_at(ARM, ZERO))
    assert [move.line for move in part.moves()] == [1, 3]
    assert [point.last for move in part.moves() for point in move.points[0]].count(True) == 1


def test_deleted_lines_are_neither_checked_nor_planned_nor_drawn() -> None:
    lines = [move.line for move in check_program(TEXT, ARM, ZERO, DELETES).moves]
    assert lines == [1, 3, 7]
    wrong = "/G2 A999\nG0 A1\nM2\n"
    assert not check_program(wrong, ARM, ZERO).ok
    assert check_program(wrong, ARM, ZERO, DELETES).ok
    assert max(curves(wrong, ARM, ZERO, DELETES).high_deg["turntable"]) == 1.0
    assert len(plan_text(wrong, ARM, pose_at(ARM, ZERO), switches=DELETES)) == 1


def test_moves_are_told_by_the_letters_that_the_program_gives_its_joints() -> None:
    head = "(UNISONO, X turntable)\n"
    (move,) = check_program(f"{head}G0 X10\nM2", ARM, ZERO).moves
    assert list(move.target.items())[:2] == [("X", 10.0), ("B", 0.0)]
    (mistake,) = check_program(f"{head}G0 X999\nM2", ARM, ZERO).errors
    assert (mistake.line, mistake.column) == (2, 4)
    assert mistake.message.startswith("turntable would go to 999°")
