"""A program as docs/conform.md asks for, over this project's own functions.

The command runs it by a small script of the tests. A fault of its own can be asked for by name.
"""

import json
import sys
from typing import Any

from protocol import fixedpoint, ntp
from protocol.clockmap import ArmClock, ClockMap
from protocol.configuration import Configuration
from protocol.drive import decode_drive
from protocol.errors import FrameError, WireError
from protocol.frames import FrameOpener
from protocol.image import decode_header, decode_image_frame, is_signed
from protocol.keys import (
    Channel,
    Direction,
    Transcript,
    fingerprint,
    hkdf_sha256,
    proof,
    session_key,
    tag,
)
from protocol.messages import decode_opening_to_joint, decode_request
from protocol.middle import middle_of, without_turns
from protocol.ntp import PACKET_BYTES, NtpPacket
from protocol.pathtime import Course, RateChange
from protocol.points import Point, decode_points
from protocol.ramp import Ramp
from protocol.segments import check_segment


def _hex(value: str) -> bytes:
    return bytes.fromhex(value)


def _transcript(data: bytes) -> Transcript:
    return Transcript(
        data[:32], data[32:64], data[64:80], data[80:86],
        int.from_bytes(data[86:90]), int.from_bytes(data[90:98]),
    )  # fmt: skip


def _frame_seal(q: dict[str, Any]) -> str:
    number, body = int(q["number"]).to_bytes(8), _hex(q["body"])
    found = tag(_hex(q["key"]), q["direction"], Channel.STREAM, number + body)
    return (number + found + body).hex()


def _point(point: Point) -> dict[str, Any]:
    return {
        "time_us": point.time_us,
        "position": point.position,
        "velocity": point.velocity,
        "flags": int(point.last) | 2 * bool(point.output_mask),
        "output_mask": point.output_mask,
        "output_values": point.output_values,
    }


def _drive(q: dict[str, Any]) -> dict[str, Any]:
    data = _hex(q["bytes"])
    packet, _ = decode_drive(data, _hex(q["key"]))
    value = data[52:168]
    fields: dict[str, Any] = {}
    # The table of the page: offset, size, signed.
    for name, at, size, signed in (
        ("sequence", 8, 4, False), ("mode", 12, 1, False), ("flags", 13, 1, False),
        ("stop", 14, 1, False), ("condition", 15, 1, False), ("output_mask", 16, 1, False),
        ("output_values", 17, 1, False), ("full_current", 18, 1, False),
        ("map_number", 20, 4, False), ("map_arm_us", 24, 8, True), ("map_joint_us", 32, 8, True),
        ("map_rate_ppb", 40, 4, True), ("plan_number", 44, 4, False),
        ("trajectory", 48, 4, False), ("stand_us", 52, 8, True), ("change_at_us", 60, 8, True),
        ("change_path_us", 68, 8, True), ("change_before_ppm", 76, 4, False),
        ("change_after_ppm", 80, 4, False), ("permit_us", 84, 8, True),
        ("expiry_us", 92, 8, True), ("jog_velocity", 100, 4, True),
        ("homing_number", 104, 4, False), ("jog_target", 108, 8, True),
    ):  # fmt: skip
        fields[name] = int.from_bytes(value[at : at + size], signed=signed)
    return {"transmit": f"{packet.transmit:016x}", "fields": {"session": value[:8].hex(), **fields}}


_STATUS = (
    ("boot", 4), ("sequence", 4), ("state", 1), ("flags", 1), ("stop", 1), ("reason", 1),
    ("plan", 4), ("permit_us", 8), ("map_number", 4), ("remainder_us", 4), ("position", 8),
    ("velocity", 4), ("path_us", 8), ("trajectory", 4), ("next_index", 4), ("buffered_us", 8),
    ("temperature_centi_c", 2), ("supply_mv", 2), ("fan_percent", 1), ("rssi_dbm", 1),
    ("faults", 2), ("inputs", 1), ("outputs", 1), ("touch_turn", 2), ("touch_presses", 2),
    ("touch_long_presses", 2), ("homing_number", 4),
)  # fmt: skip


def _status(q: dict[str, Any]) -> str:
    request = NtpPacket(ntp.MODE_CLIENT, int(q["origin"], 16))
    head = ntp.encode_reply(request, q["receive_us"], q["transmit_us"])
    head += b"\xf0\x02" + (92).to_bytes(2)
    for name, size in _STATUS:
        head += (q["fields"][name] & ((1 << 8 * size) - 1)).to_bytes(size)
    message = head + (1).to_bytes(4)
    return (
        message + tag(_hex(q["key"]), Direction.TO_COORDINATOR, Channel.DATAGRAM, message)
    ).hex()


def _ntp(q: dict[str, Any]) -> str:
    data = _hex(q["request"])
    assert len(data) == PACKET_BYTES
    return ntp.encode_reply(ntp.decode_packet(data), q["receive_us"], q["transmit_us"]).hex()


def _request(q: dict[str, Any]) -> Any:
    message = decode_request(_hex(q["body"]))
    found = message.model_dump(mode="json")
    if "configuration" in found:
        defaults = dict.fromkeys(Configuration.model_fields)
        found["configuration"] = defaults | found["configuration"]
    return found


def _course(q: dict[str, Any]) -> Course:
    return Course.of(RateChange(**q["change"]), Ramp(q["rows"]))


def _whole(q: dict[str, Any]) -> fixedpoint.WholeCourse:
    return fixedpoint.WholeCourse.of(RateChange(**q["change"]), fixedpoint.WholeRamp(q["rows"]))


def _fall(q: dict[str, Any]) -> dict[str, Any]:
    course = _course(q)
    arm_us = course.when(q["permit_us"])
    assert arm_us is not None
    fall = course.fall(arm_us, q["permit_us"])
    return {"arm_us": arm_us, "rest_us": fall.settled_us, "rest_path_us": fall.settled_path_us}


def _whole_fall(q: dict[str, Any]) -> dict[str, Any]:
    course = _whole(q)
    arm = course.when(q["permit"])
    assert arm is not None
    fall = course.fall(arm, q["permit"])
    return {"arm": arm, "begin": fall.begin, "rest": fall.settled, "rest_path": fall.settled_path}


def _clock(q: dict[str, Any]) -> ArmClock:
    clock = ArmClock(ClockMap(**q["first_map"]))
    for one in q["taken"]:
        clock.accept(ClockMap(**one["map"]), one["taken_joint_us"], jump=one["at_rest"])
    return clock


def _whole_clock(q: dict[str, Any]) -> fixedpoint.WholeClock:
    clock = fixedpoint.WholeClock(ClockMap(**q["first_map"]))
    for one in q["taken"]:
        clock.accept(ClockMap(**one["map"]), 256 * one["taken_joint_us"], jump=one["at_rest"])
    return clock


def _segment(q: dict[str, Any]) -> str | None:
    a, b = (Point(q[one]["time_us"], q[one]["position"], q[one]["velocity"]) for one in ("a", "b"))
    sentence = check_segment(a, b, q["velocity"], q["acceleration"])
    if sentence is None:
        return None
    return next(
        word
        for part, word in (
            ("closer", "spacing"), ("the velocity", "velocity"), ("the acceler", "acceleration")
        )
        if part in sentence
    )  # fmt: skip


def answer(q: dict[str, Any]) -> dict[str, Any]:
    """The members that answer a question. Raises WireError for what is refused."""
    ask = q["ask"]
    if ask == "key-file":
        return {"key": _hex(q["text"]).decode().strip().upper()}
    if ask == "tag":
        args = _hex(q["key"]), q["direction"], q["channel"], _hex(q["message"])
        return {"tag": tag(*args).hex()}
    if ask == "hkdf":
        key, salt, info = (_hex(q[name]) for name in ("key", "salt", "info"))
        return {"output": hkdf_sha256(key, salt, info, q["length"]).hex()}
    if ask == "transcript":
        names = ("coordinator_nonce", "joint_nonce", "coordinator_id", "joint_id")
        parts = [*(_hex(q[name]) for name in names), q["boot"].to_bytes(4), _hex(q["session"])]
        return {"transcript": b"".join(parts).hex()}
    if ask == "proof":
        transcript = _transcript(_hex(q["transcript"]))
        return {"proof": proof(_hex(q["arm_key"]), q["direction"], transcript).hex()}
    if ask == "session-key":
        transcript = _transcript(_hex(q["transcript"]))
        key = session_key(_hex(q["arm_key"]), transcript, q["channel"], q["direction"])
        return {"key": key.hex()}
    if ask == "opening":
        return {"message": decode_opening_to_joint(_hex(q["body"]).decode()).model_dump()}
    if ask == "frame-open":
        opener = FrameOpener(_hex(q["key"]), Direction(q["direction"]))
        number, body = opener.open(_hex(q["frame"]))
        return {"number": number, "body": body.hex()}
    if ask == "points":
        frame = decode_points(_hex(q["body"]))
        return {
            "trajectory": frame.trajectory,
            "first_index": frame.first_index,
            "points": [_point(one) for one in frame.points],
        }
    if ask == "image-header":
        header = decode_header(_hex(q["header"]))
        return {
            "board": header.board,
            "firmware": header.firmware,
            "size_bytes": header.size_bytes,
            "sha256": header.sha256.hex(),
        }
    if ask == "image-signature":
        if not is_signed(*(_hex(q[name]) for name in ("header", "signature", "public_key"))):
            raise FrameError("image-signature", "another key signed it, or other bytes")
        return {"signed": True}
    if ask == "image":
        part = decode_image_frame(_hex(q["body"]))
        return {"offset": part.offset, "data": part.data.hex()}
    if ask == "ramp":
        ramp, time_us = Ramp(q["rows"]), q["time_256"] / 256
        return {"path_us": ramp.path(time_us), "rate_ppm": ramp.rate(time_us) * 1e6}
    if ask == "course":
        path_us, rate = _course(q).at(q["arm_256"] / 256)
        return {"path_us": path_us, "rate_ppm": rate * 1e6}
    if ask == "settled":
        course = _course(q)
        return {"arm_us": course.settled_us, "path_us": course.settled_path_us}
    if ask == "clock":
        clock = _clock(q)
        at_us = q["joint_us"]
        return {"arm_us": clock.arm(at_us), "remainder_us": clock.remainder_us(at_us)}
    if ask == "middle":
        middle = middle_of(q["rising"], q["falling"])
        shift = q["home"] - middle
        lost = without_turns(shift, q["counts_per_turn"])
        return {"middle": middle, "shift": shift, "lost": lost}
    if ask == "whole-change":
        whole = _whole(q)
        return {
            "begin": whole.begin, "end": whole.end,
            "settled": whole.settled, "settled_path": whole.settled_path,
        }  # fmt: skip
    if ask == "whole-clock":
        wholes = _whole_clock(q)
        return {"arm": wholes.arm(q["joint"]), "remainder": wholes.remainder(q["joint"])}
    if ask in ("drive", "fall", "whole-fall"):
        return {"drive": _drive, "fall": _fall, "whole-fall": _whole_fall}[ask](q)
    single: dict[str, tuple[str, Any]] = {
        "frame-seal": ("frame", lambda: _frame_seal(q)),
        "request": ("message", lambda: _request(q)),
        "report": ("body", lambda: json.dumps(q["message"], indent=1).encode().hex()),
        "digest": ("digest", lambda: fingerprint(_hex(q["body"]))),
        "ntp": ("reply", lambda: _ntp(q)),
        "status": ("bytes", lambda: _status(q)),
        "when": ("arm_us", lambda: _course(q).when(q["path_us"])),
        "clock-back": ("joint_us", lambda: _clock(q).joint(q["arm_256"] / 256)),
        "segment": ("refused", lambda: _segment(q)),
        "whole-path": ("path", lambda: fixedpoint.WholeRamp(q["rows"]).path(q["time"])),
        "whole-time": ("time", lambda: fixedpoint.WholeRamp(q["rows"]).time_of_path(q["path"])),
        "whole-rate": ("time", lambda: fixedpoint.WholeRamp(q["rows"]).time(q["ppm"])),
        "whole-course": ("path", lambda: _whole(q).path_at(q["arm"])),
        "whole-clock-back": ("joint", lambda: _whole_clock(q).joint(q["arm"])),
    }
    name, make = single[ask]
    return {name: make()}


def main(fault: str = "") -> None:
    """Answer until the input ends."""
    for count, line in enumerate(sys.stdin):
        q = json.loads(line)
        try:
            found = answer(q)
        except WireError as error:
            found = {"code": error.code}
        if fault == "a tag" and q["ask"] == "tag":
            found = {"tag": "00" * 16}
        elif fault == "whole numbers" and q["ask"].startswith("whole-"):
            found = {"not_made": "it computes in double precision"}
        elif fault == "path time" and q["ask"] == "course":
            found["path_us"] += 0.6
        elif fault == "ends" and count == 20:
            sys.exit(3)
        elif fault == "no JSON" and count == 5:
            sys.stdout.write("tag: 42\n")
            sys.stdout.flush()
            continue
        elif fault == "another id" and count == 5:
            q["id"] = "keys tags 99"
        elif fault == "a long line" and count == 5:
            found["more"] = "x" * 20_000
        elif fault == "accepts" and q["ask"] == "points" and found.get("code") == "frame-crc":
            found = {"trajectory": 7, "first_index": 0, "points": []}
        sys.stdout.write(json.dumps({"id": q["id"], **found}) + "\n")
        sys.stdout.flush()
    sys.exit(4 if fault == "exit code" else 0)


if __name__ == "__main__":
    main(*sys.argv[1:])
