"""Alarms have the states of ISA-18.2: the table, its diagram, and that it holds whatever happens.

The standard's states are from memory: normal, unacknowledged, acknowledged, returned to normal
unacknowledged, shelved; of its two others nothing here makes use.
"""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.alarm_state import AlarmState
from coordinator.codes.priority import Priority
from coordinator.health.alarm_kind import Finding, Kind
from coordinator.health.alarm_states import TRANSITIONS, AlarmTrigger, follow, mermaid
from coordinator.health.warnings import Kept, WarningKeeper
from tests.coordinator.health.joints import S

DEVELOPERS = Path(__file__).parents[3] / "DEVELOPERS.md"
WORDS = "it is", "it will be", "hurry", "is quick again", "none"
KIND = Kind("too-slow", Priority.MEDIUM, AlarmOrigin.HEAT, *WORDS)
BAD, CLEAR = Finding(KIND, True, "tip is slow"), Finding(KIND, False)


def test_the_diagram_for_developers_is_the_table() -> None:
    text = DEVELOPERS.read_text()
    begun = text.index("<!-- begin: alarm states -->")
    assert text[begun : text.index("<!-- end: alarm states -->")].split("```")[1] == (
        f"mermaid\n{mermaid()}\n"
    )


def test_every_state_can_be_reached_and_left_again() -> None:
    reached = {AlarmState.NORMAL}
    while (
        more := {target for (state, _), target in TRANSITIONS.items() if state in reached} - reached
    ):
        reached |= more
    assert reached == set(AlarmState)
    assert {state for state, _ in TRANSITIONS} == set(AlarmState)


@pytest.mark.parametrize("state", AlarmState)
@pytest.mark.parametrize("trigger", AlarmTrigger)
def test_what_is_not_in_the_table_does_not_happen(state: AlarmState, trigger: AlarmTrigger) -> None:
    if (state, trigger) in TRANSITIONS:
        assert follow(state, trigger) is TRANSITIONS[state, trigger]
    else:
        with pytest.raises(KeyError, match=f"{state} does not know {trigger.name.lower()}"):
            follow(state, trigger)


def test_nothing_but_its_own_end_makes_what_stands_normal() -> None:
    """Whoever acknowledges or shelves says something of the sign, not of what is wrong."""
    to_normal = {
        (state, trigger) for (state, trigger), to in TRANSITIONS.items() if to is AlarmState.NORMAL
    }
    assert to_normal == {
        (AlarmState.ACKNOWLEDGED, AlarmTrigger.ENDS),
        (AlarmState.RETURNED, AlarmTrigger.ACKNOWLEDGE),  # it is over by then
        (AlarmState.SHELVED, AlarmTrigger.CLEARED),
    }


def test_what_is_over_before_anybody_saw_it_stays_until_somebody_does() -> None:
    keeper = WarningKeeper()
    keeper.observe("tip", [BAD], 0)
    keeper.observe("tip", [CLEAR], S)
    assert keeper.standing == []
    assert [(one.id, one.state) for one in keeper.returned] == [(1, AlarmState.RETURNED)]
    seen = keeper.acknowledge(1)
    assert seen is not None
    assert seen.state is AlarmState.NORMAL
    assert keeper.returned == []
    assert keeper.acknowledge(1) is None


def test_one_that_comes_back_unseen_is_a_new_one() -> None:
    keeper = WarningKeeper()
    for k, found in enumerate((BAD, CLEAR, BAD)):
        keeper.observe("tip", [found], k * S)
    assert [(one.id, one.state) for one in keeper.standing] == [(2, AlarmState.UNACKNOWLEDGED)]
    assert keeper.returned == []


def test_a_shelf_hides_the_sign_alone_and_ends_by_itself() -> None:
    keeper = WarningKeeper()
    keeper.observe("tip", [BAD], 0)
    keeper.acknowledge(1)
    keeper.shelve("tip", KIND, "the bench", 60 * S)
    assert [(one.id, one.state) for one in keeper.standing] == [(1, AlarmState.SHELVED)]
    keeper.observe("tip", [CLEAR], 10 * S)
    keeper.observe("tip", [BAD], 20 * S)
    assert [(one.id, one.state) for one in keeper.standing] == [(2, AlarmState.SHELVED)]
    assert [(one.id, one.who) for one in keeper.shelved] == [(1, "the bench")]
    assert keeper.step(59 * S) == []
    assert [one.id for one in keeper.step(60 * S)] == [1]
    assert [(one.id, one.state) for one in keeper.standing] == [(2, AlarmState.UNACKNOWLEDGED)]
    assert keeper.shelved == []


def test_it_is_taken_off_by_its_own_number_or_by_that_of_what_stands() -> None:
    for number in (1, 2):
        keeper = WarningKeeper()
        keeper.observe("tip", [BAD], 0)
        keeper.shelve("tip", KIND, "the bench", 60 * S)
        for k, found in enumerate((CLEAR, BAD)):
            keeper.observe("tip", [found], k * S)
        taken = keeper.unshelve(number, 2 * S)
        assert taken is not None
        assert taken.id == 1
        assert [one.state for one in keeper.standing] == [AlarmState.UNACKNOWLEDGED]
        assert keeper.unshelve(number, 2 * S) is None


def test_one_that_was_shelved_before_a_restart_is_so_before_it_begins() -> None:
    keeper = WarningKeeper()
    shelf = keeper.shelve("tip", KIND, "the bench", 60 * S)
    keeper.observe("tip", [BAD], S)
    assert [(one.id, one.state) for one in keeper.standing] == [(2, AlarmState.SHELVED)]
    assert shelf.id == 1
    keeper.sooner(30 * S)  # the host slept
    assert [one.id for one in keeper.step(30 * S)] == [1]


def test_what_is_for_the_journal_alone_is_no_alarm() -> None:
    keeper = WarningKeeper()
    noted = Kind("clock-jumped", Priority.JOURNAL, AlarmOrigin.CLOCK, *WORDS)
    (begun,) = keeper.observe("tip", [Finding(noted, True, "it jumped")], 0)
    assert begun.began
    assert (keeper.standing, keeper.acknowledge(1), keeper.find(1)) == ([], None, None)
    assert keeper.stands("tip", noted)
    assert [one.began for one in keeper.observe("tip", [Finding(noted, False)], S)] == [False]
    assert keeper.returned == []


def test_what_nobody_has_seen_is_told_again_after_a_restart_and_no_more_once_somebody_has() -> None:
    keeper = WarningKeeper()
    keeper.recall("tip", KIND, "tip was slow", -60 * S, 0)
    (one,) = keeper.returned
    assert (one.state, one.message, one.since_us) == (AlarmState.RETURNED, "tip was slow", -60 * S)
    assert keeper.flood.count == 0
    assert keeper.episodes.of(one.id).number == one.id
    assert keeper.drained() == []  # it is kept already
    keeper.observe("tip", [BAD], S)  # it is so still: a new one says all that it did
    assert ([one.id for one in keeper.standing], keeper.returned) == ([2], [])
    keeper = WarningKeeper()
    keeper.recall("tip", KIND, "tip was slow", -60 * S, 0)
    assert keeper.acknowledge(1) is not None
    assert keeper.returned == []
    assert keeper.drained() == [Kept("tip", KIND, None, off_the_shelf=False)]


def test_one_that_began_anew_before_it_was_told_again_is_told_once() -> None:
    """A joint may be heard before the disk has said what nobody saw."""
    keeper = WarningKeeper()
    keeper.observe("tip", [BAD], 0)
    keeper.recall("tip", KIND, "tip was slow", -60 * S, S)
    assert ([one.id for one in keeper.standing], keeper.returned) == ([1], [])


def test_each_change_of_what_a_restart_must_know_is_told_once() -> None:
    keeper = WarningKeeper()
    keeper.observe("tip", [BAD], 0)
    ((joint, kind, unseen, off),) = keeper.drained()
    assert (joint, kind, off) == ("tip", KIND, False)
    assert unseen == keeper.standing[0]
    assert keeper.drained() == []
    keeper.observe("tip", [CLEAR], S)
    assert [one.unseen for one in keeper.drained()] == keeper.returned
    keeper.shelve("tip", KIND, "the bench", 60 * S)  # whoever did has seen it
    assert keeper.drained() == [Kept("tip", KIND, None, off_the_shelf=False)]
    keeper.observe("tip", [BAD], 2 * S)
    assert [one.unseen for one in keeper.drained()] == [None]
    keeper.step(60 * S)
    ((_, _, unseen, off),) = keeper.drained()
    assert (unseen, off) == (keeper.standing[0], True)
    keeper.acknowledge(2)
    assert keeper.drained() == [Kept("tip", KIND, None, off_the_shelf=False)]


STEPS = st.lists(
    st.tuples(
        st.sampled_from(("bad", "clear", "acknowledge", "shelve", "unshelve", "wait")),
        st.integers(1, 6),
    ),
    max_size=40,
)


@given(STEPS)
def test_whatever_happens_what_is_wrong_is_told_and_a_shelf_has_an_end(
    steps: list[tuple[str, int]],
) -> None:
    keeper, now, wrong, until = WarningKeeper(), 0, False, None
    begun = ended = 0
    kept: dict[str, str] = {}
    for what, number in steps:
        now += S
        match what:
            case "bad" | "clear":
                for change in keeper.observe("tip", [BAD if what == "bad" else CLEAR], now):
                    begun, ended = begun + change.began, ended + (not change.began)
                wrong = what == "bad"
            case "acknowledge":
                keeper.acknowledge(number)
            case "shelve":
                until = keeper.shelve("tip", KIND, "x", now + number * S).until_us
            case "unshelve":
                until = None if keeper.unshelve(number, now) else until
            case _:
                now += number * S
        keeper.step(now)
        if until is not None and now >= until:
            until = None
        # What is wrong stands, whatever anybody has said of its sign; what is not does not.
        assert len(keeper.standing) == wrong == begun - ended
        assert [one.until_us for one in keeper.shelved] == ([] if until is None else [until])
        shown = [one.state for one in keeper.standing]
        assert all((state is AlarmState.SHELVED) is (until is not None) for state in shown)
        # What a restart would tell again is what nobody has seen, no more and no less.
        for one in keeper.drained():
            kept.pop(one.joint, None)
            if one.unseen is not None:
                kept[one.joint] = one.unseen.message
        unseen = [one for one in keeper.standing if one.state is AlarmState.UNACKNOWLEDGED]
        assert len(kept) == len(unseen) + len(keeper.returned)
        # Never both: one that came back says all that the one before it would.
        assert len(keeper.standing) + len(keeper.returned) <= 1
