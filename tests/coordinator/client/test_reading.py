"""What coordinators of any version answer, as values: nothing misread, and what lacks is named."""

import copy
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from enum import StrEnum
from typing import Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.api.responses.arm import ARM, WARNING
from coordinator.api.responses.base import plain
from coordinator.api.responses.homing import HOMING
from coordinator.api.responses.report import EVENT, REPORT, RUN_IN_SHORT
from coordinator.api.responses.run import OVER
from coordinator.api.responses.simple import CONTROL
from coordinator.client.reading import Unlike, read
from coordinator.client.values import ArmSnapshot
from coordinator.codes.arm_phase import ArmPhase
from coordinator.codes.refusal import RefusalCode

Path = tuple[str | int, ...]
EXAMPLES = [ARM, WARNING, HOMING, REPORT, EVENT, RUN_IN_SHORT, OVER, CONTROL]
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


def members(value: Any, at: Path = ()) -> list[Path]:
    """Where everything is in a JSON value."""
    inner: list[tuple[str | int, Any]] = []
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, list):
        inner = list(enumerate(value))
    return [place for name, one in inner for place in ((*at, name), *members(one, (*at, name)))]


def parent(value: Any, path: Path) -> Any:
    for name in path[:-1]:
        value = value[name]
    return value


TOLD = plain(ARM)
PLACES = st.sampled_from(members(TOLD))


def mappings(value: Any, at: Path = ()) -> list[Path]:
    """Where objects are whose members are named by the arm, such as joints or poses."""
    inner: list[tuple[str | int, Any]] = []
    if is_dataclass(value):
        inner = [(field.name, getattr(value, field.name)) for field in fields(value)]
    elif isinstance(value, Mapping):
        inner = list(value.items())
    elif isinstance(value, tuple):
        inner = list(enumerate(value))
    found = [place for name, one in inner for place in mappings(one, (*at, name))]
    return [at, *found] if isinstance(value, Mapping) else found


BY_JOINT = mappings(ARM)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda one: type(one).__name__)
def test_what_a_coordinator_says_is_read_as_the_value_that_it_has(example: Any) -> None:
    assert read(type(example), plain(example)) == example


@given(st.sampled_from([(), *members(TOLD)]), JSON)
def test_members_that_are_not_known_are_passed_over(place: Path, value: Any) -> None:
    told = copy.deepcopy(TOLD)
    inner = parent(told, (*place, ""))
    if isinstance(inner, dict) and place not in BY_JOINT:
        inner["a member of tomorrow"] = value
    assert read(ArmSnapshot, told) == ARM


@given(PLACES)
def test_a_member_that_lacks_is_null_where_that_is_allowed_and_else_named(place: Path) -> None:
    told, without = copy.deepcopy(TOLD), copy.deepcopy(TOLD)
    parent(told, place)[place[-1]] = None
    del parent(without, place)[place[-1]]
    if isinstance(place[-1], int) or place[:-1] in BY_JOINT:
        return  # one fewer of a list is another list
    try:
        null = read(ArmSnapshot, told)
    except Unlike:
        with pytest.raises(Unlike, match="is missing") as unlike:
            read(ArmSnapshot, without)
        assert unlike.value.member == ".".join(map(str, place))
    else:
        assert read(ArmSnapshot, without) == null


@given(PLACES, JSON)
def test_a_member_of_another_form_is_named_and_never_taken_for_something(
    place: Path, value: Any
) -> None:
    told = copy.deepcopy(TOLD)
    parent(told, place)[place[-1]] = value
    named = ""
    try:
        found = read(ArmSnapshot, told)
    except Unlike as error:
        named = error.member
    if named:
        assert named.startswith(".".join(map(str, place)))
    else:  # it happens to be right: then it was read as what was told
        again = parent(plain(found), place)[place[-1]]
        assert known(again, again) == known(value, again) or not (again or value)


def known(value: Any, read: Any) -> Any:
    """What of a value can have been read: its members that are not null, as who leaves one out says
    the same, and that there is a place for.
    """
    if isinstance(value, dict) and isinstance(read, dict):
        told = {name: one for name, one in value.items() if one is not None and name in read}
        return {name: known(one, read[name]) for name, one in told.items()}
    if isinstance(value, list) and isinstance(read, list) and len(value) == len(read):
        return [known(one, of) for one, of in zip(value, read, strict=True)]
    return value


@given(JSON)
def test_nothing_that_json_can_say_breaks_the_reader(value: Any) -> None:
    for example in EXAMPLES:
        with pytest.raises(Unlike):
            read(type(example), value)


def test_a_word_of_tomorrow_stays_the_word_that_it_is_and_claims_no_rest() -> None:
    word = read(ArmPhase, "dancing")
    assert (word, str(word)) == ("dancing", "dancing")
    assert word.busy
    assert word not in set(ArmPhase)
    assert "dancing" not in ArmPhase.__members__
    assert read(RefusalCode, "too-late") == "too-late"
    assert read(ArmPhase, "idle") is ArmPhase.IDLE


class Mood(StrEnum):
    FINE = "fine"


@dataclass(frozen=True)
class Sample:
    whole: int
    figure: float
    pair: tuple[float, int]
    word: Literal["a", "b"]
    mood: Mood
    more: dict[str, tuple[int, ...]] | None = None


RIGHT: dict[str, Any] = {"whole": 1, "figure": 2, "pair": [3, 4], "word": "a", "mood": "fine"}


@pytest.mark.parametrize(
    ("member", "value", "says"),
    [
        ("whole", True, "is true or false, but must be a whole number"),
        ("whole", 1.0, "is a number, but must be a whole number"),
        ("whole", None, "is null, but must be a whole number"),
        ("figure", "2", "is a text, but must be a number"),
        ("pair", [3], "has 1 members, but must have 2"),
        ("pair", 3, "is a whole number, but must be a list"),
        ("word", "c", "is 'c', but must be one of 'a', 'b'"),
        ("mood", 5, "is a whole number, but must be a text"),
        ("more", [], "is a list, but must be an object"),
    ],
)
def test_what_is_wrong_is_told_in_words(member: str, value: Any, says: str) -> None:
    with pytest.raises(Unlike, match=says) as unlike:
        read(Sample, RIGHT | {member: value})
    assert unlike.value.member == member


def test_a_whole_number_does_for_a_figure_and_a_place_in_a_list_is_named() -> None:
    found = read(Sample, RIGHT)
    assert found == Sample(1, 2.0, (3.0, 4), "a", Mood.FINE)
    assert isinstance(found.figure, float)
    with pytest.raises(Unlike) as unlike:
        read(tuple[Sample, ...], [RIGHT, RIGHT | {"more": {"left": [1, "x"]}}], "samples")
    assert unlike.value.member == "samples.1.more.left.1"
