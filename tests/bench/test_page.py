"""What computes the page's figures, where they can be told beforehand."""

import os
import time
from unittest.mock import patch

import pytest

from simulator.joint.motion import brake
from tests.bench import page, page_memory, page_paint
from tests.bench.page_arm import cpu_s
from tests.bench.page_canned import A_MINUTE, CannedFeed
from tests.bench.page_clock import PageClock, braking_us, latencies_us, page_clock
from tests.bench.page_paint import LEAST_US, Paints


def test_the_pages_clock_is_that_of_the_shortest_exchange_and_off_by_half_of_it_at_most() -> None:
    true_us = 5_000_000.0  # of the raw clock when the page's clock is 0
    # What answers late, at the very end of a long exchange, would put it 4 ms too early.
    late = (true_us + 1_000, 9.0, true_us + 9_000)
    short = (true_us + 20_000, 20.2, true_us + 20_600)
    clock = page_clock([late, short, late])
    assert clock.error_us == 300
    assert abs(clock.offset_us - true_us) <= clock.error_us
    assert clock.raw_us(1.5) == clock.offset_us + 1_500


def test_a_change_is_shown_when_its_own_lane_says_its_own_word_after_it() -> None:
    clock = PageClock(offset_us=1_000_000, error_us=500)
    truths = [
        {"event": "start", "joint": "elbow", "at_ns": 2_000_000_000},
        {"event": "stop", "joint": "elbow", "at_ns": 3_000_000_000},
        {"event": "start", "joint": "wrist", "at_ns": 2_000_000_000},
        {"event": "home", "joint": "wrist", "at_ns": 1_000_000_000},
    ]
    seen = [
        ("elbow", "moving", 900.0),  # of an earlier start
        ("wrist", "stopped", 1_020.0),
        ("elbow", "start is set", 1_010.0),
        ("elbow", "moving", 1_045.0),
        ("elbow", "stopping", 2_010.0),
        ("elbow", "stopped", 2_090.0),
    ]
    assert latencies_us(truths, seen, clock) == {"start": [45_000], "stop": [90_000]}


def test_a_change_shown_a_clocks_error_before_it_was_is_still_shown() -> None:
    clock = PageClock(offset_us=0, error_us=500)
    truths = [{"event": "start", "joint": "elbow", "at_ns": 2_000_000_000}]
    assert latencies_us(truths, [("elbow", "moving", 1999.6)], clock)["start"] == [-400]
    assert latencies_us(truths, [("elbow", "moving", 1999.4)], clock)["start"] == []


@pytest.mark.parametrize("speed_deg_s", [10.0, -4.0])
def test_braking_began_as_long_before_the_rest_as_the_joint_takes_to_brake(
    speed_deg_s: float,
) -> None:
    counts_per_degree, began_us = 177.8, 7_000_000.0
    motion = brake(began_us, 0.0, speed_deg_s * counts_per_degree, 120.0 * counts_per_degree)
    assert motion.end_us > began_us
    assert braking_us(round(motion.end_us * 1000), speed_deg_s, 120.0) == pytest.approx(
        began_us, abs=1
    )


def test_processor_time_of_a_process_is_what_it_says_itself() -> None:
    began_s = time.process_time()
    before_s = cpu_s(os.getpid())
    while time.process_time() < began_s + 0.2:
        pass
    # Both count in steps, of 10 ms at most.
    assert cpu_s(os.getpid()) - before_s == pytest.approx(0.2, abs=0.03)


def test_a_minute_of_the_canned_feed_is_a_minute_and_its_last_message_alone_says_so() -> None:
    feed = CannedFeed(6)
    first = feed.next()
    name = feed.rush(A_MINUTE)
    minute = [feed.next() for _ in range(A_MINUTE)]
    assert [told["seq"] for told in minute] == [first["seq"] + 1 + k for k in range(A_MINUTE)]
    assert minute[-1]["at_us"] - first["at_us"] == 60_000_000
    assert [k for k, told in enumerate(minute) if "arm" in told["set"]] == [A_MINUTE - 1]
    assert minute[-1]["set"]["arm"] == name
    angles = {told["joints"]["elbow"]["position_deg"] for told in minute}
    assert len(angles) > A_MINUTE / 4  # it moves


def test_a_press_took_as_long_as_its_slowest_event_and_what_is_not_told_took_the_least() -> None:
    found = Paints()
    told = [(7, 24_000.0, "Hold"), (7, 120_000.0, "Check"), (9, 40_000.0, "Add"), (7, 16_000.0, "")]
    found.take(told, presses=4)
    assert sorted(found.paint_us) == [LEAST_US, LEAST_US, 40_000, 120_000]
    assert found.slowest == "Check"


def test_the_goal_of_the_next_paint_is_of_all_presses_but_one_in_fifty(
    capsys: pytest.CaptureFixture[str],
) -> None:
    good = Paints([16_000.0] * 48 + [96_000.0, 304_000.0], slowest="Check", unreached=2)
    bad = Paints([16_000.0] * 48 + [104_000.0] * 2)
    with patch.object(page_paint, "paints", lambda *_: {"Watch": good, "Play": bad}):
        page.paint(6, 50, 1)
    lines = [line for line in capsys.readouterr().out.splitlines() if line.startswith("│")]
    rows = [[cell.strip() for cell in line.strip("│ ").split("│")] for line in lines]
    assert rows == [
        ["Watch", "50", "16.0", "96.0", "≤ 100", "met", "304.0", "Check", "2"],
        ["Play", "50", "16.0", "104.0", "≤ 100", "missed", "104.0", "–", "0"],
    ]


def test_a_feed_of_motion_in_virtual_time_tells_its_memory_each_minute() -> None:
    first, second = page_memory.resident_bytes(2, (1, 2))
    assert 0 < first < 2**30
    assert 0 < second < 2**30
