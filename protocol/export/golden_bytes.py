"""Golden vectors of what is bytes: keys, handshake, messages, frames, datagrams.

Inputs are fixed, so the files are the same on every machine. Unsigned 64-bit numbers stand in
hex, since a JSON number need not carry them. `protocol.export` writes the files.
"""

from typing import Any

from protocol import messages, ntp
from protocol.clockmap import ClockMap
from protocol.configuration import Configuration, Homing, IdleCurrent, OutputsOff
from protocol.constants import MAX_INTEGER as LARGEST
from protocol.drive import Drive, Mode, Plan, StopLevel, encode_drive
from protocol.frames import FrameSealer
from protocol.keys import Channel, Direction, Transcript, hkdf_sha256, proof, session_key, tag
from protocol.light import NUMBERS, ConditionWord
from protocol.pathtime import RateChange
from protocol.points import Point, PointsFrame, encode_points
from protocol.ramp import Ramp
from protocol.states import JointState
from protocol.status import Fault, Reason, Status, encode_status

Vectors = dict[str, Any]

ARM_KEY = bytes(range(0x40, 0x60))
TRANSCRIPT = Transcript(
    coordinator_nonce=bytes(range(0x80, 0xA0)),
    joint_nonce=bytes(range(0xC0, 0xE0)),
    coordinator_id=bytes(range(0x10, 0x20)),
    joint_id=bytes.fromhex("0a1b2c3d4e5f"),
    boot=0x00C0FFEE,
    session=0x0123456789ABCDEF,
)
KEYS = {
    (channel, direction): session_key(ARM_KEY, TRANSCRIPT, channel, direction)
    for channel in Channel
    for direction in Direction
}
RAMP = Ramp.for_ratio(0.5)
CONFIGURATION = Configuration(
    name="elbow",
    counts_per_turn=16_384_000,
    full_step=4_096,
    range_low=-4_000_000,
    range_high=5_000_000,
    velocity=2_730_000,
    acceleration=5_460_000,
    jog_unhomed=200_000,
    homing=Homing(
        direction=-1, travel=16_384_000, backoff=50_000, fast=400_000, slow=40_000, home=0
    ),
    ramp=list(RAMP.rows),
    temperature_limit_centi_c=6_000,
    supply_limit_mv=10_500,
    run_current_ma=1_200,
    hold_current_ma=600,
)
HELLO = messages.Hello(
    protocol=1,
    coordinator=TRANSCRIPT.coordinator_id.hex(),
    session=f"{TRANSCRIPT.session:016x}",
    nonce=TRANSCRIPT.coordinator_nonce.hex(),
)
WELCOME = messages.Welcome(
    id=TRANSCRIPT.joint_id.hex(),
    firmware="1.4.0",
    boot=TRANSCRIPT.boot,
    nonce=TRANSCRIPT.joint_nonce.hex(),
    proof=proof(ARM_KEY, Direction.TO_COORDINATOR, TRANSCRIPT).hex(),
    udp=49_152,
    capabilities=messages.Capabilities(
        point_capacity=512,
        max_step_rate_hz=250_000,
        sensors=["hall", "temperature", "supply"],
        inputs=2,
        outputs=2,
        idle_current=True,
        board="bench-joint",
        image_capacity=1_900_544,
    ),
)
CONFIGURE = messages.Configure(configuration=CONFIGURATION)
PROOF = messages.Proof(proof=proof(ARM_KEY, Direction.TO_JOINT, TRANSCRIPT).hex())
REQUESTS = [
    CONFIGURE,
    messages.Prepare(trajectory=7),
    messages.Discard(),
    messages.Clear(),
    messages.Blink(seconds=5),
    messages.Configure(
        configuration=CONFIGURATION.model_copy(
            update={"outputs_off": OutputsOff(on_hold=0, on_stop=1, on_lost=3)}
        )
    ),
    messages.Configure(
        configuration=CONFIGURATION.model_copy(
            update={"idle_current": IdleCurrent(after_ms=60_000, current_ma=300)}
        )
    ),
    messages.Update(header="5a" * 100, signature="a5" * 64),
    messages.Install(),
]
EDGES = [
    messages.Edge(position=-100_200, rising=True, fast=True),
    messages.Edge(position=-100_000, rising=True, fast=False),
    messages.Edge(position=-112_000, rising=False, fast=False),
]
REPORTS = [
    messages.Ack(ref=0),
    messages.Ack(ref=3),
    messages.Reject(ref=2, code="position", message="the joint stands at 5, not at 0 counts"),
    messages.Homed(at_us=61_000_000, homing_number=1, edges=EDGES, middle=-106_000, shift=106_000),
    messages.HomingFailed(at_us=61_000_000, homing_number=1, message="no edge was met"),
    messages.Started(
        trajectory=7, plan=12, path_us=0, permission_us=70_400_000, start_us=70_641_000
    ),
    messages.Finished(trajectory=7, at_us=82_000_000, position=455_100),
    messages.Held(
        trajectory=7, at_us=75_000_000, path_us=3_765_825, ramp_began_us=3_250_000, cause="permit"
    ),
    messages.Stopped(at_us=75_000_000, level=1, position=-20),
    messages.Faulted(
        at_us=75_000_000, fault="over-temperature", message="60.1 °C, the limit is 60.0 °C"
    ),
    messages.Updating(image="5a" * 32, received=65_536),
]
POINTS = {
    "one point at rest": PointsFrame(7, 0, (Point(0, 0, 0),)),
    "a start, negative values, and a last point with outputs": PointsFrame(
        0xFFFFFFFF,
        300,
        (
            Point(0, 0, 0),
            Point(250_000, -170_625, -1_365_000),
            Point(500_000, -682_500, -2_730_000),
            Point(1_500_000, -LARGEST, 0, last=True, output_mask=3, output_values=1),
        ),
    ),
}
MAP = ClockMap(9, 5_000_000_000, 60_000_000, -12_345)
CHANGE = RateChange(5_010_641_000, 0, 0, 1_000_000)
DRIVES = {
    "nothing": Drive(0x0123456789ABCDEF, 1),
    "energise, with a clock map": Drive(0x0123456789ABCDEF, 2, energise=True, clock_map=MAP),
    "outputs": Drive(0x0123456789ABCDEF, 3, output_mask=3, output_values=2),
    "condition": Drive(0x0123456789ABCDEF, 4, condition=ConditionWord.MOTORS_OFF),
    "full current": Drive(0x0123456789ABCDEF, 4, full_current=True),
    "jog backwards": Drive(
        0x0123456789ABCDEF, 4, Mode.JOG, jog_velocity=-200_000, expiry_us=5_001_250_000
    ),
    "jog to a target": Drive(
        0x0123456789ABCDEF, 5, Mode.JOG, jog_velocity=1_365_000, jog_target=-170_625,
        expiry_us=5_001_290_000,
    ),
    "home": Drive(0x0123456789ABCDEF, 5, Mode.HOME, expiry_us=5_001_290_000, homing_number=1),
    "arm": Drive(0x0123456789ABCDEF, 6, Mode.PATH, plan=Plan(11, 7, 0)),
    "arm, with an advance permitted": Drive(
        0x0123456789ABCDEF, 7, Mode.PATH, plan=Plan(14, 7, 3_765_825), expiry_us=5_020_250_000
    ),
    "go, with the first permit": Drive(
        0x0123456789ABCDEF, 8, Mode.PATH, clock_map=MAP, plan=Plan(12, 7, 0, CHANGE),
        permit_us=100_000,
    ),
    "override": Drive(
        0x0123456789ABCDEF, 9, Mode.PATH,
        plan=Plan(13, 7, 0, RateChange(5_013_000_000, 2_046_025, 1_000_000, 500_000)),
        permit_us=2_900_000,
    ),
    "stop": Drive(0x0123456789ABCDEF, 10, stop=StopLevel.STOP),
    "release, largest values": Drive(
        0xFFFFFFFFFFFFFFFF, 0xFFFFFFFF, Mode.PATH, True, StopLevel.RELEASE, 255, 255,
        ClockMap(0xFFFFFFFF, LARGEST, -LARGEST, 1_000_000),
        Plan(0xFFFFFFFF, 0xFFFFFFFF, LARGEST, RateChange(LARGEST, LARGEST, 1_000_000, 1_000_000)),
        LARGEST, 2**31 - 1, -LARGEST, LARGEST, 0xFFFFFFFF,
    ),
}  # fmt: skip
STATUSES = {
    "unhomed, nothing heard": Status(0x00C0FFEE, 0, JointState.UNHOMED),
    "ready": Status(
        0x00C0FFEE, 3, JointState.READY, homed=True, energised=True, map_number=9,
        position=-20, temperature_centi_c=3_125, supply_mv=23_640, fan_percent=40, rssi_dbm=-58,
        inputs=1, outputs=2, touch_turn=-3, touch_presses=2, touch_long_presses=1, homing_number=1,
        home_sensor=True,
    ),
    "at rest for long": Status(
        0x00C0FFEE, 5, JointState.READY, homed=True, energised=True, reduced=True, map_number=9,
        position=-20, temperature_centi_c=3_125, supply_mv=23_640, homing_number=1,
    ),
    "armed": Status(
        0x00C0FFEE, 6, JointState.ARMED, True, True, plan=11, map_number=9, remainder_us=-37,
        trajectory=7, next_index=128, buffered_us=6_350_000, temperature_centi_c=3_130,
        supply_mv=23_650, homing_number=1,
    ),
    "moving": Status(
        0x00C0FFEE, 90, JointState.MOVING, True, True, plan=12, permit_us=2_900_000,
        map_number=11, remainder_us=12, position=682_500, velocity=2_730_000, path_us=2_125_000,
        trajectory=7, next_index=256, buffered_us=12_700_000, temperature_centi_c=3_410,
        supply_mv=22_900, rssi_dbm=-71, homing_number=1, home_sensor=False,
    ),
    "held, would not resume because it stands elsewhere": Status(
        0x00C0FFEE, 140, JointState.HELD, True, True, reason=Reason.ELSEWHERE,
        permit_us=3_250_000, map_number=12, position=1_900_000, path_us=3_765_825, trajectory=7,
        next_index=256, buffered_us=12_700_000, homing_number=1,
    ),
    "far away": Status(
        0x00C0FFEE, 150, JointState.RAMPING, True, True, permit_us=LARGEST, position=-LARGEST,
        velocity=-(2**31), path_us=LARGEST, buffered_us=LARGEST, remainder_us=-5_000,
    ),
    "faulted, below freezing": Status(
        0x00C0FFEE, 200, JointState.FAULTED, stop=StopLevel.STOP_AND_RELEASE,
        temperature_centi_c=-550, supply_mv=9_000, faults=Fault.SUPPLY_LOW | Fault.HALL_SENSOR,
    ),
}  # fmt: skip


def drive_fields(drive: Drive) -> Vectors:
    """A drive as the table in README.md names its fields; what is absent is 0."""
    clock_map, plan = drive.clock_map, drive.plan
    change = plan.change if plan else None
    present = (
        drive.energise,
        clock_map is not None,
        plan is not None,
        change is not None,
        drive.permit_us is not None,
        drive.expiry_us is not None,
        drive.jog_target is not None,
    )
    return {
        "session": f"{drive.session:016x}",
        "sequence": drive.sequence,
        "mode": int(drive.mode),
        "flags": sum(1 << bit for bit, there in enumerate(present) if there),
        "stop": int(drive.stop),
        "condition": NUMBERS[drive.condition],
        "output_mask": drive.output_mask,
        "output_values": drive.output_values,
        "full_current": int(drive.full_current),
        "map_number": clock_map.number if clock_map else 0,
        "map_arm_us": clock_map.arm_us if clock_map else 0,
        "map_joint_us": clock_map.joint_us if clock_map else 0,
        "map_rate_ppb": clock_map.rate_ppb if clock_map else 0,
        "plan_number": plan.number if plan else 0,
        "trajectory": plan.trajectory if plan else 0,
        "stand_us": plan.stand_us if plan else 0,
        "change_at_us": change.at_us if change else 0,
        "change_path_us": change.path_us if change else 0,
        "change_before_ppm": change.before_ppm if change else 0,
        "change_after_ppm": change.after_ppm if change else 0,
        "permit_us": drive.permit_us or 0,
        "expiry_us": drive.expiry_us or 0,
        "jog_velocity": drive.jog_velocity,
        "homing_number": drive.homing_number,
        "jog_target": drive.jog_target or 0,
    }


def status_fields(status: Status) -> Vectors:
    """A status as the table in README.md names its fields; what is absent is 0."""
    present = (
        status.homed,
        status.energised,
        status.permit_us is not None,
        status.temperature_centi_c is not None,
        status.supply_mv is not None,
        status.home_sensor is not None,
        status.home_sensor is True,
        status.reduced,
    )
    return {
        "boot": status.boot,
        "sequence": status.sequence,
        "state": int(status.state),
        "flags": sum(1 << bit for bit, there in enumerate(present) if there),
        "stop": int(status.stop),
        "reason": int(status.reason),
        "plan": status.plan,
        "permit_us": status.permit_us or 0,
        "map_number": status.map_number,
        "remainder_us": status.remainder_us,
        "position": status.position,
        "velocity": status.velocity,
        "path_us": status.path_us,
        "trajectory": status.trajectory,
        "next_index": status.next_index,
        "buffered_us": status.buffered_us,
        "temperature_centi_c": status.temperature_centi_c or 0,
        "supply_mv": status.supply_mv or 0,
        "fan_percent": status.fan_percent,
        "rssi_dbm": status.rssi_dbm,
        "faults": int(status.faults),
        "inputs": status.inputs,
        "outputs": status.outputs,
        "touch_turn": status.touch_turn,
        "touch_presses": status.touch_presses,
        "touch_long_presses": status.touch_long_presses,
        "homing_number": status.homing_number,
    }


def point_fields(point: Point) -> Vectors:
    """A point as the table in README.md names its fields."""
    return {
        "time_us": point.time_us,
        "position": point.position,
        "velocity": point.velocity,
        "flags": int(point.last) + 2 * bool(point.output_mask),
        "output_mask": point.output_mask,
        "output_values": point.output_values,
    }


def keys_vectors() -> Vectors:
    """The text of a key file, HMAC tags and HKDF outputs for inputs of several lengths."""
    long = bytes(range(256))
    return {
        "about": "The text of a file arm.key and the key in it; tags, and HKDF-SHA-256 outputs "
        "(RFC 5869). All other values are hex.",
        "key_file": {"text": ARM_KEY.hex() + "\n", "key": ARM_KEY.hex()},
        "tags": [
            {
                "key": ARM_KEY.hex(),
                "direction": int(direction),
                "channel": int(channel),
                "message": message.hex(),
                "tag": tag(ARM_KEY, direction, channel, message).hex(),
            }
            for direction in Direction
            for channel in Channel
            for message in (b"", b"{}", long)
        ],
        "hkdf": [
            {
                "key": key.hex(),
                "salt": salt.hex(),
                "info": info.hex(),
                "length": length,
                "output": hkdf_sha256(key, salt, info, length).hex(),
            }
            for key, salt, info, length in (
                (ARM_KEY, b"", b"", 32),
                (ARM_KEY, long[:64], b"info", 32),
                (ARM_KEY, long, long, 100),
            )
        ],
    }


def handshake_vectors() -> Vectors:
    """One handshake from the arm's key to the four keys and the first frame."""
    encoded = TRANSCRIPT.encode()
    label = b"unisono.joint.v1"
    ack = FrameSealer(KEYS[Channel.STREAM, Direction.TO_COORDINATOR], Direction.TO_COORDINATOR)
    return {
        "about": "A first handshake: hello and proof go to the joint, welcome comes from it.",
        "arm_key": ARM_KEY.hex(),
        "hello": messages.encode(HELLO).decode(),
        "welcome": messages.encode(WELCOME).decode(),
        "proof": messages.encode(PROOF).decode(),
        "transcript": encoded.hex(),
        "proofs": [
            {
                "direction": int(direction),
                "message": (label + b" proof" + bytes((direction,)) + encoded).hex(),
                "proof": proof(ARM_KEY, direction, TRANSCRIPT).hex(),
            }
            for direction in Direction
        ],
        "salt": encoded[:64].hex(),
        "keys": [
            {
                "channel": int(channel),
                "direction": int(direction),
                "info": (label + b" key" + bytes((channel, direction)) + encoded[64:]).hex(),
                "key": key.hex(),
            }
            for (channel, direction), key in KEYS.items()
        ],
        "ack_frame": ack.seal(messages.encode(REPORTS[0]))[1].hex(),
    }


def stream_vectors() -> Vectors:
    """Every message of the stream in its frame, numbered as on one stream."""
    cases: list[Vectors] = []
    for direction, batch in ((Direction.TO_JOINT, REQUESTS), (Direction.TO_COORDINATOR, REPORTS)):
        sealer = FrameSealer(KEYS[Channel.STREAM, direction], direction)
        for message in batch:
            body = messages.encode(message)
            number, frame = sealer.seal(body)
            cases.append(
                {
                    "direction": int(direction),
                    "key": KEYS[Channel.STREAM, direction].hex(),
                    "number": number,
                    "message": message.model_dump(mode="json"),
                    "body": body.hex(),
                    "frame": frame.hex(),
                }
            )
    return {
        "about": "Messages after the handshake. The order of JSON keys is free; a tag covers the "
        "bytes that are there. `configuration_sha256` is what a `welcome` tells after the first "
        "*configure*: the SHA-256 of that body.",
        "configuration_sha256": CONFIGURE.digest(),
        "cases": cases,
    }


def points_vectors() -> Vectors:
    """Frames of points, as bodies and sealed."""
    key = KEYS[Channel.STREAM, Direction.TO_JOINT]
    sealer = FrameSealer(key, Direction.TO_JOINT)
    cases: list[Vectors] = []
    for name, frame in POINTS.items():
        body = encode_points(frame)
        number, sealed = sealer.seal(body)
        cases.append(
            {
                "name": name,
                "trajectory": frame.trajectory,
                "first_index": frame.first_index,
                "points": [point_fields(point) for point in frame.points],
                "body": body.hex(),
                "key": key.hex(),
                "number": number,
                "frame": sealed.hex(),
            }
        )
    return {"about": "Frames of points, to the joint.", "cases": cases}


def ntp_vectors() -> Vectors:
    """Bare requests and replies, without extension field and MAC."""
    transmit = 0xDEADBEEF01234567
    cases = [
        {
            "version": version,
            "request": (bytes((version << 3 | 3,)) + ntp.encode_request(transmit)[1:]).hex(),
            "transmit": f"{transmit:016x}",
            "receive_us": receive_us,
            "transmit_us": receive_us + 180,
            "reply": ntp.encode_reply(
                ntp.NtpPacket(ntp.MODE_CLIENT, transmit, version=version),
                receive_us,
                receive_us + 180,
            ).hex(),
        }
        for version, receive_us in ((4, 0), (4, 61_234_567), (3, 3_600_000_000_001))
    ]
    return {"about": "Bare 48-byte requests and the replies to them.", "cases": cases}


def drive_vectors() -> Vectors:
    """Requests that carry a drive."""
    key = KEYS[Channel.DATAGRAM, Direction.TO_JOINT]
    cases = []
    for place, (name, drive) in enumerate(DRIVES.items()):
        transmit = 0x1122334455667788 + place
        cases.append(
            {
                "name": name,
                "key": key.hex(),
                "transmit": f"{transmit:016x}",
                "fields": drive_fields(drive),
                "bytes": encode_drive(drive, transmit, key).hex(),
            }
        )
    return {"about": "Datagrams to the joint.", "cases": cases}


def status_vectors() -> Vectors:
    """Replies that carry a status."""
    key = KEYS[Channel.DATAGRAM, Direction.TO_COORDINATOR]
    cases = []
    for place, (name, status) in enumerate(STATUSES.items()):
        transmit, receive_us = 0x1122334455667788 + place, 60_000_000 + 40_000 * place
        request = ntp.NtpPacket(ntp.MODE_CLIENT, transmit)
        cases.append(
            {
                "name": name,
                "key": key.hex(),
                "origin": f"{transmit:016x}",
                "receive_us": receive_us,
                "transmit_us": receive_us + 210,
                "fields": status_fields(status),
                "bytes": encode_status(status, request, receive_us, receive_us + 210, key).hex(),
            }
        )
    return {"about": "Datagrams from the joint.", "cases": cases}
