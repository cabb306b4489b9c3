"""The keeper: warnings begin late, end late, once each time, and stay seen."""

from collections.abc import Sequence
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.codes.alarm_state import AlarmState
from coordinator.codes.priority import Priority
from coordinator.health.alarm_kind import Finding, Kind
from coordinator.health.alarm_place import StandingWarning
from coordinator.health.warnings import Change, WarningKeeper
from tests.coordinator.health.joints import S


def a_kind(code: str, priority: Priority, begin_s: int = 0, end_s: int = 0) -> Kind:
    """One whose words matter to nobody here."""
    words = "it is", "it will be", "hurry", "is quick again", "none"
    return Kind(code, priority, AlarmOrigin.CLOCK, *words, begin_s * S, end_s * S)


SLOW = a_kind("too-slow", Priority.MEDIUM, 5, 10)
QUICK = a_kind("too-late", Priority.HIGH)
STEP_US = 200_000
"""Joints at rest are asked five times a second (design section 3)."""


def watched(keeper: WarningKeeper, kind: Kind, looks: Sequence[bool | None]) -> list[list[Change]]:
    """What a keeper says to looks at one joint, one after another."""
    return [
        keeper.observe("tip", [Finding(kind, bad, "tip is slow")], k * STEP_US)
        for k, bad in enumerate(looks)
    ]


def begun(changes: list[list[Change]]) -> list[int]:
    """At which looks a warning began."""
    return [k for k, found in enumerate(changes) for change in found if change.began]


def ended(changes: list[list[Change]]) -> list[int]:
    """At which looks a warning ended."""
    return [k for k, found in enumerate(changes) for change in found if not change.began]


def test_a_warning_begins_once_it_was_bad_for_the_whole_delay() -> None:
    assert begun(watched(WarningKeeper(), SLOW, [True] * 100)) == [25]


@pytest.mark.parametrize("better", [None, False])
def test_one_look_that_is_not_bad_begins_the_delay_anew(better: bool | None) -> None:
    assert not begun(watched(WarningKeeper(), SLOW, ([True] * 25 + [better]) * 5))


def test_a_warning_ends_once_it_was_clear_for_the_whole_delay() -> None:
    assert ended(watched(WarningKeeper(), SLOW, [True] * 30 + [False] * 100)) == [80]


@pytest.mark.parametrize("worse", [None, True])
def test_one_look_that_is_not_clear_keeps_a_warning_for_another_delay(worse: bool | None) -> None:
    looks: list[bool | None] = [True] * 30
    assert not ended(watched(WarningKeeper(), SLOW, looks + ([False] * 50 + [worse]) * 5))


def test_a_kind_without_delays_begins_and_ends_at_once() -> None:
    changes = watched(WarningKeeper(), QUICK, [False, True, None, False, True])
    assert (begun(changes), ended(changes)) == ([1, 4], [3])


def test_a_warning_says_what_was_so_when_it_began() -> None:
    keeper = WarningKeeper()
    keeper.observe("tip", [Finding(QUICK, True, "tip is 3 s late")], 7 * S)
    keeper.observe("tip", [Finding(QUICK, True, "tip is 4 s late")], 8 * S)
    assert list(keeper.standing) == [
        StandingWarning(1, "tip", QUICK, "tip is 3 s late", 7 * S, AlarmState.UNACKNOWLEDGED)
    ]


def test_joints_and_kinds_have_warnings_of_their_own_oldest_first() -> None:
    keeper = WarningKeeper()
    for k, joint in enumerate(("tip", "base")):
        for kind in (QUICK, SLOW):
            for seconds in (0, 6):
                keeper.observe(joint, [Finding(kind, True, "x")], (10 * k + seconds) * S)
    keeper.observe("tip", [Finding(QUICK, False)], 20 * S)
    assert [(one.joint, one.kind.code) for one in keeper.standing] == [
        ("tip", "too-slow"), ("base", "too-late"), ("base", "too-slow"),
    ]  # fmt: skip
    assert [keeper.stands(name, QUICK) for name in ("tip", "base", "middle")] == [
        False, True, False,
    ]  # fmt: skip


def test_a_warning_that_was_seen_stays_until_it_ends_and_comes_back_as_a_new_one() -> None:
    keeper = WarningKeeper()
    watched(keeper, QUICK, [True])
    seen = keeper.acknowledge(1)
    assert seen is not None
    watched(keeper, QUICK, [True] * 5)
    assert keeper.standing == [seen]
    assert seen.acknowledged
    watched(keeper, QUICK, [False])
    assert keeper.standing == []
    assert keeper.acknowledge(1) is None
    watched(keeper, QUICK, [True])
    assert [(one.id, one.acknowledged) for one in keeper.standing] == [(2, False)]


def test_a_warning_that_does_not_stand_cannot_be_seen() -> None:
    assert WarningKeeper().acknowledge(1) is None


spells = st.lists(st.tuples(st.sampled_from((True, None, False)), st.integers(1, 60)), max_size=20)


@given(spells, st.integers(0, 6), st.integers(0, 6))
def test_whatever_happens_a_warning_never_chatters(
    found: list[tuple[bool | None, int]], begin_s: int, end_s: int
) -> None:
    looks = [bad for bad, count in found for _ in range(count)]
    kind = a_kind("x", Priority.LOW, begin_s, end_s)
    changes = watched(WarningKeeper(), kind, looks)
    begins, ends = begun(changes), ended(changes)
    # It has crossed its whole dead band as often as bad and clear take turns, the band left out.
    outside = [bad for bad in looks if bad is not None]
    crossings = sum(bad and not before for before, bad in pairwise([False, *outside]))
    assert len(begins) <= crossings
    # Begin and end take turns, and before each there was its whole delay without a break.
    assert sorted(begins + ends) == [k for pair in zip_turns(begins, ends) for k in pair]
    for turns, delay_s, wanted in ((begins, begin_s, True), (ends, end_s, False)):
        looked = delay_s * S // STEP_US + 1
        assert all(looks[k + 1 - looked : k + 1] == [wanted] * looked for k in turns)


def zip_turns(begins: list[int], ends: list[int]) -> list[list[int]]:
    """Begin, end, begin, …; the last may not have ended."""
    assert len(begins) - len(ends) in (0, 1)
    return [[begin, *ends[k : k + 1]] for k, begin in enumerate(begins)]
