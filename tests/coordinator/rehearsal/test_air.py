"""Scripted trouble of a link."""

import pytest

from coordinator.rehearsal.air import STRAY_US, Air, Trouble
from simulator.network import PROFILES

SENDS = range(0, 1_000_000, 10_000)


def air(kind: Trouble | None = None, amount: float = 1.0) -> Air:
    found = Air(PROFILES["none"], 1, 0)
    if kind is not None:
        found.trouble(kind, amount, 200_000, 400_000, ("forward",))
    return found


def test_without_trouble_everything_comes_at_once_and_whole() -> None:
    link = air()
    assert all([one.at_us for one in link.forward(now)] == [now] for now in SENDS)
    assert not link.struck


@pytest.mark.parametrize("kind", list(Trouble))
def test_trouble_strikes_in_its_time_and_direction_only(kind: Trouble) -> None:
    link = air(kind, 30_000.0 if kind is Trouble.DELAY else 1.0)
    for now in SENDS:
        forward, back = link.forward(now), link.back(now)
        assert [(one.at_us, one.damaged) for one in back] == [(now, False)]
        if not 200_000 <= now < 400_000:
            assert [(one.at_us, one.damaged) for one in forward] == [(now, False)]
        elif kind is Trouble.LOSS:
            assert forward == []
        elif kind is Trouble.DELAY:
            assert [one.at_us for one in forward] == [now + 30_000]
        elif kind is Trouble.CORRUPT:
            assert [one.damaged for one in forward] == [True]
        else:
            assert len(forward) == (2 if kind is Trouble.DUPLICATE else 1)
            assert now <= forward[-1].at_us < now + STRAY_US
    assert link.struck == {kind.value: 20}


def test_cut_of_one_direction_lets_the_other_pass() -> None:
    link = air()
    link.cut(200_000, 400_000, ("back",))
    passed = [now for now in SENDS if link.back(now)]
    assert passed == [now for now in SENDS if not 200_000 <= now < 400_000]
    assert all(link.forward(now) for now in SENDS if now > 0)
    assert link.struck == {"outage": 20}


def test_stream_is_late_in_a_spell_of_delay_and_keeps_its_order() -> None:
    link = air()
    link.trouble(Trouble.DELAY, 80_000.0, 100_000, 200_000)
    first = 190_000 + link.stream_delay("forward", 190_000)
    second = 210_000 + link.stream_delay("forward", 210_000)
    assert first == 270_000
    assert second >= first
