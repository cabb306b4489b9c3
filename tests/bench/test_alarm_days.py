"""What joints say alone tells the same alarms as their whole world, and where none can begin."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from protocol.constants import US
from simulator.network import PROFILES, Link
from simulator.physics.heat import sensor_code
from tests.bench.alarm_could import UNSURE_US, could_alarm, longest_loss_us
from tests.bench.alarm_days import BEGIN_US, fed_shift, quiet, speakers, stretches
from tests.bench.alarm_faults import FAULTS
from tests.bench.alarm_feed import BEFALL, Fed
from tests.bench.alarm_says import LOST, Speaker, sensor_codes
from tests.bench.alarms import Case, calm_arm, drawn, shift

BRIEF_S = {"warm": 90, "hovers about its warning": 240, "supply sags to 19 V": 30}
BRIEF = tuple(replace(one, for_s=BRIEF_S.get(one.name, one.for_s)) for one in FAULTS)
LINK = ("link-poor", "link-lossy", "link-lopsided")
HOUR_US = 3600 * US


def test_the_alarm_layer_fed_alone_tells_what_the_whole_world_tells_of_the_same_faults() -> None:
    case = Case(5, 0.9, BRIEF, joints=2)
    whole, alone = shift(case), fed_shift(case)
    assert Counter((one.joint, one.code) for one in alone.alarms) == Counter(
        (one.joint, one.code) for one in whole.alarms
    )
    assert len(whole.alarms) >= sum(one.is_told for one in FAULTS)
    assert (alone.missed, alone.false) == (whole.missed, whole.false) == ([], [])
    for name, took_us in whole.told_us.items():
        assert alone.told_us[name] == pytest.approx(took_us, abs=10 * US), name


def test_every_fault_of_which_people_are_told_is_where_an_alarm_could_begin() -> None:
    assert set(BEFALL) == {one.name for one in FAULTS}
    arm = calm_arm(1)
    for fault in FAULTS:
        case = Case(3, 0.5, (fault,), joints=1)
        (spell,) = drawn(case, arm, BEGIN_US)
        (speaker,) = speakers(case, [spell])
        why = could_alarm(arm.joints[0], speaker.says(BEGIN_US, BEGIN_US + HOUR_US // 2), None)
        # What a clock does by its crystal is not looked for: nothing steps it in quiet time.
        assert bool(why) is (not fault.name.startswith("clock")), (fault.name, spell, why)


def test_where_none_could_begin_the_alarm_layer_tells_none() -> None:
    case = Case(7, 1.0, (), joints=2)
    arm, joints = calm_arm(2), speakers(case)
    fed = Fed(arm, [one.clock for one in joints])
    for from_us, to_us in stretches(HOUR_US):
        said = [one.says(from_us, to_us) for one in joints]
        assert [could_alarm(*one, None) for one in zip(arm.joints, said, strict=True)] == [[], []]
        fed.take(said, joints)
        for link in fed.links:
            clock = link.clock.guarantee(to_us)
            assert clock is not None
            assert clock.half_width_us < UNSURE_US / 2
    assert fed.notes == []


def test_quiet_time_is_told_with_what_it_was() -> None:
    found = quiet(Case(4, 2.0, (), joints=2))
    assert (found.joint_hours, found.alarms, found.unforeseen) == (4.0, [], [])
    assert found.exchanges == pytest.approx(2 * 2 * 3600 * 5 * 1.2, rel=0.1)


def test_a_link_that_is_drawn_at_once_is_as_the_simulators() -> None:
    """Shares of losses and percentiles of round trips; 20,000 exchanges leave a percent or two."""
    profile, period_us, count = PROFILES["home"], 200_000, 20_000
    link, rtt_us, lost = Link(profile, 11), list[int](), 0
    for k in range(count):
        there = link.forward(k * period_us)
        back = link.back(there[0]) if there else ()
        if back:
            rtt_us.append(back[0] - k * period_us)
        lost += not back
    (speaker,) = speakers(Case(2, 2.0, (), joints=1))
    said = speaker.says(BEGIN_US, BEGIN_US + 2 * HOUR_US)
    came = said.answered_us != LOST
    theirs = np.percentile(rtt_us, [10, 50, 90, 99])
    ours = np.percentile((said.answered_us - said.sent_us)[came], [10, 50, 90, 99])
    assert ours == pytest.approx(theirs, rel=0.12)
    assert 1.0 - came.mean() == pytest.approx(lost / count, abs=0.004)


def test_readings_made_at_once_are_those_of_the_simulators_sensor() -> None:
    celsius = np.linspace(-80.0, 300.0, 5000)
    assert sensor_codes(celsius).tolist() == [sensor_code(one) for one in celsius]


def test_the_longest_loss_is_from_its_first_to_after_its_last() -> None:
    sent_us = np.arange(0, 2_000_000, 200_000)
    lost = np.array([1, 0, 0, 1, 1, 1, 0, 1, 1, 0], dtype=bool)
    assert longest_loss_us(sent_us, lost) == 440_000
    assert longest_loss_us(sent_us, np.zeros(10, dtype=bool)) == 0


def test_a_link_that_sleeps_is_refused() -> None:
    (speaker,) = speakers(Case(2, 1.0, (), joints=1))
    with pytest.raises(ValueError, match="sleeps"):
        Speaker(speaker.settings, PROFILES["power-save"], 50.0, BEGIN_US)
