"""Edits of what was taught: what each does, and what is refused in which words."""

import pytest

from coordinator.teaching import known
from coordinator.teaching.edits import Edit
from coordinator.teaching.known import NoSuch
from coordinator.teaching.sequence_edits import AddSequence, DeleteSequence, RenameSequence
from coordinator.teaching.taught import TaughtError
from coordinator.teaching.visit_edits import Duplicate, Insert, Move, Record, Remove, SetVisit
from coordinator.teaching.waypoint_edits import Overwrite, RenameWaypoint
from tests.coordinator.teaching.kit import Teaching


@pytest.fixture(name="teaching")
def two_sequences() -> Teaching:
    """`pick` visits three places, `water` one of them; numbers 1 and 2."""
    teaching = Teaching()
    teaching.edit(AddSequence("add-sequence", "pick"))
    teaching.edit(AddSequence("add-sequence", "water"))
    for k, name in enumerate(("above", "tray", "park")):
        teaching.record(1, name, turntable=10.0 * k)
    teaching.edit(Insert("insert", 2, 4))
    return teaching


def names(teaching: Teaching, sequence: int = 1) -> list[str]:
    """What a sequence visits, in order."""
    taught = teaching.taught
    return [taught.waypoints[visit.waypoint].name for visit in taught.sequences[sequence].visits]


def test_places_are_recorded_where_the_arm_stands_at_the_end_or_where_asked(
    teaching: Teaching,
) -> None:
    teaching.standing["elbow"] = 1.234567
    teaching.edit(Record("record", 1, 1, " between  them "))
    assert names(teaching) == ["above", "between them", "tray", "park"]
    made = teaching.taught.named("between them")
    assert made is not None
    assert made.angles_deg == {"turntable": 20.0, "shoulder": 0.0, "elbow": 1.23457}


def test_a_place_is_recorded_into_a_new_sequence_as_one_change(teaching: Teaching) -> None:
    before = teaching.taught
    teaching.edit(Record("record", name="first", new="later"))
    (new,) = teaching.taught.sequences.keys() - before.sequences.keys()
    assert teaching.taught.sequences[new].name == "later"
    assert names(teaching, new) == ["first"]
    for wrong in (Record("record", name="tray", new="more"), Record("record", new="Pick")):
        with pytest.raises(TaughtError):
            teaching.edit(wrong)


def test_visits_are_moved_both_ways_duplicated_and_inserted(teaching: Teaching) -> None:
    teaching.edit(Move("move", 1, 0, 2))
    assert names(teaching) == ["tray", "park", "above"]
    teaching.edit(Move("move", 1, 2, 1))
    assert names(teaching) == ["tray", "above", "park"]
    teaching.edit(Duplicate("duplicate", 1, 0))
    assert names(teaching) == ["tray", "tray", "above", "park"]
    teaching.edit(Insert("insert", 1, 5, 0))
    assert names(teaching)[0] == "park"
    assert teaching.edit(Move("move", 1, 1, 1)) == ()


def test_waypoint_goes_with_its_last_visit_and_stays_while_another_sequence_has_one(
    teaching: Teaching,
) -> None:
    teaching.edit(Remove("remove", 1, 2))
    assert teaching.taught.named("park") is None
    teaching.edit(Remove("remove", 1, 1))
    assert teaching.taught.named("tray") is not None
    teaching.edit(DeleteSequence("delete-sequence", 2))
    assert teaching.taught.named("tray") is None
    assert teaching.taught.sequences.keys() == {1}


def test_waypoint_is_renamed_and_overwritten_in_all_sequences(teaching: Teaching) -> None:
    teaching.standing["shoulder"] = -40.0
    teaching.edit(Overwrite("overwrite", 4))
    teaching.edit(RenameWaypoint("rename-waypoint", 4, "deep in the tray"))
    assert names(teaching)[1] == names(teaching, 2)[0] == "deep in the tray"
    assert teaching.taught.waypoints[4].angles_deg["shoulder"] == -40.0
    assert Overwrite("overwrite", 4).words(teaching.taught) == (
        "overwrote 'deep in the tray', in 2 sequences"
    )


def test_sequence_is_copied_with_its_visits_and_shares_its_waypoints(teaching: Teaching) -> None:
    teaching.edit(AddSequence("add-sequence", "pick again", 1))
    copy = max(teaching.taught.sequences)
    assert names(teaching, copy) == names(teaching)
    assert len(teaching.taught.waypoints) == 3


@pytest.mark.parametrize(
    ("edit", "kind", "told"),
    [
        (AddSequence("add-sequence", "  "), TaughtError, "a sequence needs a name"),
        (AddSequence("add-sequence", "PICK"), TaughtError, "there is a sequence 'pick' already"),
        (AddSequence("add-sequence", "a(b"), TaughtError, "a name cannot hold '('"),
        (AddSequence("add-sequence", "a\x07b"), TaughtError, "a name cannot hold 'U+0007'"),
        (AddSequence("add-sequence", "x" * 61), TaughtError, "61 characters, at most 60"),
        (AddSequence("add-sequence", "unisono, x"), TaughtError, "cannot begin with 'UNISONO,'"),
        (AddSequence("add-sequence", "UNISONO , x"), TaughtError, "cannot begin with 'UNISONO,'"),
        (AddSequence("add-sequence", "c", 9), NoSuch, "there is no sequence 9"),
        (RenameSequence("rename-sequence", 1, "water"), TaughtError, "'water' already"),
        (DeleteSequence("delete-sequence", 7), NoSuch, "there is no sequence 7"),
        (Record("record", 9), NoSuch, "there is no sequence 9"),
        (Record("record", 1, 4), NoSuch, "'pick' has 3 visits: no place at index 4"),
        (Record("record", 1, None, "Tray"), TaughtError, "there is a waypoint 'tray' already"),
        (Insert("insert", 1, 99), NoSuch, "there is no waypoint 99"),
        (Remove("remove", 1, 3), NoSuch, "'pick' has 3 visits, and none at index 3"),
        (Remove("remove", 1, -1), NoSuch, "none at index -1"),
        (Move("move", 1, 0, 3), NoSuch, "none at index 3"),
        (SetVisit("set-visit", 1, 0, 0.0), TaughtError, "a speed of 0 %: above 0 and up to 100"),
        (SetVisit("set-visit", 1, 0, 100.5), TaughtError, "a speed of 100.5 %"),
        (SetVisit("set-visit", 1, 0, float("nan")), TaughtError, "a speed of nan %"),
        (SetVisit("set-visit", 1, 0, dwell_s=-0.1), TaughtError, "a dwell of -0.1 s: 0 to 3600 s"),
        (SetVisit("set-visit", 1, 0, dwell_s=1e9), TaughtError, "a dwell of 1e+09 s"),
        (SetVisit("set-visit", 1, 0, outputs=["M8"]), TaughtError, "'M8' switches no output"),
        (
            SetVisit("set-visit", 1, 0, outputs=["M3", "M5", "M3"]),
            TaughtError,
            "3 outputs to switch, at most 2",
        ),
        (RenameWaypoint("rename-waypoint", 4, "above"), TaughtError, "'above' already"),
        (Overwrite("overwrite", 99), NoSuch, "there is no waypoint 99"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence_and_changes_nothing(
    teaching: Teaching, edit: Edit, kind: type[TaughtError], told: str
) -> None:
    before = teaching.taught
    with pytest.raises(kind) as caught:
        teaching.edit(edit)
    assert told in str(caught.value)
    assert teaching.taught is before


def test_no_more_is_kept_than_there_is_room_for(
    teaching: Teaching, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(known, "MAX_VISITS", 5)
    monkeypatch.setattr(known, "MAX_WAYPOINTS", 4)
    teaching.edit(Record("record", 1))
    with pytest.raises(TaughtError, match="6 visits, at most 5 are kept"):
        teaching.edit(Record("record", 1))
    with pytest.raises(TaughtError, match="at most 5 are kept"):
        teaching.edit(AddSequence("add-sequence", "copy", 1))
    teaching.edit(Remove("remove", 2, 0))
    with pytest.raises(TaughtError, match="5 waypoints, at most 4 are kept"):
        teaching.edit(Record("record", 1))
