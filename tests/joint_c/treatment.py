"""Random treatment of a pair of joints: a coordinator, strangers, and bad luck. Seeded."""

import json
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar

from protocol.clockmap import ClockMap
from protocol.constants import PPM
from protocol.drive import Drive, Mode, Plan, StopLevel, pack_drive
from protocol.keys import Direction, seal_datagram
from protocol.light import ConditionWord
from protocol.ntp import encode_field, encode_request
from protocol.pathtime import Course, RateChange
from protocol.points import Point, PointsFrame, encode_points
from protocol.ramp import Ramp
from protocol.states import JointState
from simulator.joint.images import ImageStore
from tests.joint_c.pair import Keys, Pair
from tests.joint_c.refused import CAPACITIES, REFUSED

PER_DEGREE = 45_511
TURN = 360 * PER_DEGREE
VELOCITY = 60 * PER_DEGREE
ACCELERATION = 120 * PER_DEGREE
RAMP = Ramp.for_ratio(VELOCITY / ACCELERATION)
COORDINATORS = (bytes(range(16)), bytes(range(1, 17)))
LOOK_US = 5_000
WAITS_US = (0, 1, 900, 20_000, 40_000, 40_000, 130_000, 400_000, 1_300_000, 1_700_000)
HOME_WIDTH = 2 * PER_DEGREE
MOVING = frozenset(
    {
        JointState.HOMING,
        JointState.ADVANCING,
        JointState.MOVING,
        JointState.RAMPING,
        JointState.JOGGING,
        JointState.STOPPING,
    }
)
KINDS = {
    "run": 30,
    "renew": 8,
    "arm": 3,
    "go": 8,
    "override": 5,
    "withdraw": 1,
    "preview": 3,
    "none": 2,
    "jog": 4,
    "target": 3,
    "home": 2,
    "home_wholly": 2,
    "stop": 1,
    "load": 5,
    "points": 4,
    "remap": 3,
    "hall": 1,
    "sense": 2,
    "clear": 4,
    "discard": 1,
    "driver": 1,
    "wild": 2,
    "input": 1,
    "configure": 1,
    "prepare": 1,
    "blink": 1,
    "reconnect": 1,
    "strange_frame": 1,
    "stranger": 2,
    "session": 1,
    "noise": 2,
    "slip": 1,
    "old": 1,
    "silence": 1,
    "crossed": 2,
    "bent": 3,
    "refused": 4,
}
"""Kinds of step, and how often each."""


@dataclass
class World:
    """Where the home sensor is, in counts of the motor since boot."""

    centre: int
    slip: int = 0

    def level(self, pair: Pair) -> bool:
        true = pair.joint.position(pair.now)[0] - pair.joint.shift + self.slip
        return abs((true - self.centre + TURN / 2) % TURN - TURN / 2) <= HOME_WIDTH / 2


class Treatment:
    """One sequence of events, drawn from a seed."""

    capacities: ClassVar[Sequence[int]] = CAPACITIES
    """Of points; one is drawn."""

    def __init__(self, program: Path, seed: int, images: ImageStore | None = None) -> None:
        self.random = random.Random(seed)
        self.kinds = KINDS
        self.bounce: random.Random | None = None
        """Draws how the home sensor bounces; None where it does not."""
        capacity = random.Random(f"capacity {seed}").choice(self.capacities)
        self.pair = Pair(program, capacity=capacity, images=images)
        self.direction = self.random.choice((1, -1))
        self.world = World(self.direction * self.random.choice((0, 3, 20)) * PER_DEGREE)
        self.sequence = 0
        self.session = 7
        self.coordinator = COORDINATORS[0]
        self.stream = 0
        self.keys: Keys | None = None
        self.opened = 0
        self.map = ClockMap(1, 5_000_000_000, 1_000_000, 20_000)
        self.number = 0
        self.trajectory = 0
        self.plan = Plan(1, 1, 0)
        self.permit_us: int | None = None
        self.homing = 0

    def play(self, steps: int) -> None:
        """Begins, and does so many steps. Raises Differs."""
        self.connect()
        if self.random.random() < 0.95:
            self.configure_well()
        self.drive(energise=True)
        if self.random.random() < 0.9:
            self._home_wholly()
        kinds, weights = list(self.kinds), list(self.kinds.values())
        for _ in range(steps):
            getattr(self, "_" + self.random.choices(kinds, weights)[0])()
            self.wait(self.random.choice(WAITS_US))
            self.pair.poll()
        self.pair.end()

    # Time and the home sensor

    def wait(self, us: int) -> None:
        """Time passes, and the home sensor is looked at."""
        pair = self.pair
        if us == 0:
            return
        end_us = pair.now + us
        while pair.now + LOOK_US < end_us and pair.joint.state in MOVING:
            pair.later(LOOK_US)
            self.look()
        if pair.now < end_us:
            pair.later(end_us - pair.now)
            self.look()

    def look(self) -> None:
        level = self.world.level(self.pair)
        if level is not self.pair.joint.hall_level:
            self.pair.hall(level)
            if self.bounce is not None:
                self._bounces(self.bounce)

    def _bounces(self, draw: random.Random) -> None:
        """To and fro, mostly at once, now and then so late that it is another passage."""
        for _ in range(2 * draw.randrange(9)):
            self.pair.later(draw.choice((1, 50, 50, 200, 200, 1_000, 5_000)))
            self.pair.hall(not self.pair.joint.hall_level)

    def arm_us(self) -> int:
        clock = self.pair.joint.clock
        return round(self.map.to_arm(self.pair.now) if clock is None else clock.arm(self.pair.now))

    # What a coordinator sends

    def connect(self) -> None:
        """A stream of this coordinator, proven if the joint lets it."""
        self.opened += 1
        stream, pair = self.opened, self.pair
        pair.open(stream, self.random.randbytes(32), self.random.randrange(3))
        in_force = pair.joint.session
        if pair.handshake(stream, self.coordinator, self.session, self.random.randbytes(32)):
            keys = pair.streams[stream]
            assert keys is not None
            if self.keys is None or in_force != self.session:
                self.begun(keys)
            self.keys, self.stream = keys, stream

    def drive(self, **fields: Any) -> None:
        if self.keys is None:
            return
        self.sequence += 1
        drive = Drive(
            session=self.session,
            sequence=self.sequence,
            clock_map=self.map if self.random.random() < 0.9 else None,
            energise=fields.pop("energise", self.random.random() < 0.95),
            full_current=self.random.random() < 0.1,
            condition=self.random.choice(list(ConditionWord)),
            **fields,
        )
        self.pair.drive(drive, self.drive_keys)

    def request(self, message: dict[str, Any]) -> None:
        self.body(json.dumps(message, separators=(",", ":")).encode())

    def body(self, body: bytes) -> None:
        if self.pair.streams.get(self.stream) is not None:
            self.pair.request(self.stream, body)

    def configure_well(self, **fields: Any) -> None:
        draw = self.random
        limits = 170 * PER_DEGREE if draw.random() < 0.8 else None
        configuration: dict[str, Any] = {
            "name": "elbow",
            "counts_per_turn": TURN,
            "full_step": 16 * 256,
            "range_low": None if limits is None else -limits,
            "range_high": limits,
            "velocity": VELOCITY,
            "acceleration": ACCELERATION,
            "jog_unhomed": 5 * PER_DEGREE,
            "homing": {
                "direction": self.direction,
                "travel": (10 if draw.random() < 0.1 else 400) * PER_DEGREE,
                "backoff": draw.choice((1, 1, 3)) * PER_DEGREE,
                "fast": 20 * PER_DEGREE,
                "slow": 2 * PER_DEGREE,
                "home": draw.choice((0, 0, 0, 12_345)),
            },
            "ramp": [list(row) for row in RAMP.rows],
            "temperature_limit_centi_c": 6_000,
            "supply_limit_mv": 18_000,
            "run_current_ma": 1_000,
            "hold_current_ma": 500,
        }
        if draw.random() < 0.7:
            configuration["outputs_off"] = {
                name: draw.randrange(4) for name in ("on_hold", "on_stop", "on_lost")
            }
        if draw.random() < 0.4:
            configuration["idle_current"] = {
                "after_ms": draw.choice((100, 700, 2_000)),
                "current_ma": 100,
            }
        self.request({"type": "configure", "configuration": configuration | fields})

    def next_plan(self, stand_us: int, change: RateChange | None = None) -> None:
        self.number += 1 if self.random.random() < 0.95 else self.random.randrange(3)
        self.plan = Plan(max(self.number, 1), self.trajectory, stand_us, change)
        self.send_plan()

    def send_plan(self) -> None:
        self.drive(
            mode=Mode.PATH,
            plan=self.plan,
            permit_us=self.permit_us,
            expiry_us=self.expiry_us(),
        )

    def expiry_us(self) -> int | None:
        ahead_us = self.random.choice((250_000, 250_000, 250_000, 5_000_000, -1_000, None))
        return None if ahead_us is None else self.arm_us() + ahead_us

    def ahead_us(self) -> int:
        """How far a permit reaches: now and then not far enough, or not even here."""
        return self.random.choices((700_000, 9_000_000, 50_000, -300_000), (12, 8, 2, 1))[0]

    def path_us(self) -> int:
        return self.pair.joint.status(self.pair.now).path_us

    def points(self, count: int, begin: int) -> list[Point]:
        """Moves from rest to rest; now and then one that nobody can follow, or out of the range."""
        draw, at_us, position = self.random, 0, begin
        points = [Point(0, begin, 0, last=count == 1)]
        for k in range(1, count):
            seconds = draw.choice((0.2, 0.5, 1.0, 3.0))
            # The cubic from rest to rest accelerates by 6·Δ/h² at its ends.
            reach = round(min(0.75 * ACCELERATION * seconds**2 / 6, 0.6 * VELOCITY * seconds))
            if draw.random() < 0.02:
                reach *= 3
            at_us += round(seconds * 1e6)
            position += draw.randint(-reach, reach)
            if draw.random() < 0.02:
                position = draw.choice((-1, 1)) * (170 * PER_DEGREE + draw.randrange(3))
            last = k == count - 1 and draw.random() < 0.8
            mask = draw.choice((0, 0, 1, 2, 3))
            points.append(Point(at_us, position, 0, last, mask, draw.randrange(4) if mask else 0))
        if draw.random() < 0.3:
            points[0] = replace(points[0], output_mask=1, output_values=draw.randrange(2))
        return points

    def recover(self) -> None:
        """What an operator would do before a run: clear, load off, home."""
        pair = self.pair
        if self.pair.streams.get(self.stream) is None:
            self.connect()
        if pair.joint.configuration_digest is None:
            self.configure_well()
        if pair.joint.state in MOVING:
            self.wait(1_000_000)
            self.drive()
            self.wait(1_000_000)
        if pair.joint.state in (JointState.FAULTED, JointState.UNHOMED) or not pair.joint.energised:
            pair.sense(3_000, 24_000)
            self.drive()
            self.request({"type": "clear"})
            self.drive(energise=True)
            self._home_wholly()

    # Steps

    def _run(self) -> None:
        """A run as it should be, and what may befall it."""
        draw = self.random
        self.recover()
        if self.pair.joint.state is not JointState.HELD or draw.random() < 0.3:
            self._load()
        elif draw.random() < 0.5:
            self._preview()
            self.wait(draw.choice((100_000, 3_000_000)))
        self._go()
        what = {
            "renew": 20,
            "points": 8,
            "override": 3,
            "remap": 2,
            "withdraw": 0.2,
            "none": 0.2,
            "hall": 0.1,
            "slip": 0.1,
            "stop": 0.2,
            "silence": 0.2,
            "driver": 0.1,
            "reconnect": 0.2,
            "preview": 0.1,
            "discard": 0.2,
            "session": 0.1,
            "input": 0.2,
            "wild": 0.2,
        }
        for _ in range(draw.randrange(1, 40)):
            getattr(self, "_" + draw.choices(list(what), list(what.values()))[0])()
            self.wait(draw.choice((40_000, 100_000, 100_000, 300_000)))

    def _renew(self) -> None:
        if self.plan.change is not None:
            self.permit_us = self.path_us() + self.ahead_us()
        self.send_plan()

    def _arm(self) -> None:
        self.permit_us = None
        self.next_plan(self.path_us())

    def _preview(self) -> None:
        self.permit_us = None
        self.next_plan(
            self.path_us() + self.random.choice((10, 400, 9_000, 90_000, 400_000, -10, 10_000_000))
        )

    def _go(self) -> None:
        draw, here_us = self.random, self.path_us()
        for _ in range(3):
            self._arm()
            if self.pair.joint.state is JointState.ARMED:
                break
            self.wait(110_000)
        rate_ppm = draw.choices((PPM, 500_000, 50_000, 49_999), (12, 6, 2, 1))[0]
        at_us = self.arm_us() + draw.choices((100_000, 30_000, -100), (12, 6, 1))[0]
        self.permit_us = here_us + draw.choice((100_000, 1_000_000, 9_000_000, 9_000_000))
        self.next_plan(here_us, RateChange(at_us, here_us, 0, rate_ppm))

    def _override(self) -> None:
        old = self.plan.change
        if old is None:
            return
        draw = self.random
        at_us = self.arm_us() + draw.choice((1_000, 50_000, 200_000, 1_000_000, -100))
        path_us = round(Course.of(old, RAMP).at(at_us)[0]) + draw.choice((0, 0, 0, 0, 50))
        change = RateChange(
            at_us, path_us, old.after_ppm, draw.choice((PPM, 700_000, 300_000, 50_000, 10_000))
        )
        if draw.random() < 0.15:
            self.plan = replace(self.plan, change=change)
            self.send_plan()
        else:
            self.next_plan(self.plan.stand_us, change)

    def _withdraw(self) -> None:
        self.next_plan(self.plan.stand_us)

    def _none(self) -> None:
        self.drive(output_mask=self.random.randrange(4), output_values=self.random.randrange(4))

    def _jog(self) -> None:
        velocity = round(self.random.uniform(-2, 2) * VELOCITY) * self.random.choice(
            (0, 1, 1, 1, 1)
        )
        for _ in range(self.random.randrange(1, 6)):
            self.drive(mode=Mode.JOG, jog_velocity=velocity, expiry_us=self.expiry_us())
            self.wait(self.random.choice((40_000, 150_000)))

    def _target(self) -> None:
        target = self.pair.joint.status(self.pair.now).position + round(
            self.random.uniform(-30, 30) * PER_DEGREE
        )
        velocity = self.random.choice((0, 1_000, -VELOCITY, VELOCITY, 10 * VELOCITY))
        for _ in range(self.random.randrange(1, 9)):
            self.drive(
                mode=Mode.JOG, jog_velocity=velocity, jog_target=target, expiry_us=self.expiry_us()
            )
            self.wait(self.random.choice((40_000, 150_000)))

    def _home(self) -> None:
        self.homing += self.random.randrange(2)
        self.drive(mode=Mode.HOME, homing_number=self.homing, expiry_us=self.expiry_us())

    def _home_wholly(self) -> None:
        self.homing += 1
        for _ in range(400):
            self.drive(
                mode=Mode.HOME,
                homing_number=self.homing,
                expiry_us=self.arm_us() + 250_000,
                energise=True,
            )
            if self.pair.joint.state is not JointState.HOMING:
                break
            self.wait(200_000)

    def _stop(self) -> None:
        level = self.random.choice((1, 1, 1, 2, 3))
        for _ in range(self.random.randrange(1, 4)):
            self.drive(stop=StopLevel(level))
            self.wait(self.random.choice((0, 10_000, 40_000)))

    def _refused(self) -> None:
        self.random.choice(REFUSED)(self)

    def begin_load(self) -> int:
        """Ready for another trajectory, if the joint can be; where it stands."""
        self._clear()
        self._discard()
        self.drive(energise=True)
        self.trajectory += 1
        return self.pair.joint.status(self.pair.now).position

    def _load(self) -> None:
        begin = self.begin_load()
        self.rest = self.points(self.random.choice((1, 2, 3, 5, 12)), begin)
        self.index = self.random.choice((2, 3, len(self.rest), len(self.rest)))
        self._points(first=True)
        self._prepare()

    def _points(self, *, first: bool = False) -> None:
        if self.trajectory == 0:
            return
        begin, end = (
            (0, self.index)
            if first
            else (self.index, self.index + self.random.choice((1, 1, 2, 9)))
        )
        if self.random.random() < 0.05:
            begin = max(0, begin + self.random.choice((-1, 1)))
        points = tuple(self.rest[begin:end])
        if not points:
            return
        body = bytearray(encode_points(PointsFrame(self.trajectory, begin, points)))
        if self.random.random() < 0.03:
            body[self.random.randrange(1, len(body))] ^= 1 << self.random.randrange(8)
        self.body(bytes(body))
        self.index = max(self.index, self.pair.joint.loaded[1])

    def _remap(self) -> None:
        """A newer map, some µs off the one before, within what a crystal does and a little more."""
        draw, old = self.random, self.map
        arm_us = round(old.to_arm(self.pair.now))
        joint_us = self.pair.now + draw.choice((0, 50, -2_000, 4_900, -4_900, 6_000, 0, -30))
        if self.pair.joint.state not in MOVING and draw.random() < 0.3:
            joint_us += draw.choice((-1, 1)) * 3_000_000
        self.map = ClockMap(
            old.number + 1, arm_us, joint_us, draw.choice((0, 20_000, 100_000, -300_000))
        )
        if draw.random() < 0.1:
            self.drive(mode=Mode.NONE)
        self.send_plan()

    def _hall(self) -> None:
        self.pair.hall(bool(self.random.randrange(2)))
        self.wait(20_000)
        self.look()

    def _sense(self) -> None:
        draw = self.random
        hot = draw.choice(
            (2_500, 3_000, 4_200, 4_600, 6_000, 6_001, None) if draw.random() < 0.3 else (3_000,)
        )
        self.pair.sense(hot, draw.choice((24_000, 24_000, 24_000, 24_000, 17_999, 18_000, None)))

    def _clear(self) -> None:
        if self.random.random() < 0.8:
            self.pair.sense(3_000, 24_000)
            self.drive()
        self.request({"type": "clear"})

    def _discard(self) -> None:
        self.request({"type": "discard"})

    def _prepare(self) -> None:
        wrong = self.random.random() < 0.05
        self.request({"type": "prepare", "trajectory": self.trajectory + wrong})

    def _blink(self) -> None:
        self.request(
            {"type": "blink"} if self.random.randrange(2) else {"type": "blink", "seconds": 1}
        )

    def _configure(self) -> None:
        if self.random.random() < 0.7:
            self._discard()
        self.configure_well()

    def _driver(self) -> None:
        self.pair.driver_fault()

    def _input(self) -> None:
        self.pair.input(self.random.randrange(4))

    def _slip(self) -> None:
        self.world.slip += self.random.choice((-1, 1)) * self.random.choice(
            (100, 4_096, 16_384, TURN)
        )
        self.look()

    def _silence(self) -> None:
        self.wait(self.random.choice((1_499_999, 1_500_000, 5_000_001)))
        self.pair.poll()

    # What else comes

    def _wild(self) -> None:
        """A drive of any sound form."""
        if self.keys is None:
            return
        draw = self.random

        def number() -> int:
            return draw.choice(
                (0, 1, -1, draw.randrange(-(2**53) + 1, 2**53), draw.randrange(10**7))
            )

        def rate() -> int:
            return draw.choice((0, 50_000, PPM, draw.randrange(PPM + 1)))

        change = RateChange(number(), number(), rate(), rate()) if draw.randrange(2) else None
        self.sequence += 1
        self.pair.drive(
            Drive(
                session=self.session,
                sequence=self.sequence,
                mode=draw.choice(list(Mode)),
                energise=bool(draw.randrange(2)),
                output_mask=draw.randrange(256),
                output_values=draw.randrange(256),
                clock_map=draw.choice(
                    (
                        None,
                        None,
                        None,
                        ClockMap(
                            draw.randrange(2**32), number(), number(), draw.randint(-(10**6), 10**6)
                        ),
                    )
                ),
                plan=Plan(
                    draw.choice((0, self.number, self.number + 1)),
                    draw.choice((0, self.trajectory)),
                    number(),
                    change,
                )
                if draw.randrange(2)
                else None,
                permit_us=draw.choice((None, number())),
                jog_velocity=draw.randrange(-(2**31), 2**31),
                jog_target=draw.choice((None, draw.randrange(-(10**9), 10**9))),
                expiry_us=draw.choice((None, number())),
                homing_number=draw.randrange(3),
                full_current=bool(draw.randrange(2)),
            ),
            self.drive_keys,
        )
        self.number += 1

    def _bent(self) -> None:
        """A drive with a wrong bit in it, under a right tag: malformed, or another drive."""
        if self.keys is None:
            return
        self.sequence += 1
        drive = Drive(self.session, self.sequence, energise=True, clock_map=self.map, expiry_us=0)
        value = bytearray(pack_drive(drive))
        for _ in range(self.random.randrange(1, 3)):
            value[self.random.randrange(12, len(value))] ^= 1 << self.random.randrange(8)
        head = encode_request(1) + encode_field(0xF001, bytes(value))
        sealed = seal_datagram(head, Direction.TO_JOINT, self.drive_keys.drive)
        self.pair.datagram(sealed, self.drive_keys)

    def _old(self) -> None:
        """A drive that is old, or of another session."""
        if self.keys is not None:
            draw = self.random
            drive = Drive(
                self.session + draw.randrange(2),
                max(0, self.sequence - draw.randrange(2)),
                stop=StopLevel(1),
            )
            self.pair.drive(drive, self.drive_keys)

    def _noise(self) -> None:
        """A datagram that nobody answers, or everybody."""
        draw = self.random
        data = draw.choice(
            (draw.randbytes(188), draw.randbytes(draw.randrange(600)), bytes([0x23]) + bytes(47))
        )
        self.pair.datagram(data, None)

    def _strange_frame(self) -> None:
        """A frame of the proven stream that is not as it should be."""
        keys = self.pair.streams.get(self.stream)
        if keys is None:
            return
        draw = self.random
        bodies = (
            b"{}",
            b"[]",
            b'{"type":"hello"}',
            b'{"type":"clear","type":"clear"}',
            b'{"type":"clear","x":1}',
            b"\x02",
            b'{"type":"blink","seconds":0}',
            b'{"type":"blink","seconds":5.0}',
            b'{"type":"prepare"}',
            b"\x01",
            b'{"type":"\\u0063lear"}',
            '{"type":"é"}'.encode(),
            b'{"type":"blink","seconds":61}',
            b"\x01\x00\x00\x00",
        )
        if draw.random() < 0.7:
            self.body(draw.choice(bodies))
        elif draw.random() < 0.5:
            self.pair.frame(self.stream, "text")
        else:
            frame = bytearray(keys.sealer.seal(b'{"type":"clear"}')[1])
            frame[draw.randrange(len(frame))] ^= 1
            self.pair.frame(self.stream, bytes(frame))

    def _stranger(self) -> None:
        """A connection of somebody who proves nothing."""
        draw, pair = self.random, self.pair
        self.opened += 1
        stream = self.opened
        pair.open(stream, draw.randbytes(32), draw.randrange(3))
        for _ in range(draw.randrange(3)):
            if stream not in pair.streams:
                break
            text = draw.choice(
                (
                    "",
                    "{}",
                    '{"type":"clear"}',
                    '{"type":"hello"}',
                    '{"type":"proof","proof":"' + 64 * "0" + '"}',
                    '{"type":"hello","protocol":2,"coordinator":"'
                    + 32 * "0"
                    + '","session":"'
                    + 16 * "0"
                    + '","nonce":"'
                    + 64 * "0"
                    + '"}',
                    '{"type":"hello","protocol":1,"coordinator":"'
                    + 32 * "0"
                    + '","session":"'
                    + 16 * "0"
                    + '","nonce":"'
                    + 64 * "0"
                    + '"}',
                )
            )
            pair.frame(stream, text if draw.random() < 0.9 else b"\x00")
            self.wait(draw.choice((0, 10_000)))
        if stream in pair.streams and draw.random() < 0.3:
            pair.close(stream)

    def _crossed(self) -> None:
        """Two handshakes of one coordinator at once: for the session in force, or for a new one."""
        draw, pair = self.random, self.pair
        session = self.session + draw.randrange(2)
        offers = []
        for _ in range(2):
            self.opened += 1
            nonce = draw.randbytes(32)
            pair.open(self.opened, draw.randbytes(32), 1)
            pair.hello(self.opened, self.coordinator, session, nonce)
            offers.append(
                (self.opened, pair.transcript_of(self.opened, self.coordinator, session, nonce))
            )
        for stream, transcript in offers:
            if stream not in pair.streams:
                continue
            in_force = pair.joint.session
            if pair.prove(stream, transcript):
                keys = pair.streams[stream]
                assert keys is not None
                if in_force != session:
                    self.begun(keys)
                self.keys, self.stream, self.session = keys, stream, session

    def begun(self, keys: Keys) -> None:
        """A session has begun: its keys for datagrams, and all numbers anew."""
        self.drive_keys = keys
        self.sequence = self.number = self.homing = 0
        self.map = replace(self.map, number=1)

    def _reconnect(self) -> None:
        if self.stream in self.pair.streams and self.random.random() < 0.5:
            self.pair.close(self.stream)
            self.wait(self.random.choice((0, 500_000, 3_000_000)))
        self.connect()

    def _session(self) -> None:
        """Another session, or another coordinator."""
        draw = self.random
        before = self.coordinator, self.session, self.keys
        if draw.random() < 0.5:
            self.coordinator = draw.choice(COORDINATORS)
        if draw.random() < 0.4 and self.stream in self.pair.streams:
            self.pair.close(self.stream)
            self.pair.driver_fault()
            if draw.random() < 0.5:
                self.connect()
                return
        self.session += 1
        if draw.random() < 0.3:
            self.wait(5_100_000)
        self.connect()
        if self.pair.joint.session != self.session:
            self.coordinator, self.session, self.keys = before
        elif draw.random() < 0.8:
            self.drive(energise=True)
            self._home_wholly()
