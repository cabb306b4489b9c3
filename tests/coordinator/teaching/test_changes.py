"""Changes and their inverses: what is taken back is exactly what was before."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.teaching.changes import (
    Contradiction,
    VisitsSet,
    WaypointSet,
    applied,
    inverse,
    touched,
)
from coordinator.teaching.edits import Edit
from coordinator.teaching.sequence_edits import AddSequence
from coordinator.teaching.taught import Taught, TaughtError, Visit, Waypoint
from tests.coordinator.teaching.kit import Teaching, edits, places, taught


@given(taught(), st.lists(st.tuples(edits(), places()), max_size=10))
def test_undo_then_redo_of_any_edits_is_the_identity(
    before: Taught, asked: list[tuple[Edit, dict[str, float]]]
) -> None:
    teaching = Teaching(before)
    for _ in range(100):
        teaching.known.fresh()  # what is there has lower numbers
    states, changes = [before], []
    for edit, standing in asked:
        teaching.standing = standing
        try:
            changes.append(teaching.edit(edit))
        except TaughtError:
            assert teaching.taught == states[-1], "an edit that cannot be has changed something"
            continue
        states.append(teaching.taught)
    now = teaching.taught
    for state, change in zip(reversed(states[:-1]), reversed(changes), strict=True):
        now = applied(now, inverse(change))
        assert now == state
    for state, change in zip(states[1:], changes, strict=True):
        now = applied(now, change)
        assert now == state


@given(taught(), edits(), places())
def test_every_edit_keeps_what_was_taught_whole(
    before: Taught, edit: Edit, standing: dict[str, float]
) -> None:
    teaching = Teaching(before)
    teaching.standing = standing
    for _ in range(100):
        teaching.known.fresh()
    try:
        change = teaching.edit(edit)
    except TaughtError:
        return
    after = teaching.taught
    for number, sequence in after.sequences.items():
        assert sequence.id == number
        for visit in sequence.visits:
            assert visit.waypoint in after.waypoints
            assert 0 < visit.speed_percent <= 100
    names = [one.name.casefold() for one in after.waypoints.values()]
    assert len(names) == len(set(names))
    names = [one.name.casefold() for one in after.sequences.values()]
    assert len(names) == len(set(names))
    names = [one.name.casefold() for one in after.programs.values()]
    assert len(names) == len(set(names))
    assert {one.sha256 for one in after.programs.values()} <= teaching.texts.keys()
    assert edit.words(before)
    # Whatever looks different in a sequence, the change is about it.
    for number in before.sequences.keys() & after.sequences.keys():
        same = before.sequences[number] == after.sequences[number] and all(
            before.waypoints[visit.waypoint] == after.waypoints[visit.waypoint]
            for visit in before.sequences[number].visits
        )
        assert same or number in touched(change, before)


@pytest.mark.parametrize(
    "step",
    [
        WaypointSet(1, None, Waypoint(1, "again", {})),
        WaypointSet(2, Waypoint(2, "gone", {}), None),
        VisitsSet(1, 0, (Visit(1),), ()),
        VisitsSet(7, 0, (), (Visit(1),)),
        VisitsSet(1, 5, (), (Visit(1),)),
    ],
)
def test_a_change_of_another_state_is_not_applied(step: WaypointSet | VisitsSet) -> None:
    teaching = Teaching()
    teaching.edit(AddSequence("add-sequence", "first"))
    state = Taught({1: Waypoint(1, "there", {})}, teaching.taught.sequences)
    with pytest.raises(Contradiction, match="is not what the change was made for"):
        applied(state, [step])
