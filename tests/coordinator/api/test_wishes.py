"""Wishes on the feed: obeyed while they are fresh, and never what a hand wished long ago."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.api.bodies import GoBody
from coordinator.api.wishes import AHEAD_US, JOG_OLD_US, STEP_OLD_US, NoWish, OldSession, Wishes
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Command, Go, HoldHome, Jog, Refused, Step

NOW_US = 60_000_000


def jog(number: int = 1, at_us: int = NOW_US, **velocities_deg_s: float) -> str:
    return json.dumps(
        {"type": "jog", "number": number, "at_us": at_us, "velocities_deg_s": velocities_deg_s}
    )


def step(number: int = 1, at_us: int = NOW_US, **changed: Any) -> str:
    wish = {"joint": "elbow", "by_deg": 0.1, "speed_deg_s": 5.0, **changed}
    return json.dumps({"type": "step", "number": number, "at_us": at_us, **wish})


def go(number: int = 1, at_us: int = NOW_US, waypoint: int = 3) -> str:
    return json.dumps({"type": "go", "number": number, "at_us": at_us, "waypoint": waypoint})


def place(body: GoBody) -> Go:
    """There is a waypoint 3."""
    if body.waypoint != 3:
        raise Refused(RefusalCode.WAYPOINT_UNKNOWN, f"there is no waypoint {body.waypoint}")
    return Go("'tray'", {"elbow": 1.0}, 0.1)


def told(*wishes: tuple[str, int]) -> tuple[list[Command], list[Any]]:
    """What is commanded and what is answered for wishes that come at these times."""
    done: list[Command] = []
    feed = Wishes(done.append, place, lambda: 7)
    return done, [feed.take(text, now) for text, now in wishes]


def test_fresh_wishes_are_commands() -> None:
    done, answers = told((jog(1, elbow=-5.0, tool=2.5), NOW_US), (step(2), NOW_US))
    assert done == [Jog({"elbow": -5.0, "tool": 2.5}), Step("elbow", 0.1, 5.0)]
    assert answers == [None, None]


def test_a_wish_on_a_feed_that_was_opened_before_the_session_is_not_obeyed() -> None:
    done: list[Command] = []
    session = 7
    feed = Wishes(done.append, place, lambda: session)
    assert feed.take(jog(1, elbow=-5.0), NOW_US) is None
    session = 8
    with pytest.raises(OldSession):
        feed.take(jog(2, elbow=-5.0), NOW_US)
    assert done == [Jog({"elbow": -5.0})]


def test_a_wish_to_go_to_a_waypoint_is_the_command_that_goes_there() -> None:
    done, answers = told((go(1), NOW_US), (go(2, waypoint=4), NOW_US))
    assert done == [Go("'tray'", {"elbow": 1.0}, 0.1)]
    assert answers[1] == {
        "type": "refused", "number": 2, "code": "waypoint-unknown",
        "message": "there is no waypoint 4",
    }  # fmt: skip


def test_a_wish_to_home_is_obeyed_while_it_is_fresh_and_names_one_joint() -> None:
    def home(number: int, at_us: int) -> str:
        return json.dumps({"type": "home", "number": number, "at_us": at_us, "joint": "elbow"})

    done, answers = told((home(1, NOW_US), NOW_US), (home(2, NOW_US - JOG_OLD_US - 1), NOW_US))
    assert done == [HoldHome("elbow")]
    assert answers[1]["code"] == "wish-old"
    with pytest.raises(NoWish, match="joint"):
        told((json.dumps({"type": "home", "number": 1, "at_us": NOW_US}), NOW_US))


@pytest.mark.parametrize("places", [{}, {"waypoint": 3, "pose": "park"}])
def test_a_wish_to_go_names_exactly_one_place(places: dict[str, Any]) -> None:
    text = json.dumps({"type": "go", "number": 1, "at_us": NOW_US, **places})
    with pytest.raises(NoWish, match="exactly one of waypoint, pose and angles_deg"):
        told((text, NOW_US))


@pytest.mark.parametrize(
    ("wish", "oldest_us"), [(jog, JOG_OLD_US), (go, JOG_OLD_US), (step, STEP_OLD_US)]
)
def test_a_wish_that_waited_on_its_way_moves_nothing_and_that_is_said(
    wish: Any, oldest_us: int
) -> None:
    text = wish(elbow=1.0) if wish is jog else wish()
    assert len(told((text, NOW_US + oldest_us))[0]) == 1
    done, (answer,) = told((text, NOW_US + oldest_us + 1))
    assert done == []
    assert (answer["type"], answer["number"], answer["code"]) == ("refused", 1, "wish-old")
    assert "ms ago" in answer["message"]


def test_a_wish_of_a_time_that_has_not_come_moves_nothing() -> None:
    assert len(told((jog(elbow=1.0), NOW_US - AHEAD_US))[0]) == 1
    done, (answer,) = told((jog(elbow=1.0), NOW_US - AHEAD_US - 1))
    assert (done, answer["code"]) == ([], "wish-old")


@pytest.mark.parametrize("velocities", [{}, {"elbow": 0.0}])
def test_to_let_go_is_never_too_late(velocities: dict[str, float]) -> None:
    done, answers = told((jog(1, NOW_US, **velocities), NOW_US + 60_000_000))
    assert done == [Jog(velocities)]
    assert answers == [None]


@given(st.lists(st.integers(1, 9), max_size=12))
def test_wishes_that_come_twice_or_out_of_order_are_passed_over(numbers: list[int]) -> None:
    done, answers = told(*((jog(number, elbow=float(number)), NOW_US) for number in numbers))
    newest, expected = 0, []
    for number in numbers:
        if number > newest:
            newest = number
            expected.append(Jog({"elbow": float(number)}))
    assert done == expected
    assert set(answers) <= {None}


def test_what_is_refused_is_answered_with_its_number() -> None:
    def refuse(command: Command) -> None:
        raise Refused(RefusalCode.JOGGING, "elbow is jogged")

    answer = Wishes(refuse, place, lambda: 7).take(jog(4, tool=1.0), NOW_US)
    assert answer == {
        "type": "refused", "number": 4, "code": "jogging", "message": "elbow is jogged",
    }  # fmt: skip


def test_a_hundred_wishes_at_once_are_taken_and_a_flood_is_not() -> None:
    done, answers = told(*((jog(number, elbow=1.0), NOW_US) for number in range(1, 1001)))
    assert 100 <= len(done) <= 130
    assert answers[-1]["code"] == "rate"


@pytest.mark.parametrize(
    "text",
    [
        "", "{}", "[]", "null", "jog", '{"type": "home"}', step(by_deg="1"),
        step(speed_deg_s=0), jog(0), jog(1, -1), step(more=1), step(by_deg=float("nan")),
        json.dumps({"type": "jog", "number": 1, "at_us": 0, "velocities_deg_s": {"elbow": 1e99}}),
    ],
)  # fmt: skip
def test_what_is_no_wish_is_told_in_a_sentence(text: str) -> None:
    with pytest.raises(NoWish, match=r"^no wish: "):
        told((text, NOW_US))


@given(st.text(max_size=200))
def test_any_text_is_a_wish_or_is_told_not_to_be(text: str) -> None:
    with pytest.raises(NoWish):
        told((text, NOW_US))
