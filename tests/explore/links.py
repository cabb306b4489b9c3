"""The small scope: an arm of two or three quick joints, and links on which every datagram asks.

Time goes in ticks of 10 ms. A datagram comes one tick after it was sent, unless the search decides
otherwise; a frame of a stream too. All the rest is the real code: coordinator core and joints.
"""

import json
from collections.abc import Callable, Sequence
from enum import StrEnum
from pathlib import Path

from coordinator.config.arm import Arm, parse_arm
from coordinator.rehearsal.faulty_link import Arrival, FaultyLink
from simulator.network import BOTH, PROFILES, Direction
from simulator.settings import JointSettings
from simulator.unit import JointUnit

TICK_US = 10_000
LATE_US = 5 * TICK_US
"""Beyond the next drive at 25 Hz, so whatever is so late is overtaken."""
STALE_US = 30 * TICK_US
"""Beyond any expiry (250 ms), and beyond a start's check where links are good."""
RETRANSMITTED_US = 200_000
"""A stream's frame that was lost waits for a retransmission (common practice, as in `network`)."""
SKEW_LIMIT_MS = 100
"""A tick each way leaves a clock known to ±10 ms."""
NAMES = ("base", "middle", "tip")
KEY = bytes(range(32))
PROGRAM = "G90 G94\nG1 A-20 B-16 C-12 F3600\nG1 A-5 B-4 C-3 F3600\nM2\n"
"""Something over a second of path, on the side of home from which homing searches."""
GRIP = "G90 G94\nG1 A-20 B-16 C-12 F3600\nM3\nG1 A-5 B-4 C-3 F3600\nM5\nG1 A-6 B-5 C-4 F3600\nM2\n"
"""It waits behind M3 until the gripper holds something."""
PASSING = (
    "G90 G94\nG64 P2\nG1 A-20 B-4 C-12 F3600\nG1 A-12 B-16 C-3 F3600\nG1 A-5 B-4 C-8 F3600\nM2\n"
)
"""It passes two corners without a rest."""
GRIPPER = """outputs = ["gripper"]
inputs = ["held"]
[[tool_outputs]]
output = "gripper"
on = "M3"
off = "M5"
wait_on = { input = "held", is = true, within_s = 0.5 }
on_stop = "off"
"""
"""On the last joint; its input follows it by 0.1 s."""


class Fate(StrEnum):
    """What becomes of one datagram or one frame of a stream."""

    NOW = "now"
    LOST = "lost"
    SLOW = "slow"
    """One tick more: it changes places with what the other joints say and with timers."""
    LATE = "late"
    """It comes after the next one."""
    TWICE = "twice"
    """A second copy comes after the next one."""
    STALE = "stale"
    """It comes when much else has happened."""
    AGAIN = "again"
    """A second copy comes when much else has happened."""


Decide = Callable[[str, bool], Fate]
"""Gives the fate of what a text describes; the flag says whether it is a datagram."""


class DecidedLink(FaultyLink):
    """A link between the laptop and one joint. `decide` is asked about everything on it."""

    def __init__(self, name: str, decide: Decide) -> None:
        super().__init__(PROFILES["none"], 0, 0)
        self.name = name
        self.deviated: dict[int, Fate] = {}
        """By arrival, what a datagram to the joint that comes then met on its way."""
        self._decide = decide
        self._outages: list[tuple[int, int, tuple[Direction, ...]]] = []
        self._written = {"forward": 0, "back": 0}

    def cut(self, start_us: int, end_us: int, directions: Sequence[Direction] = BOTH) -> None:
        self._outages.append((start_us, end_us, tuple(directions)))

    def open(self, now_us: int) -> bool:
        """Whether no outage is under way."""
        return all(end_us <= now_us for _, end_us, _ in self._outages)

    def forward(self, now_us: int) -> Sequence[Arrival]:
        return self._datagram("forward", now_us)

    def back(self, now_us: int) -> Sequence[Arrival]:
        return self._datagram("back", now_us)

    def stream_delay(self, direction: Direction, now_us: int) -> int:
        fate = self._decide(f"{_WAY[direction]} {self.name} (stream)", False)
        at_us = now_us + TICK_US + (RETRANSMITTED_US if fate is Fate.LOST else 0)
        for start_us, end_us, directions in self._outages:
            if direction in directions and start_us <= now_us < end_us:
                at_us = max(at_us, end_us + RETRANSMITTED_US)
        # In order: what was written later never overtakes.
        self._written[direction] = at_us = max(at_us, self._written[direction])
        return at_us - now_us

    def _datagram(self, direction: Direction, now_us: int) -> Sequence[Arrival]:
        for start_us, end_us, directions in self._outages:
            if direction in directions and start_us <= now_us < end_us:
                return []
        fate = self._decide(f"{_WAY[direction]} {self.name}", True)
        arrivals = [now_us + extra_us + TICK_US for extra_us in _ARRIVE[fate]]
        if direction == "forward" and fate is not Fate.NOW and arrivals:
            self.deviated[arrivals[-1]] = fate
        return [Arrival(at_us) for at_us in arrivals]


_WAY = {"forward": "to", "back": "from"}
_ARRIVE: dict[Fate, tuple[int, ...]] = {
    Fate.NOW: (0,),
    Fate.LOST: (),
    Fate.SLOW: (TICK_US,),
    Fate.LATE: (LATE_US,),
    Fate.TWICE: (0, LATE_US),
    Fate.STALE: (STALE_US,),
    Fate.AGAIN: (0, STALE_US),
}


def quick_arm(count: int, acceleration_deg_s2: int = 240) -> Arm:
    """Joints whose ramp takes 0.4 s, so that a whole run is short."""
    names = NAMES[:count]
    park = ", ".join(f"{name} = 0" for name in names)
    text = f'name = "small scope"\nhoming_order = {json.dumps(names)}\n'
    text += f"skew_limit_ms = {SKEW_LIMIT_MS}\n[poses]\n"
    text += f"park = {{ {park} }}\n"
    for k, name in enumerate(names):
        text += _JOINT.format(
            name=name, number=k + 1, word="ABC"[k], acceleration=acceleration_deg_s2
        )
    return parse_arm(text + GRIPPER, Path("small-scope.toml"))


def units_of(arm: Arm, start_us: int) -> list[JointUnit]:
    """The software joints, each two degrees before its home sensor."""
    units = []
    for k, joint in enumerate(arm.joints):
        before = round(-2.0 * joint.counts_per_degree)
        settings = JointSettings(
            id=joint.id,
            name=joint.name,
            seed=k + 1,
            counts_per_turn=round(360 * joint.counts_per_degree),
            home_centre=0,
            home_half_width=round(0.4 * joint.counts_per_degree),
            start_low=before,
            start_high=before,
            outputs=len(joint.outputs),
            inputs=len(joint.inputs),
            feedback=((0, 0),) if joint.outputs else (),
        )
        units.append(JointUnit(settings, KEY, float(start_us)))
    return units


_JOINT = """
[[joints]]
name = "{name}"
id = "0000000000{number:02x}"
word = "{word}"
full_steps = 200
microsteps = 16
gear_ratio = 10.0
direction = 1
range_deg = [-90, 90]
velocity_deg_s = 60
acceleration_deg_s2 = {acceleration}
jerk_deg_s3 = 6000
home_deg = 0
homing = {{ direction = 1, travel_deg = 30, fast_deg_s = 20, slow_deg_s = 5, backoff_deg = 0.5 }}
temperature_warning_c = 50
temperature_limit_c = 58
supply_limit_v = 12
run_current_a = 1.2
hold_current_a = 0.6
hop_resistance_ohm = 0.05
"""
