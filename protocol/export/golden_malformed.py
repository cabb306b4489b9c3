"""Golden vectors of what must be refused, each with the code of the refusal."""

import struct
import zlib

from protocol import messages, ntp
from protocol.drive import FIELD_DRIVE, Drive, encode_drive, pack_drive
from protocol.export.golden_bytes import DRIVES, KEYS, POINTS, STATUSES, WELCOME, Vectors
from protocol.export.golden_image import HEADER, OTHER_KEY, PUBLIC_KEY, SIGNATURE
from protocol.frames import FrameSealer
from protocol.image import ImageFrame, encode_header, encode_image_frame
from protocol.keys import Channel, Direction, seal_datagram
from protocol.points import encode_points
from protocol.status import encode_status

_TO_JOINT = KEYS[Channel.DATAGRAM, Direction.TO_JOINT]
_TO_COORDINATOR = KEYS[Channel.DATAGRAM, Direction.TO_COORDINATOR]
_STREAM = KEYS[Channel.STREAM, Direction.TO_JOINT]
_FIELD = ntp.PACKET_BYTES + 4
"""Offset of a drive or status in its datagram."""


def _changed(data: bytes, **places: int) -> bytes:
    """Bytes with some changed: `_13=0x40` sets the byte at offset 13."""
    out = bytearray(data)
    for place, value in places.items():
        out[int(place[1:])] = value
    return bytes(out)


def _bytes(offset: int, number: int) -> dict[str, int]:
    """The eight bytes of a number, for `_changed`."""
    return {f"_{offset + k}": byte for k, byte in enumerate(number.to_bytes(8, signed=True))}


_ORDER = 2**252 + 27742317777372353535851937790883648493
"""Of the group: S of a signature is below it (RFC 8032 §5.1.7)."""


def malformed_vectors() -> Vectors:
    """Datagrams, frames and messages that are refused."""
    cases = [*_datagrams(), *_frames(), *_points(), *_image(), *_signatures(), *_messages()]
    return {
        "about": "What must be refused. `what` names the decoder. Datagrams and frames have a "
        "right tag unless the code says otherwise, so that the fault named is the only one.",
        "cases": [
            {"what": what, "name": name, "key": key.hex(), "bytes": data.hex(), "code": code}
            for what, name, key, data, code in cases
        ],
    }


_Case = tuple[str, str, bytes, bytes, str]


def _drive(name: str, head: bytes, code: str) -> _Case:
    return "drive", name, _TO_JOINT, seal_datagram(head, Direction.TO_JOINT, _TO_JOINT), code


def _datagrams() -> list[_Case]:
    good = encode_drive(DRIVES["go, with the first permit"], 1, _TO_JOINT)
    head, packet = good[:-20], ntp.encode_request(1)
    status = STATUSES["moving"]
    reply = encode_status(status, ntp.NtpPacket(3, 1), 0, 0, _TO_COORDINATOR)
    full = encode_drive(DRIVES["release, largest values"], 1, _TO_JOINT)[:-20]

    def beyond(name: str, offset: int) -> _Case:
        """A number of the drive, one more or one less than the largest or least."""
        number = int.from_bytes(full[_FIELD + offset : _FIELD + offset + 8], signed=True)
        more = (number + (1 if number > 0 else -1)).to_bytes(8, signed=True)
        return _drive(
            f"{name} beyond 2^53 - 1",
            full[: _FIELD + offset] + more + full[_FIELD + offset + 8 :],
            "drive-field",
        )

    def sealed(name: str, **places: int) -> _Case:
        data = _changed(reply[:-20], **places)
        data = seal_datagram(data, Direction.TO_COORDINATOR, _TO_COORDINATOR)
        return "status", name, _TO_COORDINATOR, data, "status-field"

    return [
        ("drive", "empty", _TO_JOINT, b"", "mac-missing"),
        ("drive", "a bare request", _TO_JOINT, packet, "mac-missing"),
        ("drive", "tag cut by a byte", _TO_JOINT, good[:-1], "mac-missing"),
        ("drive", "key identifier 2", _TO_JOINT, _changed(good, _171=2), "mac-missing"),
        ("drive", "one bit of the tag", _TO_JOINT, _changed(good, _187=good[187] ^ 1), "tag-wrong"),
        ("drive", "one bit of the permit", _TO_JOINT, _changed(good, _143=good[143] ^ 1),
         "tag-wrong"),
        ("drive", "a status is no drive", _TO_JOINT, reply, "tag-wrong"),
        _drive("no packet", b"", "ntp-length"),
        _drive("version 5", _changed(head, _0=0x2B), "ntp-mode"),
        _drive("mode 4", _changed(head, _0=0x24), "ntp-mode"),
        _drive("no field", packet, "field-length"),
        _drive("field cut", head[:-4], "field-length"),
        _drive("more than one field", head + ntp.encode_field(0xF003, b"more"), "field-length"),
        _drive("another field", packet + ntp.encode_field(0xF003, head[_FIELD:]), "field-type"),
        _drive("field length 124", _changed(head, _51=124), "field-type"),
        _drive("mode 4 of the drive", _changed(head, _64=4), "drive-field"),
        _drive("an unknown flag", _changed(head, _65=0x9E), "drive-field"),
        _drive("stop level 4", _changed(head, _66=4), "drive-field"),
        _drive("a rate change without a plan", _changed(head, _65=0x1A), "drive-field"),
        _drive("a rate after of 1000001 ppm",
               head[:132] + struct.pack(">I", 1_000_001) + head[136:], "drive-field"),
        _drive("a map's rate of 1000001 ppb",
               head[:92] + struct.pack(">i", 1_000_001) + head[96:], "drive-field"),
        beyond("a map's arm time", 24),
        beyond("a map's joint time", 32),
        beyond("a path time to stand at", 52),
        beyond("a change's instant", 60),
        beyond("a change's path time", 68),
        beyond("a permit", 84),
        beyond("an expiry", 92),
        beyond("a jog's target", 108),
        _drive("a reply with a drive", ntp.encode_reply(ntp.NtpPacket(3, 1), 0, 0)
               + ntp.encode_field(FIELD_DRIVE, pack_drive(Drive(1, 1))), "ntp-mode"),
        sealed("state 13", _60=13),
        sealed("a home sensor that is active and not told", _61=0x47),
        sealed("stop level 4", _62=4),
        sealed("reason 6", _63=6),
        sealed("fan at 101 percent", _124=101),
        sealed("an unknown fault", _126=1),
        sealed("a fault beyond the last known", _127=0x40),
        sealed("a permit of 2^53", **_bytes(68, 2**53)),
        sealed("a position of -2^53", **_bytes(84, -(2**53))),
        sealed("a path time of 2^53", **_bytes(96, 2**53)),
        sealed("a buffered path time of 2^53", **_bytes(112, 2**53)),
    ]  # fmt: skip


def _frames() -> list[_Case]:
    frame = FrameSealer(_STREAM, Direction.TO_JOINT).seal(b'{"type":"discard"}')[1]
    empty = FrameSealer(_STREAM, Direction.TO_JOINT).seal(b"")[1]
    back = FrameSealer(_STREAM, Direction.TO_COORDINATOR).seal(b'{"type":"discard"}')[1]
    return [
        ("frame", "empty", _STREAM, b"", "frame-length"),
        ("frame", "no body", _STREAM, empty, "frame-length"),
        ("frame", "one bit of the number", _STREAM, _changed(frame, _7=3), "tag-wrong"),
        ("frame", "one bit of the body", _STREAM, _changed(frame, _25=0), "tag-wrong"),
        ("frame", "the other direction", _STREAM, back, "tag-wrong"),
    ]


def _points() -> list[_Case]:
    body = encode_points(POINTS["one point at rest"])

    def crc(data: bytes) -> bytes:
        return data + struct.pack(">I", zlib.crc32(data))

    head = body[:-4]
    none = b""
    return [
        ("points", "empty", none, b"", "frame-length"),
        ("points", "cut", none, body[:-1], "frame-length"),
        ("points", "one byte more", none, crc(head + b"\0"), "frame-length"),
        ("points", "no points", none, crc(_changed(head, _3=0)), "frame-length"),
        ("points", "129 points", none, crc(_changed(head, _3=129)), "frame-length"),
        ("points", "kind 3", none, crc(_changed(head, _0=3)), "frame-type"),
        ("points", "second byte 1", none, crc(_changed(head, _1=1)), "frame-type"),
        ("points", "wrong CRC", none, _changed(body, _12=1), "frame-crc"),
        ("points", "an unknown flag", none, crc(_changed(head, _32=4)), "frame-field"),
        ("points", "outputs without flag", none, crc(_changed(head, _33=1)), "frame-field"),
        ("points", "flag without outputs", none, crc(_changed(head, _32=2)), "frame-field"),
        ("points", "reserved byte", none, crc(_changed(head, _35=1)), "frame-field"),
        ("points", "a time of 2^53", none, crc(_changed(head, **_bytes(12, 2**53))),
         "frame-field"),
        ("points", "a position of -2^53", none, crc(_changed(head, **_bytes(20, -(2**53)))),
         "frame-field"),
    ]  # fmt: skip


def _image() -> list[_Case]:
    body, none = encode_image_frame(ImageFrame(0, b"\x07")), b""
    header = encode_header(HEADER)

    def crc(data: bytes) -> bytes:
        return data + struct.pack(">I", zlib.crc32(data))

    def of_header(name: str, data: bytes) -> _Case:
        return "image-header", name, none, data, "message-invalid"

    return [
        ("image", "cut", none, body[:-1], "frame-length"),
        ("image", "no bytes", none, crc(b"\x02" + bytes(7)), "frame-length"),
        ("image", "one byte more", none, crc(body[:-4] + b"\0"), "frame-length"),
        ("image", "2049 bytes", none, crc(b"\x02\0\x08\x01" + bytes(4 + 2049)), "frame-length"),
        ("image", "kind 3", none, crc(_changed(body[:-4], _0=3)), "frame-type"),
        ("image", "second byte 1", none, crc(_changed(body[:-4], _1=1)), "frame-type"),
        ("image", "wrong CRC", none, _changed(body, _8=8), "frame-crc"),
        of_header("another label", _changed(header, _15=0x32)),
        of_header("no board", header[:16] + bytes(16) + header[32:]),
        of_header("a capital in the board", _changed(header, _16=0x42)),
        of_header("a zero byte within the board", _changed(header, _20=0)),
        of_header("no version", header[:32] + bytes(32) + header[64:]),
        of_header("a version with a line end", _changed(header, _33=10)),
        of_header("no bytes", header[:64] + bytes(4) + header[68:]),
        of_header("2^31 bytes", header[:64] + b"\x80\0\0\0" + header[68:]),
    ]


def _signatures() -> list[_Case]:
    """By the public key: a header and its signature."""
    header = encode_header(HEADER)
    s = int.from_bytes(SIGNATURE[32:], "little")

    def case(name: str, key: bytes, head: bytes, signature: bytes) -> _Case:
        return "image-signature", name, key, head + signature, "image-signature"

    return [
        case("another size", PUBLIC_KEY, _changed(header, _67=0xC3), SIGNATURE),
        case("another hash", PUBLIC_KEY, _changed(header, _99=0x92), SIGNATURE),
        case("another R", PUBLIC_KEY, header, _changed(SIGNATURE, _0=SIGNATURE[0] ^ 1)),
        case("another S", PUBLIC_KEY, header, _changed(SIGNATURE, _32=SIGNATURE[32] ^ 1)),
        case(
            "S and the order",
            PUBLIC_KEY,
            header,
            SIGNATURE[:32] + (s + _ORDER).to_bytes(32, "little"),
        ),
        case("zeros", PUBLIC_KEY, header, bytes(64)),
        case("another key", OTHER_KEY, header, SIGNATURE),
    ]


def _messages() -> list[_Case]:
    def case(what: str, text: str, code: str) -> _Case:
        return what, text[:40], b"", text.encode(), code

    def of_joint(name: str, old: str, new: str) -> _Case:
        text = messages.encode(WELCOME).decode()
        assert text.count(old) == 1, name
        return "welcome", name, b"", text.replace(old, new).encode(), "message-invalid"

    prepare = messages.encode(messages.Prepare(trajectory=7)).decode()
    return [
        ("request", "not UTF-8", b"", b'{"type":"\xff"}', "message-invalid"),
        case("request", "", "message-invalid"),
        case("request", "[]", "message-invalid"),
        case("request", prepare[:-1], "message-invalid"),
        case("request", "{}", "message-unknown"),
        case("request", '{"type":"fly"}', "message-unknown"),
        case("request", '{"type":"hello"}', "message-unknown"),
        case("request", '{"type":"discard","now":true}', "message-invalid"),
        case("request", '{"type":"prepare"}', "message-invalid"),
        case("request", '{"type":"prepare","trajectory":"7"}', "message-invalid"),
        case("request", '{"type":"prepare","trajectory":7.0}', "message-invalid"),
        case("request", '{"type":"prepare","trajectory":-1}', "message-invalid"),
        case("request", '{"type":"prepare","trajectory":4294967296}', "message-invalid"),
        case("request", '{"type":"blink","seconds":0}', "message-invalid"),
        case("request", '{"type":"install","now":true}', "message-invalid"),
        case("request", '{"type":"update","header":"00","signature":"00"}', "message-invalid"),
        case("request", '{"type":"prepare","trajectory":7,"trajectory":7}', "message-invalid"),
        case("request", '{"type":"fly","type":"discard"}', "message-invalid"),
        case("request", '{"type":"discard","type":"fly"}', "message-invalid"),
        case("request", r'{"type":"disc\u0061rd"}', "message-invalid"),
        case("request", r'{"type":"fl\y"}', "message-invalid"),
        case("request", '{"type":"fl\u00fc"}', "message-invalid"),
        case("request", '{"type":"blink","seconds":NaN}', "message-invalid"),
        case("opening", '{"type":"discard"}', "message-unknown"),
        case("opening", r'{"type":"pr\u006fof","proof":"00"}', "message-invalid"),
        case("opening", '{"type":"proof","proof":"00"}', "message-invalid"),
        case("opening", '{"type":"proof","proof":"' + "A" * 64 + '"}', "message-invalid"),
        of_joint("boot 0", '"boot":12648430', '"boot":0'),
        of_joint("no port", '"udp":49152,', ""),
        of_joint("port 0", '"udp":49152', '"udp":0'),
        of_joint("a port twice", '"udp":49152', '"udp":49152,"udp":49152'),
        of_joint("firmware of 33 characters", '"1.4.0"', '"' + "1" * 33 + '"'),
        case("report", '{"type":"ack"}', "message-invalid"),
        case("report", '{"type":"ack","ref":9007199254740992}', "message-invalid"),
        case("report", '{"type":"ack","ref":1,"ref":1}', "message-invalid"),
        case("report", '{"type":"event","event":"finished"}', "message-invalid"),
    ]
