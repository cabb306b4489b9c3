"""What a gamepad asks for: the module runs in the browser, alone.

Axes and buttons by the standard mapping of the W3C's Gamepad specification (Working Draft of 2025,
Remapping), read again for this test: axes 0 and 2 are the horizontals of the left and right stick,
negative to the left; buttons 4 and 5 the upper ones at the front; 12, 13, 14, 15 up, down, left and
right of the left cluster.
"""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from playwright.sync_api import Browser, Page

from tests.browser import canned
from tests.browser.conftest import Feed

_READ = """async (said) => {
    const { read, untouched, barred } = await import("/app/pad.js");
    let state = untouched();
    return said.map((pad) => {
        if (pad === null) {
            state = barred(state);
            return null;
        }
        const buttons = Array.from({ length: 17 }, (_, at) => ({ pressed: pad.down.includes(at) }));
        const answer = read(state, { axes: pad.axes, buttons });
        state = answer.state;
        return answer;
    });
}"""
HOLD = 4
SECOND = 5
UP, DOWN, LEFT, RIGHT = 12, 13, 14, 15
DEAD = 0.15
BACK = 0.1
Said = dict[str, Any] | None
Read = Callable[[list[Said]], list[Any]]


@pytest.fixture(scope="module")
def read(browser: Browser, files: str) -> Iterator[Read]:
    """What is asked for at each of these looks; None is a look at which it was let go otherwise."""
    page: Page = browser.new_page()
    Feed(canned.whole()).attach(page)
    page.goto(files)
    yield lambda said: list(page.evaluate(_READ, said))
    page.close()


def pad(left: float = 0.0, right: float = 0.0, *down: int) -> Said:
    return {"axes": [left, 0.9, right, -0.9], "down": list(down)}  # verticals turn nothing


def shares(read: Read, *said: Said) -> list[Any]:
    return [answer and answer["shares"] for answer in read(list(said))]


def test_a_stick_turns_only_while_either_enabling_button_is_held(read: Read) -> None:
    for button in (HOLD, SECOND):
        held = shares(
            read, pad(), pad(1.0), pad(0, 0, button), pad(1.0, 0, button), pad(1.0), pad(1.0)
        )
        assert held == [[0, 0], [0, 0], [0, 0], [1, 0], [0, 0], [0, 0]]
    # All other buttons of the standard mapping.
    for button in set(range(17)) - {HOLD, SECOND}:
        assert shares(read, pad(), pad(0, 0, button), pad(1.0, -1.0, button))[-1] == [0, 0]


def test_both_sticks_turn_at_once_each_its_own_way(read: Read) -> None:
    assert shares(read, pad(), pad(0, 0, HOLD), pad(-1.0, 1.0, HOLD))[-1] == [-1, 1]


def test_the_dead_zone_and_the_curve(read: Read) -> None:
    """Nothing within 15 %; then (deflection − 0.15) / 0.85, squared, and 2 % at least."""
    for deflection, share in (
        (0.0, 0.0), (0.149, 0.0), (0.15, 0.02), (0.575, 0.25), (0.8725, 0.7225), (1.0, 1.0),
        (7.0, 1.0),
    ):  # fmt: skip
        for sign in (1, -1):
            asked = shares(read, pad(), pad(0, 0, HOLD), pad(sign * deflection, 0, HOLD))[-1]
            assert asked == pytest.approx([sign * share, 0.0], abs=1e-9)


def test_a_stick_at_the_edge_of_the_dead_zone_does_not_chatter(read: Read) -> None:
    edge = [pad(0.15, 0, HOLD), pad(0.14, 0, HOLD), pad(0.101, 0, HOLD), pad(0.099, 0, HOLD)]
    asked = shares(read, pad(), pad(0, 0, HOLD), *edge, pad(0.14, 0, HOLD))
    assert [one[0] for one in asked[2:]] == [0.02, 0.02, 0.02, 0, 0]


def test_a_button_held_since_before_moves_nothing_until_it_is_pressed_anew(read: Read) -> None:
    held = [pad(1.0, 0, HOLD), pad(0, 0, HOLD), pad(1.0, 0, HOLD)]
    assert shares(read, *held) == [[0, 0]] * 3
    again = shares(read, pad(), pad(0, 0, HOLD), pad(1.0, 0, HOLD), None, *held)
    assert again == [[0, 0], [0, 0], [1, 0], None, *[[0, 0]] * 3]


def test_a_stick_that_is_out_when_the_button_is_pressed_must_come_to_its_middle(
    read: Read,
) -> None:
    said = [pad(0.5), pad(0.5, 0, HOLD), pad(0.9, 0.9, HOLD), pad(0, 0.9, HOLD), pad(1, 1, HOLD)]
    answers = read(said)
    assert [one["waits"] for one in answers] == [False, True, True, False, False]
    assert answers[2]["shares"][0] == 0
    assert answers[2]["shares"][1] > 0
    assert answers[4]["shares"] == [1, 1]


def test_a_far_push_is_one_step_until_the_stick_was_in_its_middle(read: Read) -> None:
    ways = [0.0, 0.59, 0.6, 1.0, 0.2, 0.9, 0.0, -0.7]
    answers = read([pad(), *(pad(way, 0, HOLD) for way in ways)])
    assert [one["flicks"][0] for one in answers] == [0, 0, 0, 1, 0, 0, 0, 0, -1]


def test_what_the_left_cluster_asks_for_is_asked_once_a_press(read: Read) -> None:
    for button, ask in ((UP, "faster"), (DOWN, "slower"), (LEFT, "previous"), (RIGHT, "next")):
        answers = read([pad(), pad(0, 0, button), pad(0, 0, button), pad(), pad(0, 0, button)])
        assert [one["asks"] for one in answers] == [[], [ask], [], [], [ask]]


def test_a_pad_that_lacks_axes_or_buttons_moves_nothing(read: Read) -> None:
    said: list[Said] = [
        {"axes": [], "down": []}, {"axes": [None, 0], "down": [HOLD]}, {"axes": [], "down": [HOLD]},
    ]  # fmt: skip
    assert shares(read, *said) == [[0, 0]] * 3


_LOOK = st.none() | st.builds(
    lambda left, right, down: pad(left, right, *down),
    st.floats(-1.5, 1.5),
    st.floats(-1.5, 1.5),
    st.sets(st.sampled_from([HOLD, SECOND, LEFT, UP, 0])),
)


def test_nothing_is_ever_pushed_but_by_a_free_stick_under_a_button_pressed_since(
    read: Read,
) -> None:
    @given(st.lists(_LOOK, max_size=25))
    def always(said: list[Said]) -> None:
        armed = False  # the button was let go, and pressed after that
        was_up = False
        centred = [False, False]  # since it was pressed, or at that look
        for look, answer in zip(said, read(said), strict=True):
            if look is None:
                armed = was_up = False
                continue
            holds = bool({HOLD, SECOND} & set(look["down"]))
            begins = holds and was_up
            armed = holds and (armed or was_up)
            was_up = not holds
            for k, axis in enumerate((0, 2)):
                middle = abs(look["axes"][axis]) < DEAD
                centred[k] = middle if begins else armed and (centred[k] or middle)
                share = answer["shares"][k]
                assert abs(share) <= 1
                if share:
                    assert armed
                    assert centred[k]
                    assert abs(look["axes"][axis]) >= BACK
                    assert share * look["axes"][axis] > 0

    always()


_PAIR = """async ([names, sticks, by]) => {
    const { pairFrom } = await import("/app/pad.js");
    return pairFrom(names, sticks, by);
}"""


def test_pairs_go_round_and_the_last_of_an_odd_number_is_alone(
    browser: Browser, files: str
) -> None:
    page = browser.new_page()
    Feed(canned.whole()).attach(page)
    page.goto(files)
    names = ["a", "b", "c"]
    for had, by, pair in (
        ([None, None], 0, ["a", "b"]), (["a", "b"], 1, ["c", None]), (["c", None], 1, ["a", "b"]),
        (["a", "b"], -1, ["c", None]), ([None, "c"], -1, ["a", "b"]), (["b", "a"], 1, ["c", None]),
    ):  # fmt: skip
        assert page.evaluate(_PAIR, [names, had, by]) == pair
    assert page.evaluate(_PAIR, [["a"], ["a", None], 1]) == ["a", None]
    page.close()
