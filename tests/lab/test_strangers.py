"""What strangers on the network say and do, and what the network loses: no joint is lost by it."""

import contextlib
import secrets
import time
from collections.abc import Callable, Iterator
from typing import Final

import pytest

from coordinator.links.clock import arm_now_us
from tests.e2e.harness import until
from tests.lab.announcements import MDNS, pointer
from tests.lab.forgeries import foreign_id, goodbye, name_elsewhere
from tests.lab.frames import MDNS_MAC, TCP, mac, read, udp_frame
from tests.lab.judge import assert_goes_on
from tests.lab.lab import COORDINATOR, Lab, at_rate, elsewhere
from tests.lab.scale import often

STREAMS: Final = 12
"""More handshakes in one session than a coordinator keeps the keys of."""
BACK_S: Final = 10.0
MOVED_S: Final = 5.0
RESETS_PER_S: Final = 20
AGE_US: Final = 16_000_000
"""By then a coordinator has asked who is there for the last time of itself."""
AWAY_US: Final = 1_000_000
"""After this long nothing is on its way any more from where a joint was."""
GOODBYE_S: Final = 1.5
"""A goodbye counts one second after it was heard (RFC 6762 section 10.1)."""
ROUNDS: Final = often(2, 10)
LINKED_S: Final = 60.0
SAID_S: Final = 30.0
OTHER_S: Final = 30.0
FLOOD_PER_S: Final = 2_000
FLOOD_US: Final = often(3_000_000, 10_000_000)
FULL_US: Final = 6_500_000
"""By then the flood has filled the 10,000 records that are kept."""
MULTICASTS: Final = 100
"""That a coordinator may send in a flood of ten seconds."""


def test_joints_come_back_after_resets_by_an_outsider_for_more_than_eight_streams(
    lab: Lab,
) -> None:
    lab.serve()
    lab.until_ready()
    begun = dict.fromkeys((lab.hosts[name].address for name in lab.joints), 0)

    def look(name: str, frame: bytes) -> None:
        packet = read(frame)
        if packet is not None and packet.protocol == TCP and packet.begins and name == COORDINATOR:
            begun[packet.target[0]] += 1

    with lab.switch.watched(look), lab.reset_streams(RESETS_PER_S):
        until(lambda: min(begun.values()) >= STREAMS, f"{STREAMS} streams of each joint")
    lab.until_ready(BACK_S)
    lab.plays()


def test_joint_that_moves_to_another_address_and_says_so_is_linked_again(lab: Lab) -> None:
    lab.ready()
    lab.power_off("elbow")
    lab.power_on_moving("elbow")
    lab.until_ready()
    boot, moved_us = lab.states()["elbow"]["boot"], lab.arm_now()["now_us"]
    lab.move_address("elbow", elsewhere(lab, "elbow"))

    def look() -> bool:
        elbow = lab.states()["elbow"]
        assert elbow["boot"] == boot
        return bool(elbow["link"] == "up" and elbow["heard_at_us"] > moved_us + AWAY_US)

    until(look, "the elbow linked", MOVED_S)
    lab.until_ready(BACK_S)
    lab.plays()
    lab.power_off("elbow")  # the next test has one as all others are


@pytest.mark.parametrize("forge", often([foreign_id], [foreign_id, name_elsewhere]))
def test_an_arm_that_moves_goes_on_whatever_is_announced(
    lab: Lab, forge: Callable[[Lab], None]
) -> None:
    lab.ready()
    run, since = lab.moves()
    forge(lab)
    assert_goes_on(lab, run, since)


@pytest.mark.parametrize("forge", often([name_elsewhere], [foreign_id, name_elsewhere]))
def test_an_arm_at_rest_plays_whatever_is_announced(lab: Lab, forge: Callable[[Lab], None]) -> None:
    lab.ready()
    forge(lab)
    lab.until_heard_anew()
    lab.until_ready(BACK_S)
    lab.plays()


def test_joint_for_which_somebody_said_goodbye_comes_back_from_a_gap(lab: Lab) -> None:
    lab.ready()
    until(lambda: arm_now_us() > lab.served_us + AGE_US, "a coordinator of some age")
    goodbye(lab)
    time.sleep(GOODBYE_S)
    # In place of a gap of 10 s and more, after which both ends give the stream up by themselves.
    with lab.reset_streams(RESETS_PER_S):
        until(lambda: lab.states()["elbow"]["link"] != "up", "the gap")
    lab.until_ready(BACK_S)
    lab.plays()


def test_all_joints_are_linked_within_a_minute_where_half_of_all_multicasts_are_lost(
    lab: Lab,
) -> None:
    lab.ready()
    for link in lab.switch.links.values():
        link.lose_multicast(0.5)
    for _ in range(ROUNDS):
        lab.serve()
        lab.until_ready(LINKED_S)


def test_coordinator_says_in_words_that_it_hears_nobody(lab: Lab) -> None:
    lab.ready()
    for link in lab.switch.links.values():
        link.block_multicast()
    lab.serve()

    def said() -> bool:
        return any("does not pass multicast" in note["message"] for note in lab.arm_now()["notes"])

    until(said, "a word about it", SAID_S)


@contextlib.contextmanager
def flood(lab: Lab) -> Iterator[None]:
    """Two thousand joints a second are announced that nobody knows.

    To the coordinator alone: the joints' processors are this machine's too.
    """
    stranger = lab.hosts["stranger"]
    place = stranger.address, MDNS[1]

    def announce() -> None:
        message = pointer(f"elbow-{secrets.token_hex(6)}")
        lab.switch.send(
            COORDINATOR, udp_frame(place, MDNS, message, mac(stranger.mac), mac(MDNS_MAC))
        )

    with at_rate(FLOOD_PER_S, announce):
        yield


def test_a_flood_of_announcements_neither_stops_the_arm_nor_is_answered_by_one(lab: Lab) -> None:
    lab.serve()
    lab.until_ready()
    sent = 0

    def look(name: str, frame: bytes) -> None:
        nonlocal sent
        sent += name == COORDINATOR and frame[:6] == mac(MDNS_MAC)

    run, since = lab.moves()
    with lab.switch.watched(look), flood(lab):
        assert_goes_on(lab, run, since, FLOOD_US)
    assert sent < MULTICASTS


def test_joint_that_comes_back_elsewhere_after_a_flood_of_announcements_is_linked(lab: Lab) -> None:
    lab.serve()
    lab.until_ready()
    boot = lab.states()["elbow"]["boot"]
    flooded_us = arm_now_us() + FULL_US
    with flood(lab):
        until(lambda: arm_now_us() > flooded_us, "the flood")
    lab.power_off("elbow")
    lab.move_address("elbow", elsewhere(lab, "elbow"))
    lab.power_on("elbow")
    until(lambda: lab.states()["elbow"]["boot"] != boot, "the elbow linked", BACK_S)
    lab.until_ready(BACK_S)
    lab.plays()


def test_the_other_of_two_joints_of_one_id_is_used_soon_after_one_lost_its_power(lab: Lab) -> None:
    lab.serve()
    lab.until_ready()
    lab.power_on("elbow", host="twin", seed=9)
    lab.until_joint("elbow", link="conflict")
    lab.power_off("elbow")
    lab.until_ready(OTHER_S)
    lab.plays()
