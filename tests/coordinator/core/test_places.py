"""Addresses of one joint: bounded, knocked at in turn, and twins told from a joint that
restarts.
"""

from dataclasses import dataclass

from hypothesis import given
from hypothesis import strategies as st

from coordinator.core.addresses import (
    ADDRESSES_KEPT,
    FAILURES,
    KNOCK_AGAIN_US,
    KNOCKS_APART_US,
    PROOF_US,
    Addresses,
)
from coordinator.core.events import StreamAddress

S = 1_000_000


def address(k: int) -> StreamAddress:
    return StreamAddress(f"10.0.0.{k}", 80, "/joint")


@given(
    announced=st.lists(st.integers(0, 30), max_size=60),
    proved=st.integers(0, 30),
    fixed=st.booleans(),
)
def test_the_newest_place_the_one_in_use_and_the_fixed_one_are_never_forgotten(
    announced: list[int], proved: int, fixed: bool
) -> None:
    addresses = Addresses(address(99) if fixed else None)
    addresses.proved(address(proved), 7, 0, 1)
    for k in announced:
        addresses.announced(address(k), f"name {k}", address(proved))
        assert address(k) in addresses
        assert address(proved) in addresses
        assert address(99) in addresses or not fixed
        assert len(addresses) <= ADDRESSES_KEPT


def test_of_places_where_nothing_was_proved_the_one_announced_longest_ago_is_forgotten() -> None:
    addresses = Addresses()
    for k in range(ADDRESSES_KEPT):
        addresses.announced(address(k), "", None)
    addresses.announced(address(0), "", None)
    addresses.announced(address(50), "", None)
    assert address(1) not in addresses
    assert address(0) in addresses


def test_news_is_knocked_at_once_and_what_is_known_only_while_the_joint_is_lost() -> None:
    addresses = Addresses()
    addresses.announced(address(1), "", None)
    addresses.announced(address(2), "", None)
    assert addresses.to_knock_at(0, None, lost=False) == address(2)
    addresses.knock(address(2), 0)
    assert addresses.to_knock_at(KNOCKS_APART_US - 1, None, lost=False) is None
    assert addresses.to_knock_at(KNOCKS_APART_US, None, lost=False) == address(1)
    addresses.knock(address(1), KNOCKS_APART_US)
    later = 10 * KNOCK_AGAIN_US
    assert addresses.to_knock_at(later, None, lost=False) is None
    assert addresses.to_knock_at(later, None, lost=True) == address(2)
    assert addresses.to_knock_at(later, address(2), lost=True) == address(1)
    addresses.announced(address(1), "", None)
    assert addresses.to_knock_at(later, None, lost=False) == address(1)


def test_a_stream_goes_to_the_newest_proof_and_after_failures_there_to_each_place_in_turn() -> None:
    addresses = Addresses()
    assert addresses.to_connect_to(0) is None
    for k in (1, 2, 3):
        addresses.announced(address(k), "", None)
    assert addresses.to_connect_to(0) == address(3)
    addresses.proved(address(1), 7, 0, 10)
    addresses.proved(address(2), 7, 10, 20)
    assert addresses.to_connect_to(30) == address(2)
    for _ in range(FAILURES):
        addresses.failed(address(2))
    assert addresses.to_connect_to(30) == address(1)
    for _ in range(FAILURES):
        addresses.failed(address(1))
    tried = []
    for k in range(6):
        to = addresses.to_connect_to(100 + k)
        assert to is not None
        addresses.tried(to, 100 + k)
        tried.append(to)
    assert set(tried[:3]) == set(tried[3:]) == {address(1), address(2), address(3)}
    addresses.proved(address(2), 7, 200, 210)
    assert addresses.to_connect_to(220) == address(2)


def test_a_goodbye_counts_only_when_it_was_said_everywhere() -> None:
    addresses = Addresses()
    told = [addresses.said_goodbye]
    addresses.announced(address(1), "elbow", None)
    addresses.announced(address(2), "elbow-2", None)
    addresses.goodbye("elbow")
    told.append(addresses.said_goodbye)
    addresses.goodbye("elbow-2")
    told.append(addresses.said_goodbye)
    addresses.announced(address(2), "elbow-2", None)
    told.append(addresses.said_goodbye)
    assert told == [False, False, True, False]


@dataclass
class Joint:
    """A joint that is on at one address for a while, and proves a boot of its own there."""

    boot: int
    address: StreamAddress
    on_us: int
    off_us: int


@given(
    lives=st.lists(st.tuples(st.integers(1, 5 * S), st.integers(0, 2 * S)), min_size=1, max_size=5),
    moves=st.booleans(),
    delays=st.lists(st.integers(0, S), min_size=200, max_size=200),
)
def test_a_joint_that_restarts_again_and_again_here_or_there_is_never_two(
    lives: list[tuple[int, int]], moves: bool, delays: list[int]
) -> None:
    """Whatever the delays: what was begun later may be heard earlier."""
    joints, at_us = [], 0
    for boot, (on_us, pause_us) in enumerate(lives):
        where = address(boot if moves else 0)
        joints.append(Joint(boot + 1, where, at_us, at_us + on_us))
        at_us += on_us + pause_us
    heard: list[tuple[int, int, Joint]] = []
    ways = iter(delays)
    for joint in joints:
        for k in range(10):
            # Begun before or while it is on, answered while it is on, heard after that.
            answered_us = joint.on_us + (joint.off_us - joint.on_us) * k // 10
            heard.append((answered_us + next(ways), answered_us - next(ways), joint))
    addresses = Addresses()
    for now, begun_us, joint in sorted(heard, key=lambda one: one[0]):
        addresses.proved(joint.address, joint.boot, begun_us, now)
        assert addresses.twins(now) == ()


@given(period_us=st.integers(40_000, 2 * S), rtt_us=st.integers(0, 300_000))
def test_two_that_are_on_together_are_found_out_as_long_as_both_answer(
    period_us: int, rtt_us: int
) -> None:
    addresses = Addresses()
    for k in range(8):
        begun_us = k * period_us
        for boot in (1, 2):
            addresses.proved(address(boot), boot, begun_us, begun_us + rtt_us)
    now = 7 * period_us + rtt_us
    assert addresses.twins(now) == (address(1), address(2))
    addresses.proved(address(1), 1, now + PROOF_US, now + PROOF_US)
    assert addresses.twins(now + PROOF_US + 1) == ()
