"""Scripted trouble of a link."""

import pytest

from coordinator.rehearsal.faulty_link import STRAY_US, FaultyLink, Trouble
from simulator.network import PROFILES

SENDS = range(0, 1_000_000, 10_000)


def faulty_link(kind: Trouble | None = None, amount: float = 1.0) -> FaultyLink:
    found = FaultyLink(PROFILES["none"], 1, 0)
    if kind is not None:
        found.trouble(kind, amount, 200_000, 400_000, ("forward",))
    return found


def test_without_trouble_everything_comes_at_once_and_whole() -> None:
    link = faulty_link()
    assert all([one.at_us for one in link.forward(now)] == [now] for now in SENDS)
    assert not link.struck


@pytest.mark.parametrize("kind", list(Trouble))
def test_trouble_strikes_in_its_time_and_direction_only(kind: Trouble) -> None:
    link = faulty_link(kind, 30_000.0 if kind is Trouble.DELAY else 1.0)
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
    link = faulty_link()
    link.cut(200_000, 400_000, ("back",))
    passed = [now for now in SENDS if link.back(now)]
    assert passed == [now for now in SENDS if not 200_000 <= now < 400_000]
    assert all(link.forward(now) for now in SENDS if now > 0)
    assert link.struck == {"outage": 20}


def test_stream_is_late_in_a_spell_of_delay_and_keeps_its_order() -> None:
    link = faulty_link()
    link.trouble(Trouble.DELAY, 80_000.0, 100_000, 200_000)
    first = 190_000 + link.stream_delay("forward", 190_000)
    second = 210_000 + link.stream_delay("forward", 210_000)
    assert first == 270_000
    assert second >= first


def test_delay_one_way_delays_the_stream_that_way_only() -> None:
    link = faulty_link(Trouble.DELAY, 30_000.0)
    assert link.stream_delay("forward", 200_000) == 30_000
    assert link.stream_delay("back", 200_000) == 0


def test_loss_costs_a_stream_its_time_outs_as_long_as_it_lasts() -> None:
    link = faulty_link(Trouble.LOSS)
    assert link.stream_delay("back", 200_000) == 0
    # Tries at 0.2 s and, 200 ms later, at 0.4 s, when the spell is over.
    assert link.stream_delay("forward", 200_000) == 200_000
    assert link.stream_delay("forward", 410_000) == 0


def test_cut_is_not_over_for_datagrams_because_a_stream_waits_for_its_end() -> None:
    link = FaultyLink(PROFILES["none"], 1, 0)
    link.trouble(Trouble.DELAY, 400_000.0, 0, 1_000_000)
    link.cut(0, 300_000)
    link.stream_delay("forward", 100_000)
    assert link.forward(200_000) == []


def test_loss_of_some_costs_some_frames_of_a_stream_time_and_keeps_their_order() -> None:
    link = FaultyLink(PROFILES["none"], 1, 0)
    link.trouble(Trouble.LOSS, 0.3, 0, 20_000_000)
    delays = [link.stream_delay("forward", now) for now in range(0, 20_000_000, 1_000_000)]
    assert 0 in delays
    assert 200_000 in delays
