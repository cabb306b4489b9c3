"""Any drive and any points, judged as the tables of protocol/README.md have them."""

import hashlib
import hmac
import struct
import zlib

from hypothesis import given
from hypothesis import strategies as st

from tests.joint_c.asking import Vectors

KEY = bytes(range(32))
MOST = 2**53 - 1
# The table "Drive": types and names in their order. A pad byte is reserved.
DRIVE = ">QIBBBBBBBxIqqiIIqqqIIqqiIq"
DRIVE_NAMES = [
    *("session", "sequence", "mode", "flags", "stop", "condition"),
    *("output_mask", "output_values", "full_current"),
    *("map_number", "map_arm_us", "map_joint_us", "map_rate_ppb"),
    *("plan_number", "trajectory", "stand_us"),
    *("change_at_us", "change_path_us", "change_before_ppm", "change_after_ppm"),
    *("permit_us", "expiry_us", "jog_velocity", "homing_number", "jog_target"),
]
# Which fields each flag stands for: "Fields that are not there are 0".
THERE = {
    2: ("map_number", "map_arm_us", "map_joint_us", "map_rate_ppb"),
    4: ("plan_number", "trajectory", "stand_us"),
    8: ("change_at_us", "change_path_us", "change_before_ppm", "change_after_ppm"),
    16: ("permit_us",),
    32: ("expiry_us",),
    64: ("jog_target",),
}
I64 = st.one_of(
    st.integers(-(2**63), 2**63 - 1), st.sampled_from([MOST, MOST + 1, -MOST, -MOST - 1])
)
SOUND_I64 = st.integers(-MOST, MOST)
U32 = st.integers(0, 2**32 - 1)
PPM = st.one_of(st.integers(0, 1000000), st.sampled_from([1000001, 2**32 - 1]))


@st.composite
def drives(draw: st.DrawFn) -> dict[str, int]:
    """Fields of a drive: most of them sound, so that one that is not decides."""
    i64 = draw(st.sampled_from([SOUND_I64, SOUND_I64, I64]))
    fields = {name: draw(U32) for name in DRIVE_NAMES}
    fields.update({name: draw(st.integers(0, 255)) for name in DRIVE_NAMES[5:9]})
    fields.update({name: draw(i64) for name in DRIVE_NAMES if name.endswith("_us")})
    fields.update(
        session=draw(st.integers(0, 2**64 - 1)),
        mode=draw(st.integers(0, 4)),
        flags=draw(st.one_of(st.integers(0, 127), st.integers(0, 255))),
        stop=draw(st.integers(0, 4)),
        map_rate_ppb=draw(
            st.one_of(st.integers(-1000000, 1000000), st.integers(-(2**31), 2**31 - 1))
        ),
        change_before_ppm=draw(PPM),
        change_after_ppm=draw(PPM),
        jog_velocity=draw(st.integers(-(2**31), 2**31 - 1)),
        jog_target=draw(i64),
    )
    return fields


def understood(fields: dict[str, int]) -> dict[str, int] | None:
    """What a joint makes of it; None for `drive-field`, check 11."""
    flags = fields["flags"]
    there = dict(fields.items())
    for bit, names in THERE.items():
        if not flags & bit:
            there.update(dict.fromkeys(names, 0))
    sound = (
        fields["mode"] <= 3
        and fields["stop"] <= 3
        and flags < 128
        and not (flags & 8 and not flags & 4)
        and max(there["change_before_ppm"], there["change_after_ppm"]) <= 1000000
        and abs(there["map_rate_ppb"]) <= 1000000
        and all(abs(there[name]) <= MOST for names in THERE.values() for name in names)
    )
    return there if sound else None


def tagged(message: bytes) -> bytes:
    """With the MAC of a request: direction 0, channel 2."""
    message += (1).to_bytes(4, "big")
    return message + hmac.digest(KEY, b"\x00\x02" + message, hashlib.sha256)[:16]


# The packet's first byte: leap, version, mode.
SERVED = st.sampled_from([0x23, 0x1B, 0x13, 0x0B, 0xE3])


@given(drives(), st.one_of(SERVED, SERVED, st.integers(0, 255)), st.integers(0, 2**64 - 1))
def test_any_drive_is_judged_by_the_table(
    vectors: Vectors, fields: dict[str, int], first: int, transmit: int
) -> None:
    values = [fields[name] for name in DRIVE_NAMES]
    field = struct.pack(">HH", 0xF001, 120) + struct.pack(DRIVE, *values)
    datagram = tagged(bytes([first]) + bytes(39) + transmit.to_bytes(8, "big") + field)
    assert len(datagram) == 188
    answer = vectors.ask("drive", key=KEY.hex(), bytes=datagram.hex())
    expected = understood(fields)
    if first & 7 != 3 or not 1 <= first >> 3 & 7 <= 4:
        assert answer == {"code": "ntp-mode"}
    elif expected is None:
        assert answer == {"code": "drive-field"}
    else:
        told = answer["fields"]
        assert answer["transmit"] == f"{transmit:016x}"
        assert told.pop("session") == f"{expected.pop('session'):016x}"
        assert told == expected


# The table of a point; the byte at its end is reserved and must be 0.
POINT_NAMES = ["time_us", "position", "velocity", "flags", "output_mask", "output_values"]
VELOCITY, BYTE = st.integers(-(2**31), 2**31 - 1), st.integers(0, 255)
FLAGS_AND_MASK = st.sampled_from([(0, 0), (1, 0), (2, 1), (3, 255)])
SOUND_POINT = st.tuples(SOUND_I64, SOUND_I64, VELOCITY, FLAGS_AND_MASK, BYTE, st.just(0))
ANY_POINT = st.tuples(
    I64,
    I64,
    VELOCITY,
    st.one_of(FLAGS_AND_MASK, st.tuples(st.integers(0, 4), st.sampled_from([0, 1, 255]))),
    BYTE,
    st.sampled_from([0, 0, 0, 1]),
)
POINTS = st.one_of(
    st.lists(SOUND_POINT, min_size=1, max_size=4),
    st.lists(st.one_of(SOUND_POINT, ANY_POINT), max_size=3),
).map(lambda points: [(*point[:3], *point[3], *point[4:]) for point in points])


def point_is_sound(point: tuple[int, ...]) -> bool:
    time_us, position, _, flags, mask, _, reserved = point
    switches = bool(flags & 2)
    return (
        max(abs(time_us), abs(position)) <= MOST
        and flags <= 3
        and switches == (mask != 0)
        and reserved == 0
    )


@given(
    POINTS,
    st.sampled_from([0, 0, 0, 0, -1, 1]),
    U32,
    U32,
    st.sampled_from([False, False, False, True]),
)
def test_any_points_are_judged_by_the_table(
    vectors: Vectors,
    points: list[tuple[int, ...]],
    more: int,
    trajectory: int,
    first_index: int,
    damaged: bool,
) -> None:
    count = max(len(points) + more, 0)
    head = struct.pack(">BBHII", 1, 0, count, trajectory, first_index)
    body = head + b"".join(struct.pack(">qqiBBBB", *point) for point in points)
    crc = zlib.crc32(body) ^ (1 if damaged else 0)
    answer = vectors.ask("points", body=(body + crc.to_bytes(4, "big")).hex())
    if not points or count != len(points):
        assert answer == {"code": "frame-length"}
    elif damaged:
        assert answer == {"code": "frame-crc"}
    elif not all(map(point_is_sound, points)):
        assert answer == {"code": "frame-field"}
    else:
        assert answer == {
            "trajectory": trajectory,
            "first_index": first_index,
            "points": [dict(zip(POINT_NAMES, point, strict=False)) for point in points],
        }
