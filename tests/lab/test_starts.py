"""The proof of a start against the truth, and strangers who send what was sent before, or noise."""

import contextlib
import random
from collections.abc import Callable, Iterator
from typing import Final

import pytest

from tests.e2e.test_bad_network import noise_datagram
from tests.lab.frames import MDNS_PORT, UDP, Packet, read, udp_frame
from tests.lab.judge import assert_goes_on, assert_true_to, standing
from tests.lab.lab import COORDINATOR, Lab, at_rate
from tests.lab.scale import often

STARTS: Final = often(2, 30)
FORGED: Final = often(3_000, 60_000)
FLOOD_PER_S: Final = 2_000


def good(_lab: Lab) -> None:
    """A cable."""


def delaying(lab: Lab) -> None:
    """Each joint is further away than the one before, and one way longer than the other."""
    for k, name in enumerate(lab.joints):
        lab.link(name).delay(to_joint_ms=10 * k, from_joint_ms=5, jitter_ms=10)


def batching(lab: Lab) -> None:
    """All joints' radios sleep."""
    for name in lab.joints:
        lab.link(name).batch()


@pytest.mark.parametrize("links", [good, delaying, batching])
def test_true_spread_never_passes_the_bound_that_is_stated(
    lab: Lab, links: Callable[[Lab], None]
) -> None:
    lab.ready()
    links(lab)
    for _ in range(STARTS):
        since = len(lab.truths())
        report = lab.until_ended(lab.begin(lab.short()))
        assert report["outcome"] == "finished", report["message"]
        assert_true_to(lab, report, since)


class Recorder:
    """Keeps the datagrams between coordinator and joints, with who sent them from where."""

    def __init__(self, lab: Lab) -> None:
        self.packets: list[tuple[str, Packet]] = []
        self._by_address = {host.address: name for name, host in lab.hosts.items()}

    def look(self, _name: str, frame: bytes) -> None:
        packet = read(frame)
        if packet is not None and packet.protocol == UDP and packet.target[1] != MDNS_PORT:
            to = self._by_address.get(packet.target[0])
            if to is not None:
                self.packets.append((to, packet))


@contextlib.contextmanager
def recorded(lab: Lab) -> Iterator[Recorder]:
    recorder = Recorder(lab)
    with lab.switch.watched(recorder.look):
        yield recorder


def send_as_before(lab: Lab, to: str, packet: Packet, body: bytes) -> None:
    """From where it came the first time, as whoever forges addresses can."""
    frame = udp_frame(packet.source, packet.target, body, packet.source_mac, packet.target_mac)
    lab.switch.send(to, frame)


def spoilt(body: bytes, draw: random.Random) -> bytes:
    """The same cut short, with noise behind it, or with a few bytes that are others."""
    match draw.randrange(3):
        case 0:
            return body[: draw.randrange(len(body))]
        case 1:
            return body + draw.randbytes(draw.randrange(1, 400))
        case _:
            changed = bytearray(body)
            for _ in range(draw.randrange(1, 4)):
                changed[draw.randrange(len(body))] ^= draw.randrange(1, 256)
            return bytes(changed)


def ill_treat(lab: Lab, recorder: Recorder) -> None:
    """Send again what was recorded, from its first place and by a stranger, whole and spoilt."""
    draw = random.Random(5)
    stranger = lab.hosts["stranger"]
    with stranger.socket() as out:
        for to, packet in recorder.packets:
            send_as_before(lab, to, packet, packet.body)
            out.sendto(packet.body, packet.target)
        for _ in range(FORGED):
            to, packet = draw.choice(recorder.packets)
            bad = spoilt(packet.body, draw)
            send_as_before(lab, to, packet, bad)
            out.sendto(bad, packet.target)


def test_datagrams_of_this_session_and_the_last_move_nothing_when_they_come_again(
    lab: Lab,
) -> None:
    lab.ready()
    with recorded(lab) as recorder:
        lab.plays()
        lab.serve()
        lab.until_ready()
        lab.moves()
        lab.rest()  # so that a stop, too, is among what comes again
        lab.plays()
    assert len(recorder.packets) > 400
    before = standing(lab)
    ill_treat(lab, recorder)
    lab.until_heard_anew()
    assert standing(lab) == before
    lab.plays()


def test_datagrams_that_come_again_or_are_forged_disturb_no_arm_that_moves(lab: Lab) -> None:
    lab.ready()
    with recorded(lab) as recorder:
        lab.plays()
        run, since = lab.moves()
    ill_treat(lab, recorder)
    assert_goes_on(lab, run, since)
    lab.rest()
    assert_true_to(lab, lab.report(run), since)


def test_a_flood_of_noise_from_a_stranger_disturbs_no_arm_that_moves(lab: Lab) -> None:
    draw = random.Random(7)
    lab.ready()
    with recorded(lab) as recorder:
        run, since = lab.moves()
    places = sorted({packet.target for _, packet in recorder.packets})
    assert {host for host, _ in places} == {
        lab.hosts[name].address for name in (COORDINATOR, *lab.joints)
    }
    with lab.hosts["stranger"].socket() as out:

        def send() -> None:
            out.sendto(noise_datagram(draw), draw.choice(places))

        with at_rate(FLOOD_PER_S, send):
            assert_goes_on(lab, run, since)
    lab.rest()
    assert_true_to(lab, lab.report(run), since)
