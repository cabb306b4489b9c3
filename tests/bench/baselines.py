"""Two naive ways to start together, in virtual time, on links and crystals of the same kinds.

*Go now*: each joint starts when a message on its own stream arrives.

Single-exchange SNTP (RFC 4330): each joint asks the coordinator's clock every 15 s, sets its own
by that one exchange, and starts when its clock shows an agreed instant. A request that is not
answered within a second is repeated. That the agreed instant reaches all joints in time is taken
for granted.
"""

import heapq
from random import Random

from protocol.constants import US
from simulator.network import PROFILES, Link
from simulator.physics.clock import JointOscillator
from simulator.unit import SKEW_PPM, UPTIME_US

SNTP_PERIOD_US = 15 * US
SNTP_PATIENCE_US = 1 * US
APART_US = 20 * US
"""Least time from one start to the next, with up to as much again; more than the SNTP period."""


def go_now_us(network: str, joints: int, seed: int, count: int) -> list[float]:
    """Spreads of so many fan-outs of *go now*."""
    links = [Link(PROFILES[network], seed, 0) for seed in _seeds("go now", seed, joints)]
    spreads = []
    for at_us in _instants(seed, count):
        delays = [link.stream_delay("forward", at_us) for link in links]
        spreads.append(float(max(delays) - min(delays)))
    return spreads


def sntp_us(network: str, joints: int, seed: int, count: int) -> list[float]:
    """Spreads of so many starts at an agreed instant of clocks that SNTP sets."""
    instants = _instants(seed, count)
    begun = [
        _sntp_starts_us(network, joint_seed, instants)
        for joint_seed in _seeds("sntp", seed, joints)
    ]
    return [max(starts) - min(starts) for starts in zip(*begun, strict=True)]


def _sntp_starts_us(network: str, seed: int, instants: list[int]) -> list[float]:
    """When a joint truly starts for each agreed instant."""
    random = Random(seed)
    crystal = JointOscillator(
        random.uniform(1.0, UPTIME_US),
        random.uniform(-SKEW_PPM, SKEW_PPM),
        random.getrandbits(32),
    )
    link = Link(PROFILES[network], random.getrandbits(64), 0)
    ask_us = random.randrange(SNTP_PERIOD_US)
    correction_us: float | None = None
    found: list[float] = []
    queue = [(at_us, True) for at_us in instants]
    heapq.heappush(queue, (ask_us, False))
    while len(found) < len(instants):
        now_us, is_start = heapq.heappop(queue)
        if is_start:
            assert correction_us is not None, "an exchange succeeds long before the first start"
            found.append(crystal.true_us(now_us - correction_us))
            continue
        answered = _exchange(link, crystal, now_us)
        if answered is None:
            heapq.heappush(queue, (now_us + SNTP_PATIENCE_US, False))
        else:
            correction_us = answered
            heapq.heappush(queue, (now_us + SNTP_PERIOD_US, False))
    return found


def _exchange(link: Link, crystal: JointOscillator, t1_us: int) -> float | None:
    """What one exchange says is to be added to the joint's counter to have the time."""
    asked = link.back(t1_us)
    if not asked:
        return None
    t2_us = asked[0]
    answers = link.forward(t2_us)
    if not answers or answers[0] - t1_us > SNTP_PATIENCE_US:
        return None
    t4_us = answers[0]
    return t2_us - (crystal.joint_us(t1_us) + crystal.joint_us(t4_us)) / 2


def _instants(seed: int, count: int) -> list[int]:
    random = Random(f"instants {seed}")
    found, at_us = [], 0
    for _ in range(count):
        at_us += APART_US + random.randrange(APART_US)
        found.append(at_us)
    return found


def _seeds(what: str, seed: int, joints: int) -> list[int]:
    random = Random(f"{what} {seed}")
    return [random.getrandbits(64) for _ in range(joints)]
