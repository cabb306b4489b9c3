"""What keys of a terminal ask for: nothing that outlasts them.

Sequences of arrows by ECMA-48 (CUU, CUD, CUF, CUB), with `ESC O` in the application mode of DEC's
terminals, from memory.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.cli.jog_keys import (
    SETTLED_US,
    TURNS_US,
    Asked,
    End,
    Hand,
    HoldAll,
    StepBy,
    Turn,
    keys_of,
)

NAMES = ["turntable", "elbow", "tool"]
S = 1_000_000


@pytest.mark.parametrize(
    ("text", "keys", "rest"),
    [
        ("", [], ""),
        ("aQ ", ["a", "Q", " "], ""),
        ("\x1b[A\x1b[B\x1b[C\x1b[D", ["up", "down", "right", "left"], ""),
        ("\x1bOC", ["right"], ""),
        ("\x1b", [], "\x1b"),
        ("x\x1b[", ["x"], "\x1b["),
        ("\x1b[1;5", [], "\x1b[1;5"),
        ("\x1b[1;5C", ["escape"], ""),  # with Ctrl: another key
        ("\x1b[3~q", ["escape", "q"], ""),
        ("\x1bq", ["escape", "q"], ""),
        ("\x1b\x1b[C", ["escape", "right"], ""),
    ],
)
def test_what_a_terminal_sends_is_keys(text: str, keys: list[str], rest: str) -> None:
    assert keys_of(text) == (keys, rest)


@given(st.text(alphabet="\x1b[OABCD;15q ~"), st.integers(0, 30))
def test_keys_that_come_in_pieces_are_the_same_keys(text: str, at: int) -> None:
    first, rest = keys_of(text[:at])
    second, left = keys_of(rest + text[at:])
    assert ([*first, *second], left) == keys_of(text)


def test_a_key_turns_the_chosen_joint_until_it_repeats_no_more() -> None:
    hand = Hand(NAMES)
    assert hand.press("right", 0) == [Turn("turntable", 1)]
    assert hand.look(TURNS_US - 1) == []
    assert hand.press("right", TURNS_US - 1) == []  # it repeats
    assert hand.look(2 * TURNS_US - 2) == []
    assert hand.look(2 * TURNS_US - 1) == [Turn("turntable", 0)]
    assert hand.look(3 * TURNS_US) == []


def test_the_other_way_is_the_other_way_at_once() -> None:
    hand = Hand(NAMES)
    hand.press("right", 0)
    assert hand.press("left", 1) == [Turn("turntable", -1)]


def test_another_joint_is_chosen_round_and_round_and_what_turns_is_let_go() -> None:
    hand = Hand(NAMES)
    hand.press("left", 0)
    assert hand.press("down", 1) == [Turn("turntable", 0)]
    assert hand.press("left", 2) == [Turn("elbow", -1)]
    assert hand.press("up", 3) == [Turn("elbow", 0)]
    assert hand.press("up", 4) == []
    assert hand.joint == "tool"
    assert hand.press("down", 5) == []
    assert hand.joint == "turntable"


@pytest.mark.parametrize("key", [" ", "x", "escape", "Q", "\n", "4", "\ufffd"])
def test_any_other_key_lets_go_and_holds(key: str) -> None:
    hand = Hand(NAMES)
    assert hand.press(key, 0) == [HoldAll()]
    hand.press("left", 1)
    assert hand.press(key, 2) == [Turn("turntable", 0), HoldAll()]


def test_q_lets_go_and_ends() -> None:
    hand = Hand(NAMES)
    hand.press("left", 1)
    assert hand.press("q", 2) == [Turn("turntable", 0), End()]


def test_speed_and_steps_are_chosen_and_end_what_turns() -> None:
    hand = Hand(NAMES, "fast")
    hand.press("left", 0)
    assert hand.press("1", 1) == [Turn("turntable", 0)]
    assert hand.speed == "fine"
    hand.press("2", 2)
    assert hand.speed == "normal"
    hand.press("3", 3)
    assert hand.speed == "fast"
    hand.press("left", 4)
    assert hand.press("s", 5) == [Turn("turntable", 0)]
    found = [hand.by_deg]
    for now in range(6, 10):
        hand.press("s", now)
        found.append(hand.by_deg)
    assert found == [0.01, 0.1, 1.0, 10.0, None]


def stepping() -> Hand:
    hand = Hand(NAMES)
    hand.press("s", 0)
    return hand


def test_a_step_is_taken_once_the_one_before_is_done() -> None:
    hand = stepping()
    assert hand.press("left", S) == [StepBy("turntable", -0.01)]
    assert hand.press("left", S + 30_000) == []  # it repeats, or somebody is quick: that is told
    assert hand.waits
    hand.seen(S + SETTLED_US - 1, 0.0)  # it may not have begun yet
    assert hand.press("right", 2 * S) == []
    hand.seen(S + SETTLED_US, 3.0)
    assert hand.press("right", 2 * S) == []
    hand.seen(S + SETTLED_US + 1, 0.0)
    assert hand.press("right", 2 * S) == [StepBy("turntable", 0.01)]
    assert not hand.waits


def test_after_a_refusal_or_on_another_joint_a_step_is_taken_at_once() -> None:
    hand = stepping()
    hand.press("right", 0)
    hand.refused()
    assert hand.press("right", 1) == [StepBy("turntable", 0.01)]
    hand.press("down", 2)
    assert hand.press("right", 3) == [StepBy("elbow", 0.01)]


def test_what_was_refused_is_not_turned_on() -> None:
    hand = Hand(NAMES)
    hand.press("right", 0)
    hand.refused()
    assert hand.sign == 0
    assert hand.look(1) == []


_KEYS = st.sampled_from(["left", "right", "up", "down", "1", "2", "3", "s", "q", " ", "x", None])


@given(st.lists(st.tuples(_KEYS, st.integers(1, 400_000)), max_size=40))
def test_no_joint_is_ever_turned_longer_than_its_key_and_only_one(
    pressed: list[tuple[str | None, int]],
) -> None:
    hand, now, arrow_us = Hand(NAMES), 0, -S
    turned: Turn | None = None
    for key, later_us in pressed:
        now += later_us
        asked: list[Asked] = hand.look(now)
        if key is not None:
            asked += hand.press(key, now)
        if key in ("left", "right"):
            arrow_us = now
        for one in asked:
            if isinstance(one, Turn):
                if turned is not None and one.joint != turned.joint:
                    raise AssertionError("the one before was not let go")
                turned = one if one.sign else None
        if turned is not None:
            assert now - arrow_us < TURNS_US
            assert turned == Turn(hand.joint, hand.sign)
            assert hand.by_deg is None
