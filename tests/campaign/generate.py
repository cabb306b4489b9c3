"""Random scenarios: the same seed gives the same scenario."""

from dataclasses import replace
from random import Random

from tests.campaign.scenario import LETTERS, REACH_DEG, Happening, Scenario

PROFILES = ("quiet", "quiet", "home", "home", "busy", "busy", "hostile")
BYTES_SHARE = 50
"""One scenario in so many goes through real bytes and tags."""
ARMS = 8
"""Kinds of arms of each number of joints that most scenarios are about; the rest have their own."""
JOINTS = (20, 40, 20, 10, 4, 4, 1, 1, 1, 1, 1, 1)
"""How often an arm has 1 to 12 joints: with a few, as much goes wrong in less time."""
END_MS = 9_000
"""Happenings begin up to here; programs take about so long."""
START_MS = 1_500
"""Loading, arming and the start itself fall into this time: much of what can go wrong does."""

LINK_FAULTS = ("outage", "loss", "delay", "reorder", "duplicate", "corrupt", "partition")
JOINT_FAULTS = (
    "reboot",
    "clock-step",
    "crystal",
    "hot",
    "driver",
    "supply",
    "lost-steps",
    "hall-high",
    "hall-low",
    "hall-noisy",
    "slow",
)
HOST_FAULTS = ("crash", "sleep", "second", "slew")
OPERATOR = ("hold", "resume", "stop", "home", "override", "play", "jog")
PLAYS_MS = (6_000, 11_000, 16_000)
"""After a crystal went out of tolerance: starts while it is not, or only just, found out."""


LONG_SHARE = 0.2
"""Scenarios of a long program in small buffers, which are fed while the arm moves."""
LONG_MOVES = (10, 16, 24, 32)
LONG_CAPACITIES = (16, 20, 24, 32, 48)
"""Points; a joint must hold 16 at least (`protocol/messages.py`), and a move has about 7."""
LONG_HAPPENINGS_MS = 20_000
"""Happenings of those begin up to here: such a program takes about so long."""


def generate(seed: int) -> Scenario:
    """The scenario of a seed."""
    scenario, random = _short(seed), Random(f"long {seed}")
    if random.random() >= LONG_SHARE:
        return scenario
    later = [
        replace(one, at_ms=one.at_ms + (LONG_HAPPENINGS_MS - END_MS))
        if random.random() < 0.5 else one
        for one in scenario.happenings
    ]  # fmt: skip
    return replace(
        scenario,
        program=tuple(_long_program(random, scenario.joints)),
        happenings=tuple(sorted(later, key=lambda one: one.at_ms)),
        capacities=tuple(random.choice(LONG_CAPACITIES) for _ in range(scenario.joints)),
    )


def _short(seed: int) -> Scenario:
    random = Random(f"scenario {seed}")
    joints = random.choices(range(1, 13), JOINTS)[0]
    full = random.random() < 0.1
    from_begin = random.random() < 0.1
    happenings = [
        happening for _ in range(random.choice((0, 1, 1, 2, 2, 3, 4, 6)))
        for happening in _happening(random, joints)
    ]  # fmt: skip
    return Scenario(
        seed=seed,
        joints=joints,
        arm_seed=random.randrange(10_000 if from_begin or full else ARMS),
        profile=random.choice(PROFILES),
        program=tuple(_program(random, joints)),
        happenings=tuple(sorted(happenings, key=lambda one: one.at_ms)),
        capacities=tuple(random.choice((24, 40, 64)) for _ in range(joints)) if full else (),
        real_bytes=seed % BYTES_SHARE == 0,
        from_begin=from_begin,
    )


def _program(random: Random, joints: int) -> list[str]:
    # The first line moves wherever the last play ended.
    lines = ["G90 G94", "G0 A1.5", "G0 A-1.5"]
    for _ in range(random.choice((1, 2, 3, 4))):
        words = [
            f"{letter}{random.uniform(-REACH_DEG, REACH_DEG):.2f}"
            for letter in LETTERS[:joints]
            if random.random() < 0.8
        ] or [f"A{random.uniform(-REACH_DEG, REACH_DEG):.2f}"]
        if random.random() < 0.5:
            lines.append("G0 " + " ".join(words))
        else:
            lines.append(f"G1 {' '.join(words)} F{random.choice((600, 1200, 3000))}")
        if random.random() < 0.15:
            lines.append(f"G4 P{random.uniform(0.1, 1.0):.2f}")
        if random.random() < 0.05:
            lines.append("M0")
    return [*lines, "M2"]


def _long_program(random: Random, joints: int) -> list[str]:
    """Many moves: fast ones, slow ones, and paths of short pieces."""
    lines, letters = ["G90 G94", "G0 A1.5", "G0 A-1.5"], LETTERS[:joints]
    reach_deg = random.choice((10.0, 25.0, REACH_DEG))
    for _ in range(random.choice(LONG_MOVES)):
        words = " ".join(
            f"{letter}{random.uniform(-reach_deg, reach_deg):.2f}" for letter in letters
        )
        lines.append(f"G0 {words}" if random.random() < 0.3 else f"G1 {words} F{_feed(random)}")
        if random.random() < 0.1:
            lines.append(f"G4 P{random.uniform(0.1, 1.0):.2f}")
    return [*lines, "M2"]


def _feed(random: Random) -> int:
    return random.choice((600, 1200, 3000))


def _happening(random: Random, joints: int) -> list[Happening]:
    at_ms = random.randrange(START_MS if random.random() < 0.4 else END_MS)
    one = (random.randrange(joints),)
    kind = random.random()
    if kind < 0.40:
        return [_link_fault(random, joints, at_ms, one)]
    if kind < 0.58:
        fault = _joint_fault(random, at_ms, one)
        if fault.what == "crystal":
            return [fault, *(Happening(at_ms + later_ms, "play") for later_ms in PLAYS_MS)]
        return [fault]
    if kind < 0.70:
        what = random.choice(HOST_FAULTS)
        for_ms = {
            "crash": random.choice((200, 1_000, 3_000, 8_000)),
            "sleep": random.choice((100, 300, 1_000, 3_000, 10_000, 60_000)),
            "second": random.choice((2_000, 10_000)),
            "slew": 10_000,
        }[what]
        return [Happening(at_ms, what, for_ms=for_ms, amount=random.choice((-500, 500)))]
    what = random.choice(OPERATOR)
    if what == "override":
        return [Happening(at_ms, what, amount=random.choice((5, 10, 25, 50, 80, 100)))]
    if what == "stop":
        return [Happening(at_ms, what, amount=random.choice((1, 1, 2, 3)))]
    if what == "jog":
        return [Happening(at_ms, what, one, 500, random.choice((-10.0, -1.0, 1.0, 10.0)))]
    if what == "hold" and random.random() < 0.6:
        resumed = Happening(at_ms + random.randrange(500, 4_000), "resume")
        return [Happening(at_ms, what), resumed]
    return [Happening(at_ms, what)]


def _link_fault(random: Random, joints: int, at_ms: int, one: tuple[int, ...]) -> Happening:
    what = random.choice(("outage", *LINK_FAULTS))
    ways = random.choice((("forward", "back"), ("forward", "back"), ("forward",), ("back",)))
    if what == "partition":
        some = tuple(sorted(random.sample(range(joints), random.randint(1, joints))))
        return Happening(at_ms, "outage", some, random.choice((300, 800, 1_500, 4_000)), ways=ways)
    if what == "outage":
        for_ms = random.choice((100, 200, 300, 500, 800, 1_200, 2_000, 5_000, 12_000))
        return Happening(at_ms, what, one, for_ms, ways=ways)
    amount = {
        "loss": random.choice((0.2, 0.5, 0.8)),
        "delay": random.choice((20_000.0, 100_000.0, 400_000.0)),
        "reorder": random.choice((0.1, 0.5)),
        "duplicate": random.choice((0.1, 0.5)),
        "corrupt": random.choice((0.1, 0.5)),
    }[what]
    struck = one
    if random.random() < 0.3:
        struck = tuple(sorted(random.sample(range(joints), random.randint(1, joints))))
    return Happening(at_ms, what, struck, random.choice((500, 1_500, 4_000)), amount, ways)


def _joint_fault(random: Random, at_ms: int, one: tuple[int, ...]) -> Happening:
    what = random.choice((*JOINT_FAULTS, "reboot", "reboot"))
    for_ms = {
        "reboot": random.choice((50, 500, 2_000, 7_000)),
        "hot": 3_000,
        "supply": random.choice((500, 3_000)),
        "crystal": 20_000,
        "hall-noisy": 3_000,
        "hall-high": 5_000,
        "hall-low": 5_000,
        "slow": 3_000,
    }.get(what, 0)
    amount = {
        "clock-step": random.choice((-200_000.0, -3_000.0, 300.0, 5_000.0, 1e6)),
        "crystal": random.choice((-300.0, 200.0, 2_000.0)),
        "lost-steps": random.choice((-20_000.0, 3_000.0)),
        "slow": random.choice((10_000.0, 80_000.0, 300_000.0)),
    }.get(what, 0.0)
    return Happening(at_ms, what, one, for_ms, amount)
