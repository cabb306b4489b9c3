"""A link that is too poor to start, and a clock that is not locked."""

from collections.abc import Callable

import pytest

from coordinator.health.link import lossy, poor, unlocked
from coordinator.health.warnings import WarningKeeper
from coordinator.timing.link_quality import MEASURED, LinkQuality
from coordinator.timing.start_delay import START_DELAY_MAX_US
from protocol.constants import ACTIVE_INTERVAL_US, IDLE_INTERVAL_US
from tests.coordinator.health.joints import S


def quality_of(rtt_us: int, *, lost: int = 0, count: int = 200) -> LinkQuality:
    """A link whose exchanges all take the same time; the last of `lost` in a row come first."""
    quality = LinkQuality()
    for k in range(count):
        quality.sent(k, k * ACTIVE_INTERVAL_US)
        if k >= lost:
            quality.answered(k, k * ACTIVE_INTERVAL_US + rtt_us)
    return quality


def test_a_link_is_not_judged_before_it_is_measured() -> None:
    assert poor("tip", quality_of(5_000, count=MEASURED - 1)).bad is None


@pytest.mark.parametrize(("rtt_us", "bad"), [(5_000, False), (600_000, None), (700_000, True)])
def test_a_link_is_too_poor_where_a_start_would_need_a_longer_lead_than_it_may_have(
    rtt_us: int, bad: bool | None
) -> None:
    # Lead = 2.1 times the worst link delay, less than 1.5 s (design section 4.1); the worst link
    # delay here is the exchange time and one interval of 40 ms. 2.1 · 640 ms = 1344 ms, 2.1 · 740
    # ms = 1554 ms.
    assert poor("tip", quality_of(rtt_us)).bad is bad
    assert START_DELAY_MAX_US < 1_500_000


def test_the_sentence_has_q_loss_lead_and_the_most_that_is_possible() -> None:
    assert poor("tip", quality_of(700_000)).message == (
        "tip: its link is too poor to start: worst link delay 740 ms with 0% lost when this began "
        "would need a start delay of 1554 ms, "
        "1450 ms are possible; a start is likely to be refused"
    )


def begins(is_lost: Callable[[int], bool], until_s: int) -> list[int]:
    """When a link at rest is found to be poor whose exchanges are lost at some seconds."""
    keeper, quality, found = WarningKeeper(), LinkQuality(), []
    for k in range(until_s * S // IDLE_INTERVAL_US):
        now = k * IDLE_INTERVAL_US
        quality.sent(k, now)
        if not is_lost(now // S):
            quality.answered(k, now + 5_000)
            changes = keeper.observe("tip", [poor("tip", quality)], now + 5_000)
            found += [now // S for change in changes if change.began]
    return found


def test_one_outage_is_no_poor_link() -> None:
    assert begins(lambda second: second in (30, 31), 200) == []


def test_a_link_that_is_cut_off_again_and_again_is_poor() -> None:
    (second,) = begins(lambda second: second % 10 < 2, 200)
    assert 45 <= second <= 60


def test_a_clock_is_unlocked_only_once_there_was_time_to_lock_it() -> None:
    reason = "the clock is not trusted: it is new; 3 of 8 exchanges agree"
    assert [one.bad for one in unlocked("tip", reason, quality_of(5_000, count=3))] == [None, None]
    for found in unlocked("tip", reason, quality_of(5_000)):
        assert (found.bad, found.message) == (True, f"tip: {reason}; nothing starts with it")
    assert [one.bad for one in unlocked("tip", "", quality_of(5_000))] == [False, False]


@pytest.mark.parametrize(
    ("lost", "bad"), [(0, False), (18, False), (24, None), (36, None), (44, True), (80, True)]
)
def test_a_link_that_loses_a_fifth_and_more_is_told_of_before_the_arm_holds(
    lost: int, bad: bool | None
) -> None:
    """Spread out: a run of loss is what makes a start delay long, and each loss alone does not."""
    quality = LinkQuality()
    losses = {k * 200 // lost for k in range(lost)} if lost else set()
    for k in range(200):
        quality.sent(k, k * ACTIVE_INTERVAL_US)
        if k not in losses:
            quality.answered(k, k * ACTIVE_INTERVAL_US + 5_000)
    quality.sent(200, 240 * ACTIVE_INTERVAL_US)  # a time-out later, all are decided
    found = lossy("tip", quality)
    assert found.bad is bad
    assert poor("tip", quality).bad is False
    assert ("20% are already many" in found.message) is (bad is True)
