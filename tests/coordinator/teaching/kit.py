"""An arm of three joints, and random edits of what it was taught."""

import itertools
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from hypothesis import strategies as st

from coordinator.config.arm import Arm, parse_arm
from coordinator.store.texts import digest_of
from coordinator.teaching.changes import Change, applied
from coordinator.teaching.correction import Correction, Shift, ShiftedProgram
from coordinator.teaching.edits import AskedEdit, Edit
from coordinator.teaching.known import Circumstances
from coordinator.teaching.program_edits import DeleteProgram, KeepProgram, RenameProgram
from coordinator.teaching.sequence_edits import AddSequence, DeleteSequence, RenameSequence
from coordinator.teaching.shifted_text import shifted_text
from coordinator.teaching.taught import Taught, TaughtError
from coordinator.teaching.visit_edits import Duplicate, Insert, Move, Record, Remove, SetVisit
from coordinator.teaching.waypoint_edits import Overwrite, RenameWaypoint
from tests.quick_arm import arm_text

OUTPUT = '\n[[tool_outputs]]\noutput = "gripper"\non = "M3"\noff = "M5"\n'
NAMES = st.sampled_from(["tray", "above", "Ä <b>&amp;", "seedling 3", "park", "x" * 60])


def taught_arm() -> Arm:
    """Three joints, all from −170° to 170°, and a gripper on the last."""
    text = arm_text(3, "c0ffee0123")
    joint = text.rindex("hop_resistance_ohm")
    text = text[:joint] + 'outputs = ["gripper"]\n' + text[joint:] + OUTPUT
    return parse_arm(text, Path("taught.toml"))


ARM = taught_arm()
ANGLES = st.floats(-170, 170).map(lambda angle: round(angle, 5) + 0.0)
SOME_TEXTS = ("G0 A1 B-2.5\nM2\n", "", "G2 X1", "(Ä)\nG91 G0 C1\nM2")
TEXTS = st.sampled_from(SOME_TEXTS)
PLACES = st.integers(-1, 6)
IDS = st.integers(1, 12)


def places() -> st.SearchStrategy[dict[str, float]]:
    """Where the arm may stand."""
    return st.fixed_dictionaries({joint.name: ANGLES for joint in ARM.joints})


def edits() -> st.SearchStrategy[Edit]:
    """Edits, some of which are of something that is not there."""
    percent = st.none() | st.floats(0.00001, 100) | st.just(100.0)
    dwell = st.none() | st.floats(0, 3600)
    outputs = st.none() | st.lists(st.sampled_from(["M3", "M5"]), max_size=2)
    return st.one_of(
        st.builds(AddSequence, st.just("add-sequence"), NAMES, st.none() | IDS),
        st.builds(RenameSequence, st.just("rename-sequence"), IDS, NAMES),
        st.builds(DeleteSequence, st.just("delete-sequence"), IDS),
        st.builds(Record, st.just("record"), IDS, st.none() | PLACES, st.just("") | NAMES),
        st.builds(Record, st.just("record"), st.none(), st.none() | PLACES, st.just(""), NAMES),
        st.builds(Insert, st.just("insert"), IDS, IDS, st.none() | PLACES),
        st.builds(Duplicate, st.just("duplicate"), IDS, PLACES),
        st.builds(Remove, st.just("remove"), IDS, PLACES),
        st.builds(Move, st.just("move"), IDS, PLACES, PLACES),
        st.builds(
            SetVisit, st.just("set-visit"), IDS, PLACES, percent, st.none() | st.booleans(),
            outputs, dwell,
        ),
        st.builds(RenameWaypoint, st.just("rename-waypoint"), IDS, NAMES),
        st.builds(Overwrite, st.just("overwrite"), IDS),
        st.builds(KeepProgram, st.just("keep-program"), TEXTS, NAMES, st.none() | IDS),
        st.builds(RenameProgram, st.just("rename-program"), IDS, NAMES),
        st.builds(DeleteProgram, st.just("delete-program"), IDS),
    )  # fmt: skip


class Teaching:
    """What was taught, edit by edit."""

    def __init__(self, taught: Taught | None = None) -> None:
        self.taught = taught or Taught()
        self.standing = {joint.name: 0.0 for joint in ARM.joints}
        self._fresh = itertools.count(1)
        self.texts = {digest_of(text): text for text in SOME_TEXTS}

    @property
    def known(self) -> Circumstances:
        """The arm, where it stands, and numbers that nobody had."""
        return Circumstances(ARM, lambda: next(self._fresh), self._keep, lambda: self.standing)

    def _keep(self, text: str) -> str:
        self.texts[digest_of(text)] = text
        return digest_of(text)

    def text(self, program: int) -> str:
        """Of a program that is kept."""
        return self.texts[self.taught.programs[program].sha256]

    def shift(self, shift: Shift) -> Correction:
        """A shift with its programs. Raises TaughtError."""
        shift.require_sound(ARM)
        programs = [
            ShiftedProgram(one, shifted_text(self.text(one.id), ARM, shift.offsets_deg))
            for one in shift.programs_of(self.taught)
        ]
        return Correction(shift, tuple(programs))

    def edit(self, asked: AskedEdit) -> Change:
        """Make an edit. Raises TaughtError."""
        edit = self.shift(asked) if isinstance(asked, Shift) else asked
        change = edit.change(self.taught, self.known)
        self.taught = applied(self.taught, change)
        return change

    def record(self, sequence: int, name: str = "", **angles: float) -> None:
        """Record a place; joints that are not named stand where they did."""
        self.standing = {**self.standing, **angles}
        self.edit(Record("record", sequence, None, name))


def taught_by(sequence: Iterable[tuple[Edit, dict[str, float]]]) -> Taught:
    """What remains of edits, of which those that cannot be are left out."""
    teaching = Teaching()
    teaching.edit(AddSequence("add-sequence", "first"))
    for edit, standing in sequence:
        teaching.standing = standing
        try:
            teaching.edit(edit)
        except TaughtError:
            continue
    return teaching.taught


def taught() -> st.SearchStrategy[Taught]:
    """What people may have taught: mostly some waypoints in some sequences."""
    first = st.builds(Record, st.just("record"), st.just(1), st.none(), st.just("") | NAMES)
    mixed = st.lists(st.tuples(first | edits(), places()), max_size=25)
    return mixed.map(taught_by)


def without_ids(taught: Taught) -> list[object]:
    """What people see of it: two that differ in numbers only are the same."""
    names = {number: one.name for number, one in taught.waypoints.items()}
    return [
        sorted((one.name, sorted(one.angles_deg.items())) for one in taught.waypoints.values()),
        sorted(
            (one.name, [(names[v.waypoint], replace(v, waypoint=0)) for v in one.visits])
            for one in taught.sequences.values()
        ),
    ]
