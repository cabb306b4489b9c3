"""One whole software joint: firmware, crystal, Hall sensor, heat and supply, in true time.

True time is the world's, in µs (float). Whatever is due, in the firmware or in the physics,
happens at its own instant and in order, so that it does not matter how often `poll` is called.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random
from typing import Final, TypeVar

from protocol.constants import US
from protocol.drive import Drive
from protocol.states import MOVING_STATES
from protocol.status import Fault, Status
from simulator.edges import SOON_US, PathEdges, next_bounce, next_edge
from simulator.joint.endpoint import DISCARD_PORT, Endpoint, Reply, StreamOut
from simulator.joint.images import ImageStore
from simulator.joint.joint import Joint, JointIdentity
from simulator.physics.clock import JointOscillator
from simulator.physics.hall import HallSensor
from simulator.physics.hall_noise import HallNoise
from simulator.physics.heat import Thermal, code_to_celsius, sensor_code
from simulator.physics.motor import winding_watts
from simulator.physics.play import Play
from simulator.physics.slip_ring import SlipRing, SupplyMeter
from simulator.physics.supply import SupplyCollapse, chain_voltages
from simulator.settings import JointSettings

_T = TypeVar("_T")

FIRMWARE: Final = "unisono-software-joint 1"
SENSE_US: Final = 1_000_000
"""Temperature and supply change slowly: read once a second."""
SKEW_PPM: Final = 40.0
"""Crystals are sold for ±10 to ±20 ppm each (common practice); two of them, with some to spare."""
FOLLOW_US: Final = 100_000
"""From an output to the input that follows it: a small gripper closes about so fast (common
practice)."""
UPTIME_US: Final = 1_000 * US
PLAY_US: Final = 1_000
"""How closely a motor's turning round is looked for: at 120 °/s² 1.5e-5° of it are missed."""
SLIP_US: Final = 2_000
"""How often it is looked whether a motor follows, where it may not. While it does not, its axis
stands between two looks only: what its sensor shows meanwhile is as coarse."""


@dataclass(frozen=True, slots=True)
class WorldTruth:
    """What really happened, in true time: the campaign judges by this alone."""

    event: str
    """start, resume, hold, finish, stop or home; outputs or inputs where some of them switched;
    current-reduced or current-full where the motor's current at rest was changed."""
    at_ns: int
    position: float
    """True counts."""
    path_us: float
    trajectory: int
    plan: int = 0
    """By which a start was made; a joint may have left it since, in the same instant."""
    outputs: int = 0
    """One bit each, from then on."""
    inputs: int = 0
    output_position: float = 0.0
    """True counts of the output, behind the play; `position` is the motor's."""


class JointUnit:
    """A software joint. `key` is the arm's, `start_us` the true time at which its world begins.

    `boot` is this boot's number where the world outlives a seed, as a process that is started
    again does; otherwise it is drawn from the seed. With `images` it takes new firmware, which
    changes no more than the version that it tells.
    """

    def __init__(
        self,
        settings: JointSettings,
        key: bytes,
        start_us: float = 0.0,
        *,
        boot: int | None = None,
        images: ImageStore | None = None,
    ) -> None:
        self.settings = settings
        self.images = images
        self.hall = HallSensor(
            settings.home_centre,
            settings.home_half_width,
            period=settings.counts_per_turn if settings.continuous else None,
            late=settings.play_counts / 2,
        )
        self._hall_noise: HallNoise | None = None
        if settings.home_noise_counts > 0.0:
            noise_seed = Random(f"hall {settings.seed}").getrandbits(64)
            self._hall_noise = HallNoise(settings.home_noise_counts, noise_seed)
        self.supply_v: float | None = None
        """At this joint's tap; None while it is alone on its hop (see `share_supply`)."""
        self.supply_cut = False
        """Whether the motor's supply is lost at this joint, while its logic lives by another."""
        self.ring = SlipRing(
            settings.hop_ohm,
            settings.ring_wear_per_turn,
            settings.ring_scatter,
            Random(f"ring {settings.seed}"),
        )
        self._meter = SupplyMeter(
            settings.supply_gain_error, settings.supply_noise_v, Random(f"meter {settings.seed}")
        )
        self._ring_turns = settings.ring_wear_per_turn > 0.0 or settings.ring_scatter > 0.0
        self.warmer_c = 0.0
        """Heat from outside, on top of what the joint makes itself."""
        self.sensor_code: int | None = None
        """What a broken temperature sensor always reads; None while it is well."""
        self.slipped = 0
        """Counts by which steps were lost since the world began."""
        self.follows = True
        """Whether inputs follow their outputs; what a gripper did not meet is never held."""
        self._inputs = 0
        """As they truly are, one bit each."""
        self._outputs = 0
        """As they truly were when inputs were last made to follow them."""
        self._following: list[tuple[float, int, int]] = []
        """True time, mask and values of inputs that are about to follow, in order."""
        self._key = key
        self._udp_port = DISCARD_PORT
        self._random = Random(settings.seed)
        self._origin = self._random.uniform(settings.start_low, settings.start_high)
        self._play = Play(settings.play_counts, self._origin)
        self._played_us = 0.0
        """Joint time up to which the output has followed the motor."""
        self._looked_us = 0.0
        """Joint time up to which it is known whether the motor followed."""
        self._slipping = 0.0
        """Counts by which it has not followed since it began to slip."""
        self._thermal = Thermal(settings.ambient_c, settings.heat, start_us=round(start_us))
        self._thermal.set_power(round(start_us), 0.0, settings.idle_watts)
        self._noise = Random(settings.seed + 1)
        self._heated = 0.0, False
        self._edge: tuple[float, bool | None] | None = None
        """Joint time of the next Hall edge and the level from then on; None for the level: then it
        is to be looked for again."""
        self._path_edges: PathEdges | None = None
        """None off the path."""
        self._truths: list[WorldTruth] = []
        self._frames: list[tuple[int, str | bytes]] = []
        self._close: list[int] = []
        self._going: list[int] = []
        self._start_firmware(start_us, self._random.uniform(1.0, UPTIME_US), boot)

    def _start_firmware(self, true_us: float, uptime_us: float, boot: int | None = None) -> None:
        draw = self._random
        drawn = draw.getrandbits(32) or 1
        firmware = FIRMWARE
        if self.images is not None:
            self.images.restart()
            if self.images.running is not None:
                firmware = self.images.running.header.firmware
        identity = JointIdentity(self.settings.id, firmware, boot or drawn)
        self.oscillator = JointOscillator(
            uptime_us - true_us,
            draw.uniform(-SKEW_PPM, SKEW_PPM),
            draw.getrandbits(32),
            start_us=true_us,
        )
        self.joint, self.endpoint = self._firmware(identity, uptime_us)
        self.joint.rssi_dbm = self.settings.rssi_dbm
        self.joint.poll(uptime_us)
        self.joint.input(self._inputs, self._inputs, uptime_us)
        self._sense_us = math.floor(uptime_us / SENSE_US + 1) * float(SENSE_US)
        self._played_us = self._looked_us = uptime_us
        self._settle(true_us, uptime_us)

    def _firmware(self, identity: JointIdentity, uptime_us: float) -> tuple[Joint, Endpoint]:
        """What runs from a boot on; another firmware may be played in this one's place."""
        joint = Joint(
            identity,
            point_capacity=self.settings.point_capacity,
            max_step_rate_hz=self.settings.max_step_rate_hz,
            inputs=self.settings.inputs,
            outputs=self.settings.outputs,
            reduces_current=self.settings.reduces_current,
            images=self.images,
        )
        return joint, Endpoint(joint, self._key, self._udp_port)

    # Time

    def joint_us(self, true_us: float) -> float:
        """Joint time at a true time."""
        return self.oscillator.joint_us(true_us)

    @property
    def due_us(self) -> float:
        """Joint time at which `poll` has something to do."""
        return self._next()[0]

    def next_deadline(self) -> float:
        """True time at which `poll` has something to do: at least once a second."""
        return self.oscillator.true_us(self._next()[0])

    def poll(self, true_us: float) -> StreamOut:
        """Let happen what is due; gives frames and closings for the streams."""
        self._enter(true_us)
        self._frames += self.endpoint.outgoing()
        out = StreamOut(tuple(self._frames), tuple(self._close), tuple(self._going))
        self._frames, self._close, self._going = [], [], []
        return out

    # The network's side

    def datagram(self, data: bytes, true_us: float) -> Reply | None:
        """A datagram came; encode the reply with `encode` when it is sent."""
        now = self._enter(true_us)
        reply = self.endpoint.datagram(data, now)
        self._settle(true_us, now)
        return reply

    def encode(self, reply: Reply, true_us: float) -> bytes:
        """The reply's bytes, sent at a true time."""
        return reply.encode(self.joint_us(true_us))

    def listens_at(self, udp_port: int) -> None:
        """Tell peers this port for datagrams, in this boot and those to come."""
        self._udp_port = self.endpoint.udp_port = udp_port

    def stream_opened(
        self, stream_id: int, true_us: float, nonce: bytes, address: str = ""
    ) -> StreamOut:
        """A peer at an address connected; `nonce` is 32 fresh random bytes."""
        return self.endpoint.stream_opened(stream_id, self._enter(true_us), nonce, address)

    def stream_frame(self, stream_id: int, data: str | bytes, true_us: float) -> StreamOut:
        """A frame came on a stream."""
        now = self._enter(true_us)
        out = self.endpoint.stream_frame(stream_id, data, now)
        self._settle(true_us, now)
        if self.joint.restarts:
            self._restart(true_us)
            out = StreamOut(out.frames, out.close, tuple(self._going))
            self._going = []
        return out

    def stream_closed(self, stream_id: int, true_us: float) -> None:
        """A stream is gone."""
        self.endpoint.stream_closed(stream_id, self._enter(true_us))

    # The same by values, for a world without bytes

    def by_value(self, true_us: float, act: Callable[[Joint, float], _T]) -> _T:
        """Let the firmware do something at a true time; `act` gets it and its joint time."""
        now = self._enter(true_us)
        result = act(self.joint, now)
        self._settle(true_us, now)
        if self.joint.restarts:
            self._restart(true_us)
        return result

    def drive(self, true_us: float, drive: Drive) -> tuple[float, Status | None]:
        """A drive comes; gives the joint time of its coming and the status that answers it."""
        now = self._enter(true_us)
        status = self.joint.drive(drive, now)
        self._settle(true_us, now)
        return now, status

    # The world's side

    def fault(self, fault: Fault, true_us: float) -> None:
        """Script a fault that the firmware notices at once."""
        self.by_value(true_us, lambda joint, now: joint.fault(fault, now))

    def step_clock(self, true_us: float, by_us: float) -> None:
        """Script a fault: from now on the counter shows `by_us` more."""
        self._enter(true_us)
        self.oscillator.step(true_us, by_us)
        self._settle(true_us, self._enter(true_us))

    def lose_steps(self, true_us: float, counts: int) -> None:
        """Script a fault: the axis is so many counts from where the firmware believes it."""
        now = self._enter(true_us)
        self._origin += counts
        self.slipped += counts
        self._settle(true_us, now)

    def stick_hall(self, true_us: float, level: bool | None) -> None:
        """Script a fault: the home sensor always shows this level; None mends it."""
        now = self._enter(true_us)
        self.hall.stuck = level
        self._settle(true_us, now)
        self._enter(true_us)

    def input(self, true_us: float, bit: int, level: bool) -> None:
        """Script what an input shows from now on, until it follows an output again."""
        self._enter(true_us)
        self._show(true_us, 1 << bit, level << bit)

    def reboot(self, true_us: float) -> None:
        """Power lost and back: a new boot that knows neither configuration nor position.

        Its outputs are off.
        """
        self.poll(true_us)
        self._boot_again(true_us)

    def true_position(self, true_us: float) -> tuple[float, float]:
        """Where the axis really is (true counts) and how fast it moves (counts/s of joint time)."""
        position, velocity = self.joint.position(self._enter(true_us))
        return self._true(position), velocity

    def true_output(self, true_us: float) -> float:
        """Where the output really is, in true counts: up to half of the play from the motor."""
        return self._play.follow(self.true_position(true_us)[0])

    def temperature_c(self, true_us: float) -> float:
        """The true temperature where its sensor is."""
        return self._thermal.temperature(round(true_us)) + self.warmer_c

    @property
    def watts(self) -> float:
        """What the joint draws from the arm's supply."""
        return 0.0 if self.supply_cut else self.settings.idle_watts + self._winding_watts()

    def take_truth(self) -> list[WorldTruth]:
        """What really happened since the last call, oldest first."""
        truths, self._truths = self._truths, []
        return truths

    # Inside

    def _restart(self, true_us: float) -> None:
        """As the firmware asked: its streams are closed first."""
        self._frames += self.endpoint.outgoing()
        self._going += self.endpoint.streams
        self._boot_again(true_us)

    def _boot_again(self, true_us: float) -> None:
        position = self._true(self.joint.position(self.joint_us(true_us))[0])
        self._truths += self._outputs_end(true_us, position)
        self._origin, shown = position, self.joint.hall_level
        self._start_firmware(true_us, 0.0)
        if self.hall.late and shown:
            self.joint.hall(shown, self.joint_us(true_us))  # within the play only it tells

    def _enter(self, true_us: float) -> float:
        """Bring the joint up to a true time; gives its joint time."""
        now = self.joint_us(true_us)
        while True:
            due_us, level = self._next()
            if due_us > now:
                break
            self._take_up(due_us)
            if level is not None:
                if self._path_edges is not None and level is not self._path_edges.level:
                    self._path_edges.passed()
                self.joint.hall(level, due_us)
            elif due_us >= self._sense_us:
                self._sense(due_us)
            elif due_us >= self._look_us:
                self._slip(due_us)
            elif self._following and due_us >= self.joint_us(self._following[0][0]):
                at_us, mask, values = self._following.pop(0)
                self._show(at_us, mask, values)
            else:
                out = self.endpoint.poll(due_us)
                self._frames += out.frames
                self._close += out.close
            due_true_us = self.oscillator.true_us(due_us)
            self._settle(due_true_us, due_us)
            if self.joint.restarts:
                self._restart(min(due_true_us, true_us))
                now = self.joint_us(true_us)
        self._take_up(now)
        now = self.joint.poll(now)
        if self.joint.motion is None and self.joint.path.course is None:
            # At rest the level changes only by what befalls axis or sensor.
            level = self._level_at(self._true(self.joint.position(now)[0]))
            if level is not self.joint.hall_level:
                self.joint.hall(level, now)
        return now

    @property
    def _moves(self) -> bool:
        return self.joint.motion is not None or self.joint.path.course is not None

    @property
    def _look_us(self) -> float:
        """Joint time at which to look whether the motor follows; never where it always does."""
        if not self.settings.slips_above or not (self._moves or self._slipping):
            return math.inf
        return self._looked_us + SLIP_US

    def _slip(self, now: float) -> None:
        """Where the motor is too fast, its axis stands; it catches a step again once it is slower,
        by whole cycles of four full steps.
        """
        velocity = self.joint.position(now)[1]
        passed_s = (now - self._looked_us) / US
        self._looked_us = now
        if abs(velocity) > self.settings.slips_above:
            self._lose(-velocity * passed_s)
        elif self._slipping:
            cycle = self.settings.slip_counts
            whole = math.copysign(math.ceil(abs(self._slipping) / cycle), self._slipping) * cycle
            self._lose(whole - self._slipping)
            self._slipping = 0.0

    def _lose(self, counts: float) -> None:
        self._origin += counts
        self._slipping += counts
        self.slipped += round(counts)

    def _take_up(self, now: float) -> None:
        """Let the output follow the motor up to a joint time until which nothing else happens."""
        if not (self._moves or self._slipping):
            self._looked_us = now
        if not self._play.width:
            return
        while self._moves:
            self._played_us += PLAY_US
            if self._played_us >= now:
                break
            self._play.follow(self._true(self.joint.position(self._played_us)[0]))
        self._played_us = now
        self._play.follow(self._true(self.joint.position(now)[0]))

    def _true(self, position: float) -> float:
        return position - self.joint.shift + self._origin

    def _next(self) -> tuple[float, bool | None]:
        """Joint time of what is due next; with the new level when it is a Hall edge."""
        due_us: float = self._sense_us
        firmware_us = self.endpoint.next_deadline()
        if firmware_us is not None and firmware_us < due_us:
            due_us = firmware_us
        if self._following:
            due_us = min(due_us, self.joint_us(self._following[0][0]))
        due_us = min(due_us, self._look_us)
        if self._edge is not None and self._edge[0] <= due_us:
            return self._edge
        return due_us, None

    def _settle(self, true_us: float, now: float) -> None:
        """After anything happened: truths, heat, and the next Hall edge of the motion."""
        for truth in self.joint.take_truth():
            at_ns = round(self.oscillator.true_us(truth.at) * 1_000)
            position = self._true(truth.position)
            self._truths.append(
                WorldTruth(
                    truth.event, at_ns, position, truth.path_us, truth.trajectory, truth.plan,
                    truth.outputs, truth.inputs, self._play.follow(position),
                )
            )  # fmt: skip
        if self.joint.outputs != self._outputs:
            self._follow(true_us)
        watts, fan = self._winding_watts(), self.joint.fan_percent > 0
        if (watts, fan) != self._heated:
            self._thermal.set_power(round(true_us), watts, self.settings.idle_watts)
            self._thermal.set_fan(round(true_us), fan)
            self._heated = watts, fan
        self._edge = self._next_edge(now)

    def _follow(self, true_us: float) -> None:
        """Outputs switched: their inputs follow."""
        changed, self._outputs = self.joint.outputs ^ self._outputs, self.joint.outputs
        for input_bit, output_bit in self.settings.feedback:
            if self.follows and changed >> output_bit & 1:
                level = self._outputs >> output_bit & 1
                self._following.append((true_us + FOLLOW_US, 1 << input_bit, level << input_bit))

    def _show(self, true_us: float, mask: int, values: int) -> None:
        self._inputs = self._inputs & ~mask | (values & mask)
        now = self.joint_us(true_us)
        self.joint.input(mask, values, now)
        self._settle(true_us, now)

    def _outputs_end(self, true_us: float, position: float) -> list[WorldTruth]:
        """What is true of outputs when power is lost."""
        if not self.joint.outputs:
            return []
        at_ns, output = round(true_us * 1_000), self._play.follow(position)
        return [WorldTruth("outputs", at_ns, position, 0.0, 0, 0, 0, self._inputs, output)]

    def _level_at(self, position: float) -> bool:
        """Where an axis stands still. On an edge a noisy sensor shows what it did last there."""
        noise, known = self._hall_noise, self.joint.hall_level
        if noise is None or self.hall.stuck is not None:
            return self.hall.level(position, known)
        inside = self.hall.inside(self._play.at(position))
        return known if abs(inside) <= noise.reach else inside >= 0.0

    def _next_bounce(self, noise: HallNoise, now: float) -> tuple[float, bool | None] | None:
        joint, offset = self.joint, self._true(0.0)
        path, clock, motion, play = joint.path, joint.clock, joint.motion, self._play
        self._path_edges = None
        if motion is not None:
            if now >= motion.end_us:
                return None

            def free(at_us: float) -> float:
                return play.at(motion.at(at_us)[0] + offset)

            true = free
        elif path.course is not None and clock is not None:
            # What comes next on the path changes the course, and this is asked anew then.
            def along(at_us: float) -> float:
                return play.at(path.position(clock.arm(at_us))[0] + offset)

            true = along
        else:
            return None
        return next_bounce(true, self.hall, noise, joint.fastest, joint.hall_level, now)

    def _next_edge(self, now: float) -> tuple[float, bool | None] | None:
        if self._hall_noise is not None and self.hall.stuck is None:
            return self._next_bounce(self._hall_noise, now)
        joint, offset = self.joint, self._true(0.0)
        course, clock, edges = joint.path.course, joint.clock, self._path_edges
        if course is None or clock is None:
            self._path_edges = None
            return next_edge(joint.motion, self.hall, offset, joint.hall_level, now)
        if edges is None or (edges.offset, edges.stuck) != (offset, self.hall.stuck):
            here_us = course.at(clock.arm(now))[0]
            edges = self._path_edges = PathEdges(
                self.hall, joint.path.buffer, here_us, offset, joint.hall_level
            )
        if joint.hall_level is not edges.level:
            return now + SOON_US, edges.level
        found = edges.next()
        arm_us = None if found is None else course.when(found[0])
        if found is None or arm_us is None:
            return None
        return max(now, clock.joint(arm_us)), found[1]

    def _sense(self, now: float) -> None:
        self._sense_us = now + SENSE_US
        code = self.sensor_code
        if code is None:
            true_c = self.temperature_c(self.oscillator.true_us(now))
            code = sensor_code(true_c + self._noise.gauss(0.0, self.settings.noise_c))
        celsius = code_to_celsius(code)
        if self._ring_turns:
            position = self._true(self.joint.position(now)[0])
            self.ring.turn(position / self.settings.counts_per_turn)
        supply_v = self._alone_v() if self.supply_v is None else self.supply_v
        supply_mv = self._meter.reading_mv(0.0 if self.supply_cut else supply_v)
        self.joint.sense(round(celsius * 100), supply_mv, now)

    def _alone_v(self) -> float:
        settings = self.settings
        try:
            hop_ohm = [settings.source_ohm + self.ring.ohm]
            return chain_voltages(settings.source_v, hop_ohm, [self.watts])[0]
        except SupplyCollapse:
            return 0.0

    def _winding_watts(self) -> float:
        if not self.joint.energised or self.supply_cut:
            return 0.0
        if self.joint.reduced:
            return winding_watts(self.joint.idle_current_a, self.settings.winding_ohm)
        moving = self.joint.state in MOVING_STATES
        current_a = self.settings.run_current_a if moving else self.settings.hold_current_a
        return winding_watts(current_a, self.settings.winding_ohm)


def share_supply(units: Sequence[JointUnit]) -> None:
    """Set each joint's voltage from what all draw, base to tool; 0 V if the chain collapses."""
    first = units[0].settings
    hop_ohm = [unit.ring.ohm for unit in units]
    hop_ohm[0] += first.source_ohm
    try:
        volts = chain_voltages(first.source_v, hop_ohm, [unit.watts for unit in units])
    except SupplyCollapse:
        volts = [0.0] * len(units)
    for unit, supply_v in zip(units, volts, strict=True):
        unit.supply_v = supply_v
