"""Many alarms at once, and which of them came first.

A flood is 10 alarms or more within 10 minutes, over below 5 in 10 minutes (ISA-18.2, from memory).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.codes.alarm_origin import AlarmOrigin
from coordinator.health.alarm_flood import FloodWatch
from coordinator.health.alarm_kind import Finding
from coordinator.health.first_out import Episodes
from coordinator.health.supply import LOW
from coordinator.health.temperature import WARM
from coordinator.health.warnings import WarningKeeper
from tests.coordinator.health.joints import S


@pytest.mark.parametrize(("count", "flood"), [(9, False), (10, True), (11, True)])
def test_ten_within_ten_minutes_are_a_flood(count: int, flood: bool) -> None:
    watch, last = FloodWatch(), 0
    for k in range(count):
        last = k * 60 * S
        watch.began(AlarmOrigin.SUPPLY, last)
        watch.step(last)
    assert (watch.since_us is not None) is flood


def test_ten_in_eleven_minutes_are_none() -> None:
    watch = FloodWatch()
    for k in range(40):
        watch.began(AlarmOrigin.SUPPLY, k * 67 * S)
        assert not watch.step(k * 67 * S)


def test_a_flood_is_told_when_it_begins_and_ends_below_five() -> None:
    watch = FloodWatch()
    for k in range(11):
        watch.began(AlarmOrigin.SUPPLY if k else AlarmOrigin.HEAT, k * S)
    assert watch.step(11 * S)
    assert watch.by_origin == {AlarmOrigin.SUPPLY: 10, AlarmOrigin.HEAT: 1}
    assert not watch.step(12 * S)
    assert not watch.step(606 * S)  # five of them
    assert watch.count == 5
    assert watch.step(607 * S)
    assert watch.since_us is None


@given(st.lists(st.integers(0, 200), max_size=60))
def test_a_flood_stands_only_where_there_were_that_many(gaps: list[int]) -> None:
    watch, now, begun, stood = FloodWatch(), 0, [], False
    for gap in gaps:
        now += gap * S
        begun.append(now)
        watch.began(AlarmOrigin.CLOCK, now)
        watch.step(now)
        count = sum(now - one <= 600 * S for one in begun)
        stood = count >= 10 or (stood and count >= 5)
        assert (watch.since_us is not None) is stood


def test_what_is_shelved_is_no_part_of_a_flood_until_it_comes_back() -> None:
    keeper = WarningKeeper()
    keeper.shelve("tip", WARM, "x", 60 * S)
    keeper.observe("tip", [Finding(WARM, True, "m")], 0)
    keeper.observe("tip", [Finding(WARM, True, "m")], 5 * S)
    keeper.flood.step(5 * S)
    assert (len(keeper.standing), keeper.flood.count) == (1, 0)
    keeper.step(60 * S)
    keeper.flood.step(60 * S)
    assert keeper.flood.count == 1


def firsts(*bad_since_s: float, begun_s: float = 50.0) -> list[bool]:
    """Which of these, that began one after another, are marked as the first."""
    episodes = Episodes()
    for number, one in enumerate(bad_since_s):
        episodes.began(number, round(one * S), round(begun_s * S) + number)
    return [episodes.of(number).is_first(number) for number in range(len(bad_since_s))]


def test_the_first_is_the_one_that_was_bad_first_however_late_it_was_told() -> None:
    assert firsts(3.0, 0.0, 8.0) == [False, True, False]


def test_one_alone_is_no_first_nor_are_those_that_are_far_apart() -> None:
    assert firsts(3.0) == [False]
    assert firsts(3.0, 14.0) == [False, False]


def test_those_within_one_look_cannot_be_told_apart() -> None:
    assert firsts(3.0, 3.9, 4.2) == [True, True, False]


def test_a_chain_of_them_is_one_episode() -> None:
    assert firsts(0.0, 9.0, 18.0) == [True, False, False]


def test_a_keeper_marks_what_was_bad_first_though_it_began_last() -> None:
    keeper = WarningKeeper()
    for half in range(16):  # one begins after 5 s, the other after 3
        now = half * S // 2
        keeper.observe("tip", [Finding(WARM, True, "m")], now)
        keeper.observe("base", [Finding(LOW, half >= 3, "m")], now)
    low, warm = keeper.standing
    assert (low.kind, warm.kind) == (LOW, WARM)
    assert [keeper.episodes.of(one.id).is_first(one.id) for one in (low, warm)] == [False, True]
    assert keeper.episodes.of(low.id) is keeper.episodes.of(warm.id)


def test_episodes_of_which_nothing_is_shown_are_forgotten() -> None:
    episodes = Episodes()
    episodes.began(1, 0, 0)
    episodes.began(2, 60 * S, 60 * S)
    episodes.forget((1,), 3600 * S)
    assert episodes.of(1).number == 1
    with pytest.raises(StopIteration):
        episodes.of(2)
