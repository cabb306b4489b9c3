"""What joints say alone tells the same alarms as their whole world, and where none can begin."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from coordinator.config.joint import Joint
from protocol.constants import US
from simulator.network import PROFILES, Link
from tests.bench import alarm_days
from tests.bench.alarm_could import UNSURE_US, could_alarm, longest_loss_us
from tests.bench.alarm_days import (
    BEGIN_US,
    STRETCH_US,
    Quiet,
    air_c,
    arm_of,
    fed_shift,
    quiet,
    speakers,
    stretches,
)
from tests.bench.alarm_faults import FAULTS
from tests.bench.alarm_feed import BEFALL, Fed
from tests.bench.alarm_nearest import Nearest
from tests.bench.alarm_says import LOST, Said, Speaker
from tests.bench.alarm_table import could_words, days_row, told_of
from tests.bench.alarm_work import NEAR_C, NEAR_V
from tests.bench.alarms import Case, Spell, calm_arm, drawn, shift

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
        (speaker,) = speakers(case, arm, [spell])
        why = could_alarm(arm.joints[0], speaker.says(BEGIN_US, BEGIN_US + HOUR_US // 2))
        # What a clock does by its crystal is not looked for: nothing steps it in quiet time.
        assert bool(why) is (not fault.name.startswith("clock")), (fault.name, spell, why)


def test_where_none_could_begin_the_alarm_layer_tells_none() -> None:
    case = Case(7, 1.0, (), joints=2)
    arm = calm_arm(2)
    joints = speakers(case, arm)
    fed = Fed(arm, [one.clock for one in joints])
    for from_us, to_us in stretches(HOUR_US):
        said = [one.says(from_us, to_us) for one in joints]
        assert [could_alarm(*one) for one in zip(arm.joints, said, strict=True)] == [[], []]
        fed.take(said, joints)
        for link in fed.links:
            clock = link.clock.guarantee(to_us)
            assert clock is not None
            assert clock.half_width_us < UNSURE_US / 2
    assert fed.notes == []


def test_quiet_time_is_told_with_what_it_was_and_how_near_it_came() -> None:
    found = quiet(Case(4, 2.0, (), joints=2))
    assert (found.joint_hours, found.alarms, found.unforeseen) == (4.0, [], [])
    assert found.exchanges == pytest.approx(2 * 2 * 3600 * 5 * 1.2, rel=0.1)
    near = found.nearest
    assert (near.below_warning_c > 5.0, near.above_warning_v > 3.0) == (True, True)
    assert 0.0 < near.longest_loss_s < 1.0


SAGS = next(one for one in FAULTS if one.name == "supply sags to 19 V")
DAY = Case(4, 1.5, (), joints=2)
LATE_S = 1500
"""Within the end of the first half hour that is fed with the second."""


def sagging(at_s: int) -> Spell:
    """Of three minutes, from then on."""
    return Spell(SAGS, calm_arm(2).joints[1].name, BEGIN_US + at_s * US)


@pytest.mark.parametrize("at_s", [600, LATE_S, 1798, 2400])
def test_a_fault_in_quiet_time_is_told_once(at_s: int) -> None:
    spell = sagging(at_s)
    found = quiet(DAY, [spell])
    (alarm,) = found.alarms
    assert (alarm.joint, alarm.code, found.unforeseen) == (spell.joint, "supply-low", [])
    assert 0 <= alarm.at_us - spell.at_us <= 6 * US
    assert found.nearest.above_warning_v == pytest.approx(-1.0, abs=0.3)
    assert "below its supply's warning" in found.could
    assert any("supply-low" in words for words in told_of(found))


def test_an_alarm_where_none_is_said_to_begin_is_told_as_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    spell = sagging(LATE_S)
    monkeypatch.setattr(alarm_days, "could_alarm", lambda *_: [])
    monkeypatch.setattr(alarm_days, "SEEN", 0.0)
    assert quiet(DAY, [spell]).alarms == []  # nothing is fed
    monkeypatch.setattr(alarm_days, "SEEN", 1.0)
    found = quiet(DAY, [spell])
    assert [one.code for one in found.unforeseen] == ["supply-low"]
    assert found.unforeseen == found.alarms
    assert any("none could have begun" in words for words in told_of(found))


def test_an_alarm_of_a_stretch_that_is_fed_only_with_the_next_is_told_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def only_in_the_second(_joint: Joint, said: Said) -> list[str]:
        stretch = (int(said.sent_us[-1]) - BEGIN_US) // STRETCH_US
        return ["said so"] if stretch == 1 else []

    monkeypatch.setattr(alarm_days, "could_alarm", only_in_the_second)
    monkeypatch.setattr(alarm_days, "SEEN", 0.0)
    found = quiet(DAY, [sagging(LATE_S)])
    assert [one.code for one in found.alarms] == ["supply-low"]
    assert found.unforeseen == found.alarms


def test_joints_that_work_hard_come_near_their_warnings_and_pass_them_by_noise_alone() -> None:
    case = Case(4, 24.0, (), joints=2)
    arm = arm_of(case, hard=True)
    joints = speakers(case, arm, hard=True)
    near, fans = [Nearest() for _ in joints], list[bool]()
    for from_us, to_us in stretches(case.long_us):
        for k, speaker in enumerate(joints):
            said = speaker.says(from_us, to_us, air_c(from_us))
            near[k].take(arm.joints[k], said)
            fans += said.fan.tolist()
    noise_c, noise_v = 0.15, 0.01
    for one in near:
        assert NEAR_C[0] - 5 * noise_c < one.below_warning_c < NEAR_C[1] + 0.7
        assert NEAR_V[0] - 6 * noise_v < one.above_warning_v < NEAR_V[1]
    assert {False, True} == set(fans)


def test_days_are_told_in_a_row_with_the_nearest_of_all() -> None:
    one, other = (
        Quiet(24.0, 72.0, 10, 1.0, {"why": 2}, nearest=Nearest(c, 0.2, 0.3)) for c in (4.0, 0.5)
    )
    row = days_row([one, other])
    assert row[0] == "2.00"
    assert row[4:] == ["0", "0.000 to 1.844", "0.50", "0.200", "0.30"]
    assert could_words([one, other]) == "4 (why)"


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
    (speaker,) = speakers(Case(2, 2.0, (), joints=1), calm_arm(1))
    said = speaker.says(BEGIN_US, BEGIN_US + 2 * HOUR_US)
    came = said.answered_us != LOST
    theirs = np.percentile(rtt_us, [10, 50, 90, 99])
    ours = np.percentile((said.answered_us - said.sent_us)[came], [10, 50, 90, 99])
    assert ours == pytest.approx(theirs, rel=0.12)
    assert 1.0 - came.mean() == pytest.approx(lost / count, abs=0.004)


def test_the_longest_loss_is_from_its_first_to_after_its_last() -> None:
    sent_us = np.arange(0, 2_000_000, 200_000)
    lost = np.array([1, 0, 0, 1, 1, 1, 0, 1, 1, 0], dtype=bool)
    assert longest_loss_us(sent_us, lost) == 440_000
    assert longest_loss_us(sent_us, np.zeros(10, dtype=bool)) == 0


def test_a_link_that_sleeps_is_refused() -> None:
    (speaker,) = speakers(Case(2, 1.0, (), joints=1), calm_arm(1))
    with pytest.raises(ValueError, match="sleeps"):
        Speaker(speaker.settings, PROFILES["power-save"], 50.0, BEGIN_US, (24.0, 23.9))
