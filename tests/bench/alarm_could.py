"""What is needed before any look at a joint can find anything bad, for a whole stretch at once.

Each is less than any look needs: of the longest loss and the slowest answer, for one, it is taken
that they meet in one window, and of a joint's clock that it is as far off as it can be.
"""

import numpy as np
from numpy.typing import NDArray

from coordinator.config.joint import Joint
from coordinator.core.link.link import LOST_AFTER_US
from coordinator.health.link import LOSSY_SHARE
from coordinator.health.lopsided import LEAST_US, SAMPLES, SHARE
from coordinator.health.plausible import FROZEN_US, HIGHEST_C, LOWEST_C, PLAY_C
from coordinator.timing.link_quality import WINDOW
from coordinator.timing.start_delay import START_DELAY_MAX_US, wanted_start_delay_us
from protocol.constants import ACTIVE_INTERVAL_US, US
from tests.bench.alarm_says import LOST, Said
from tests.bench.alarm_work import Ints

UNSURE_US = 3_000.0
"""No clock's guarantee is wider to either side in these shifts (`test_alarms` asks it)."""
UNDECIDED = 30
"""Exchanges of a link's window that may be neither answered nor lost: a second's."""


def could_alarm(joint: Joint, said: Said) -> list[str]:
    """Why an alarm could begin of what a joint said; empty where none can, whatever a look finds.

    Clocks are none of it: limits of exchanges cannot contradict each other where crystals keep
    within what they are believed to (`coordinator/timing/guarantee.py`), as `JointOscillator` does
    unless it is stepped, which the answers show.
    """
    found = []
    answered = said.answered_us[said.answered_us != LOST]
    silent_us = np.diff(answered, append=said.sent_us[-1:])
    if not len(answered) or silent_us.max() > LOST_AFTER_US:
        found.append("silent for a second")
    lost = said.answered_us == LOST
    rtt_us = int((said.answered_us - said.sent_us)[~lost].max(initial=0))
    if wanted_start_delay_us(rtt_us + longest_loss_us(said.sent_us, lost)) > START_DELAY_MAX_US:
        found.append("the longest loss and the slowest answer, as if in one window")
    if _most_of(lost, WINDOW) >= LOSSY_SHARE * (WINDOW - UNDECIDED):
        found.append("losses within a window")
    if _could_be_lopsided(said):
        found.append("one way longer")
    return found + _could_read(joint, said)


def longest_loss_us(sent_us: Ints, lost: NDArray[np.bool_]) -> int:
    """From the first of a run of losses until an active interval after its last, the longest."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], lost, [False])).astype(np.int8)))
    firsts, lasts = edges[::2], edges[1::2] - 1
    if not len(firsts):
        return 0
    return int((sent_us[lasts] - sent_us[firsts]).max()) + ACTIVE_INTERVAL_US


def _most_of(lost: NDArray[np.bool_], window: int) -> int:
    sums = np.concatenate(([0], np.cumsum(lost)))
    return int((sums[window:] - sums[:-window]).max(initial=0))


def _could_be_lopsided(said: Said) -> bool:
    """By the first answer after each reading, which is when a joint is looked at, and by the true
    ways, which the estimate is no further from than the guarantee is wide.
    """
    came = said.answered_us != LOST
    there_us, answered_us, sent_us = (
        what[came] for what in (said.there_us, said.answered_us, said.sent_us)
    )
    looks = np.unique(there_us.searchsorted(said.read_us))
    looks = looks[looks < len(there_us)]
    if len(looks) < SAMPLES:
        return False
    forward_us, back_us = (there_us - sent_us)[looks], (answered_us - there_us)[looks]
    long = np.abs(forward_us - back_us) > LEAST_US - 2.0 * UNSURE_US
    if _most_of(long, SAMPLES) < SAMPLES // 2:
        return False  # no median of so few can be
    longer_us = np.abs(_medians(forward_us - back_us)) + 2.0 * UNSURE_US
    trip_us = _medians(forward_us + back_us)
    return bool((longer_us > np.maximum(SHARE * trip_us, LEAST_US)).any())


def _medians(values: Ints) -> NDArray[np.float64]:
    windows = np.lib.stride_tricks.sliding_window_view(values, SAMPLES)
    return np.asarray(np.median(windows, axis=1), dtype=np.float64)


def _could_read(joint: Joint, said: Said) -> list[str]:
    found, celsius = [], said.centi_c / 100.0
    if (celsius > joint.temperature_warning_c).any():
        found.append("above its warning")
    if ((celsius < LOWEST_C) | (celsius > HIGHEST_C)).any():
        found.append("beyond what its sensor can measure")
    if (np.abs(np.diff(celsius)) > PLAY_C).any():
        found.append("readings far apart")
    changes = np.flatnonzero(np.diff(said.centi_c)) + 1
    same = np.diff(np.concatenate(([0], changes, [len(celsius)])))
    if int(same.max()) * US >= FROZEN_US // 10:
        found.append("readings that stay the same")
    if (said.supply_mv < 1_000 * joint.supply_warning_v).any():
        found.append("below its supply's warning")
    return found
