import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.timing.link_quality import MEASURED, TIMEOUT_US, WINDOW, LinkQuality

MS = 1_000
INTERVAL_US = 40 * MS
S = 1_000_000


def link_with(*times_us: int | None, interval_us: int = INTERVAL_US) -> LinkQuality:
    """Regular exchanges that took these times, None for lost, and long enough a silence after."""
    link = LinkQuality()
    for k, time_us in enumerate(times_us):
        link.sent(k, k * interval_us)
        if time_us is not None:
            assert link.answered(k, k * interval_us + time_us) == time_us
    # Of the next one nothing is known yet, but it tells the time.
    link.sent(len(times_us), len(times_us) * interval_us + TIMEOUT_US)
    return link


# ---- what counts --------------------------------------------------------------------------


def test_link_without_exchanges_is_not_measured_and_claims_nothing_good() -> None:
    link = LinkQuality()
    assert (link.count, link.measured, link.loss) == (0, False, 0.0)
    assert (link.rtt_p50_us, link.rtt_p99_us) == (None, None)
    assert link.worst_delay_us == TIMEOUT_US + INTERVAL_US


def test_link_is_measured_from_fifty_decided_exchanges() -> None:
    assert not link_with(*[MS] * (MEASURED - 1)).measured
    assert link_with(*[MS] * MEASURED).measured
    assert link_with(*[MS] * (MEASURED - 1), None).measured


def test_exchange_under_way_counts_neither_as_answered_nor_as_lost() -> None:
    link = LinkQuality()
    link.sent(0, 0)
    link.sent(1, TIMEOUT_US - 1)
    assert (link.count, link.loss) == (0, 0.0)
    link.sent(2, TIMEOUT_US)
    assert (link.count, link.loss) == (1, 1.0)


def test_answer_to_a_later_exchange_decides_those_before_by_its_time() -> None:
    link = LinkQuality()
    link.sent(0, 0)
    link.sent(1, INTERVAL_US)
    link.answered(1, INTERVAL_US + TIMEOUT_US)
    assert (link.count, link.loss) == (2, 0.5)


def test_late_answer_turns_a_loss_into_a_long_time() -> None:
    link = link_with(None, MS, MS)
    assert link.loss == pytest.approx(1 / 3)
    assert link.loss_run_us == INTERVAL_US
    assert link.answered(0, 1_300 * MS) == 1_300 * MS
    assert (link.count, link.loss, link.loss_run_us) == (3, 0.0, 0)
    assert link.worst_delay_us == 1_300 * MS + INTERVAL_US


def test_second_answer_and_unknown_exchange_are_ignored() -> None:
    link = link_with(MS, MS)
    assert link.answered(1, 2 * S) is None
    assert link.answered(77, 2 * S) is None
    assert (link.count, link.rtt_p99_us) == (2, MS)


def test_sequence_number_that_is_not_new_is_refused() -> None:
    link = link_with(MS, MS)
    with pytest.raises(ValueError, match="exchange 2 was sent after exchange 2"):
        link.sent(2, 9 * S)


def test_only_the_last_two_hundred_exchanges_count() -> None:
    link = link_with(None, None, 900 * MS, *[2 * MS] * WINDOW)
    assert (link.count, link.loss, link.loss_run_us) == (WINDOW - 1, 0.0, 0)
    assert link.worst_delay_us == 2 * MS + INTERVAL_US
    assert link.answered(0, 20 * S) is None, "left the window"


def test_loss_that_leaves_the_window_counts_no_more_however_short_ago_it_was_asked_for() -> None:
    link = LinkQuality()
    for k in range(WINDOW + 1):
        assert link.loss_run_us == (INTERVAL_US if k > TIMEOUT_US // INTERVAL_US else 0)
        link.sent(k, k * INTERVAL_US)
        if k:
            link.answered(k, k * INTERVAL_US + MS)
    assert (link.count, link.loss, link.loss_run_us) == (WINDOW, 0.0, 0)


# ---- worst link delay
# ------------------------------------------------------------------------------------


def test_q_is_the_slow_exchange_and_the_longest_run_of_loss() -> None:
    # 197 exchanges of 1..197 ms; 99.5 % by nearest rank is the 197th. Runs of 1 and 2 losses.
    times = [k * MS for k in range(1, 198)]
    link = link_with(*times[:50], None, *times[50:120], None, None, *times[120:])
    assert link.loss_run_us == 2 * INTERVAL_US
    assert link.worst_delay_us == 197 * MS + 2 * INTERVAL_US


def test_q_of_two_hundred_exchanges_leaves_out_the_slowest_one() -> None:
    link = LinkQuality()
    for k in range(WINDOW):
        link.sent(k, k * INTERVAL_US)
        link.answered(k, k * INTERVAL_US + (k + 1) * MS)
    assert link.worst_delay_us == 199 * MS + INTERVAL_US
    assert (link.rtt_p50_us, link.rtt_p99_us) == (100 * MS, 198 * MS)


def test_q_reckons_with_one_loss_where_none_was_seen() -> None:
    assert link_with(*[2 * MS] * WINDOW).worst_delay_us == 2 * MS + INTERVAL_US
    assert link_with(*[2 * MS] * WINDOW, None, MS).worst_delay_us == 2 * MS + INTERVAL_US


def test_run_of_loss_is_time_and_not_a_count() -> None:
    fast = link_with(MS, None, None, MS)
    slow = link_with(MS, None, None, MS, interval_us=200 * MS)
    assert (fast.loss_run_us, slow.loss_run_us) == (80 * MS, 240 * MS)


def test_run_of_loss_at_rest_ends_when_a_joint_that_moves_would_have_been_asked_again() -> None:
    slow = link_with(MS, None, MS, interval_us=200 * MS)
    assert slow.loss_run_us == 40 * MS
    quick = link_with(MS, None, MS, interval_us=25 * MS)
    assert quick.loss_run_us == 25 * MS, "the next one was answered earlier"


def test_run_of_loss_that_has_not_ended_lasts_until_the_last_sending() -> None:
    link = LinkQuality()
    link.sent(0, 0)
    link.answered(0, MS)
    for k in range(1, 51):
        link.sent(k, k * INTERVAL_US)
    # 25 of the 50 are lost by now, the others without answer too.
    assert link.loss == pytest.approx(25 / 26)
    assert link.loss_run_us == 49 * INTERVAL_US


def test_exchange_under_way_does_not_end_a_run_of_loss() -> None:
    link = LinkQuality()
    link.sent(0, 0)
    link.sent(1, INTERVAL_US)
    link.sent(2, 2 * INTERVAL_US)
    link.answered(2, INTERVAL_US + TIMEOUT_US - 1)
    assert link.loss == 0.5
    assert link.loss_run_us == 2 * INTERVAL_US, "from sending 0 to sending 2"


def test_without_any_answer_the_time_out_stands_for_the_slow_exchange() -> None:
    link = link_with(None, None, None)
    assert (link.rtt_p50_us, link.loss) == (None, 1.0)
    assert link.worst_delay_us == TIMEOUT_US + TIMEOUT_US + 3 * INTERVAL_US


# ---- properties ---------------------------------------------------------------------------

# (time since the sending before, time until the answer or none)
plans = st.lists(
    st.tuples(
        st.integers(1, 300 * MS),
        st.one_of(st.none(), st.integers(0, 50 * MS), st.integers(0, 2 * S)),
    ),
    max_size=260,
)


@given(plans)
def test_figures_are_those_of_the_definition(plan: list[tuple[int, int | None]]) -> None:
    link = LinkQuality()
    events: list[tuple[int, int, int]] = []
    sent_at: list[int] = []
    at_us = 0
    for sequence, (gap_us, time_us) in enumerate(plan):
        at_us += gap_us
        sent_at.append(at_us)
        events.append((at_us, 0, sequence))
        if time_us is not None:
            events.append((at_us + time_us, 1, sequence))
    answers: dict[int, int] = {}
    now_us = 0
    for now_us, answer, sequence in sorted(events):
        if not answer:
            link.sent(sequence, now_us)
        elif link.answered(sequence, now_us) is not None:
            answers[sequence] = now_us - sent_at[sequence]

    window = range(max(0, len(plan) - WINDOW), len(plan))
    times_us = [answers[k] for k in window if k in answers]
    lost = [k for k in window if k not in answers and now_us - sent_at[k] >= TIMEOUT_US]
    assert link.count == len(times_us) + len(lost)
    assert link.loss == (len(lost) / link.count if link.count else 0.0)
    if times_us:
        # numpy calls the nearest rank "inverted_cdf".
        assert link.rtt_p50_us == np.percentile(times_us, 50, method="inverted_cdf")
        assert link.rtt_p99_us == np.percentile(times_us, 99, method="inverted_cdf")
        slow_us = int(np.percentile(times_us, 99.5, method="inverted_cdf"))
    else:
        slow_us = TIMEOUT_US
    runs = [run_us(k, window, sent_at, answers) for k in lost]
    assert link.loss_run_us == max(runs, default=0)
    assert link.worst_delay_us == slow_us + max(link.loss_run_us, INTERVAL_US)


def run_us(k: int, window: range, sent_at: list[int], answers: dict[int, int]) -> int:
    """How long the run of loss lasted that began with exchange k, 40 ms after its last at most."""
    answered = next((j for j in window if j > k and j in answers), None)
    if answered is None:
        return sent_at[-1] - sent_at[k]
    return min(sent_at[answered], sent_at[answered - 1] + INTERVAL_US) - sent_at[k]
