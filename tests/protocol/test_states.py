"""The state table: complete, without traps, and without motion where none may be."""

from itertools import product

import pytest

from protocol.states import (
    AT_REST,
    MOVING_STATES,
    ON_PATH,
    TRANSITIONS,
    JointState,
    Trigger,
    follow,
    mermaid,
)

S, T = JointState, Trigger


def reachable(start: JointState, without: frozenset[Trigger] = frozenset()) -> set[JointState]:
    found, todo = {start}, [start]
    while todo:
        state = todo.pop()
        for (source, trigger), target in TRANSITIONS.items():
            if source is state and trigger not in without and target not in found:
                found.add(target)
                todo.append(target)
    return found


def test_states_are_those_of_the_wire_in_its_order() -> None:
    words = "unhomed homing ready prepared advancing armed moving ramping held finished jogging"
    assert [state.word for state in S] == [*words.split(), "stopping", "faulted"]
    assert [int(state) for state in S] == list(range(13))


def test_every_state_is_reached_from_power_on_and_every_trigger_does_something() -> None:
    assert reachable(S.UNHOMED) == set(S)
    assert {trigger for _, trigger in TRANSITIONS} == set(T)


@pytest.mark.parametrize("state", S)
def test_from_every_state_a_play_is_possible_again(state: JointState) -> None:
    """I12: when faults end and the operator asks, a play succeeds."""
    assert S.MOVING in reachable(state)


def test_nothing_moves_from_faulted_or_starts_without_being_armed() -> None:
    assert {TRANSITIONS[key] for key in TRANSITIONS if key[0] is S.FAULTED} <= AT_REST
    into_moving = {source for (source, _), target in TRANSITIONS.items() if target is S.MOVING}
    assert into_moving == {S.ARMED}


def test_unhomed_moves_only_by_homing_and_jogging() -> None:
    onward = {target for (source, _), target in TRANSITIONS.items() if source is S.UNHOMED}
    assert onward & MOVING_STATES == {S.HOMING, S.JOGGING}


def test_the_path_is_entered_through_prepare_alone() -> None:
    for (source, trigger), target in TRANSITIONS.items():
        if target in ON_PATH and source not in ON_PATH:
            assert (source, trigger, target) == (S.READY, T.PREPARE, S.PREPARED)


def test_motion_begins_by_a_drive_alone_never_by_a_request_or_a_fault() -> None:
    """I11: the stream can cause no motion. Stopping is the end of one, not a beginning."""
    for (source, trigger), target in TRANSITIONS.items():
        if source in AT_REST and target in MOVING_STATES:
            assert trigger in {T.HOME, T.JOG, T.ARM_AHEAD, T.START}


@pytest.mark.parametrize("state", sorted(MOVING_STATES))
def test_every_motion_ends_without_anything_being_asked(state: JointState) -> None:
    """Expiry, permit, silence and coming to rest lead to a state at rest."""
    asked = {T.HOME, T.JOG, T.ARM_AHEAD, T.ARM_HERE, T.START, T.PREPARE}
    assert reachable(state, frozenset(asked)) & AT_REST


@pytest.mark.parametrize("state", sorted(MOVING_STATES))
def test_release_ends_every_motion_on_the_spot_unhomed(state: JointState) -> None:
    assert follow(state, T.RELEASE) is S.UNHOMED


@pytest.mark.parametrize("state", sorted(MOVING_STATES - {S.STOPPING}))
def test_stop_brakes_every_motion(state: JointState) -> None:
    assert follow(state, T.STOP) is S.STOPPING


def test_what_the_table_lacks_does_not_happen() -> None:
    for state, trigger in product(S, T):
        if (state, trigger) not in TRANSITIONS:
            with pytest.raises(KeyError, match=state.word):
                follow(state, trigger)


def test_rest_and_motion_part_the_states() -> None:
    assert set(S) == AT_REST | MOVING_STATES
    assert not AT_REST & MOVING_STATES
    assert S.FINISHED not in ON_PATH


def test_diagram_has_one_arrow_for_every_transition() -> None:
    arrows = [line for line in mermaid().splitlines() if "-->" in line]
    assert len(arrows) == len(TRANSITIONS) + 1
    for (source, trigger), target in TRANSITIONS.items():
        assert f"    {source.word} --> {target.word}: {trigger.name.lower()}" in arrows
