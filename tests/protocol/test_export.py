"""The files made from the code are fresh, and the code agrees with them."""

import json
from collections.abc import Callable
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol import ntp
from protocol.clockmap import ArmClock, ClockMap
from protocol.drive import decode_drive, encode_drive
from protocol.errors import FrameError, WireError
from protocol.export.golden_bytes import drive_fields, point_fields, status_fields
from protocol.export.outputs import HERE, MESSAGES, outputs
from protocol.frames import FrameOpener, FrameSealer
from protocol.image import (
    HEADER_BYTES,
    ImageFrame,
    ImageHeader,
    decode_header,
    decode_image_frame,
    encode_header,
    encode_image_frame,
    is_signed,
)
from protocol.keys import Channel, Direction, Transcript, hkdf_sha256, proof, session_key, tag
from protocol.messages import (
    AnyRequest,
    Hello,
    Proof,
    Welcome,
    decode_opening,
    decode_opening_to_joint,
    decode_report,
    decode_request,
    encode,
    schema_name,
)
from protocol.pathtime import Course, RateChange
from protocol.points import Point, decode_points, encode_points
from protocol.ramp import Ramp
from protocol.segments import check_segment
from protocol.status import decode_status, encode_status
from tests.protocol.pages import vectors


def test_generated_files_are_fresh() -> None:
    """Else run `python -m protocol.export`."""
    files = outputs()
    stale = [path.name for path, text in files.items() if path.read_text("utf-8") != text]
    kept = {path for folder in ("vectors", "schemas") for path in (HERE / folder).iterdir()}
    assert stale == []
    assert kept == set(files) - {HERE / "README.md"}


def test_export_is_the_same_twice() -> None:
    assert outputs() == outputs()


# Schemas


def schema_of(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((HERE / "schemas" / f"{name}.json").read_text("utf-8"))
    return found


def all_messages() -> list[tuple[str, dict[str, Any]]]:
    shake = vectors("handshake")
    found = [json.loads(shake[name]) for name in ("hello", "welcome", "proof")]
    found += [case["message"] for case in vectors("stream")["cases"]]
    return [(f"event-{m['event']}" if "event" in m else m["type"], m) for m in found]


@pytest.mark.parametrize("name", [schema_name(message) for message in MESSAGES])
def test_schema_is_a_schema_and_has_a_golden_message(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema_of(name))
    examples = [message for kind, message in all_messages() if kind == name]
    assert examples
    for message in examples:
        jsonschema.validate(message, schema_of(name))


@pytest.mark.parametrize(("name", "message"), all_messages())
def test_schema_refuses_a_message_that_lacks_its_type_or_has_another(
    name: str, message: dict[str, Any]
) -> None:
    for wrong in ({**message, "type": "fly"}, {k: v for k, v in message.items() if k != "type"}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(wrong, schema_of(name))


@pytest.mark.parametrize(("name", "message"), all_messages())
def test_schema_is_strict_for_requests_and_lenient_for_reports(
    name: str, message: dict[str, Any]
) -> None:
    more = {**message, "colour": "red"}
    refused = not jsonschema.Draft202012Validator(schema_of(name)).is_valid(more)
    to_joint = name in {"hello", "proof"} or decodes_as_request(message)
    assert refused == to_joint


def decodes_as_request(message: dict[str, Any]) -> bool:
    try:
        decode_request(json.dumps(message).encode())
    except WireError:
        return False
    return True


@given(st.data())
def test_schema_and_decoder_agree_on_wrong_requests(data: st.DataObject) -> None:
    requests = [(n, m) for n, m in all_messages() if decodes_as_request(m)]
    name, message = data.draw(st.sampled_from(requests))
    key = data.draw(st.sampled_from(sorted(message)))
    values: st.SearchStrategy[object] = st.one_of(st.none(), st.integers(), st.text())
    value = data.draw(values)
    changed = {**message, key: value}
    if key == "configuration" or key == "type":
        return
    valid = jsonschema.Draft202012Validator(schema_of(name)).is_valid(changed)
    assert valid == decodes_as_request(changed)


# The code against the files


def test_keys_agree() -> None:
    found = vectors("keys")
    for case in found["tags"]:
        key, message = bytes.fromhex(case["key"]), bytes.fromhex(case["message"])
        direction, channel = Direction(case["direction"]), Channel(case["channel"])
        assert tag(key, direction, channel, message).hex() == case["tag"]
    for case in found["hkdf"]:
        key, salt, info = (bytes.fromhex(case[name]) for name in ("key", "salt", "info"))
        assert hkdf_sha256(key, salt, info, case["length"]).hex() == case["output"]


def test_handshake_agrees() -> None:
    found = vectors("handshake")
    hello, welcome, end = (decode_opening(found[name]) for name in ("hello", "welcome", "proof"))
    assert isinstance(hello, Hello)
    assert isinstance(welcome, Welcome)
    assert isinstance(end, Proof)
    transcript = Transcript(
        bytes.fromhex(hello.nonce),
        bytes.fromhex(welcome.nonce),
        bytes.fromhex(hello.coordinator),
        bytes.fromhex(welcome.id),
        welcome.boot,
        int(hello.session, 16),
    )
    key = bytes.fromhex(found["arm_key"])
    assert transcript.encode().hex() == found["transcript"]
    assert proof(key, Direction.TO_COORDINATOR, transcript).hex() == welcome.proof
    assert proof(key, Direction.TO_JOINT, transcript).hex() == end.proof
    for case in found["keys"]:
        channel, direction = Channel(case["channel"]), Direction(case["direction"])
        assert session_key(key, transcript, channel, direction).hex() == case["key"]


def test_stream_agrees() -> None:
    for wanted in Direction:
        cases = [c for c in vectors("stream")["cases"] if c["direction"] == wanted]
        key = bytes.fromhex(cases[0]["key"])
        opener, sealer = FrameOpener(key, wanted), FrameSealer(key, wanted)
        for case in cases:
            number, body = opener.open(bytes.fromhex(case["frame"]))
            assert (number, body.hex()) == (case["number"], case["body"])
            message: Any = (
                decode_request(body) if wanted is Direction.TO_JOINT else decode_report(body)
            )
            assert message.model_dump(mode="json") == case["message"]
            assert sealer.seal(encode(message)) == (number, bytes.fromhex(case["frame"]))


def test_points_agree() -> None:
    for case in vectors("points")["cases"]:
        frame = decode_points(bytes.fromhex(case["body"]))
        assert (frame.trajectory, frame.first_index) == (case["trajectory"], case["first_index"])
        assert [point_fields(point) for point in frame.points] == case["points"]
        assert encode_points(frame).hex() == case["body"]


def test_image_agrees() -> None:
    found = vectors("image")
    header = ImageHeader(
        found["board"], found["firmware"], found["size_bytes"], bytes.fromhex(found["sha256"])
    )
    data, signature, key = (
        bytes.fromhex(found[name]) for name in ("header", "signature", "public_key")
    )
    assert decode_header(data) == header
    assert encode_header(header) == data
    assert is_signed(data, signature, key)
    for case in found["frames"]:
        frame = ImageFrame(case["offset"], bytes.fromhex(case["data"]))
        assert decode_image_frame(bytes.fromhex(case["body"])) == frame
        assert encode_image_frame(frame).hex() == case["body"]


def test_ntp_agrees() -> None:
    for case in vectors("ntp")["cases"]:
        request = ntp.decode_packet(bytes.fromhex(case["request"]))
        reply = ntp.encode_reply(request, case["receive_us"], case["transmit_us"])
        assert reply.hex() == case["reply"]
        found = ntp.decode_packet(reply)
        assert round(ntp.joint_time_us(found.receive)) == case["receive_us"]
        assert round(ntp.joint_time_us(found.transmit)) == case["transmit_us"]


def test_drives_agree() -> None:
    for case in vectors("drive")["cases"]:
        key, data = bytes.fromhex(case["key"]), bytes.fromhex(case["bytes"])
        packet, drive = decode_drive(data, key)
        assert drive_fields(drive) == case["fields"]
        assert encode_drive(drive, int(case["transmit"], 16), key) == data
        assert packet.transmit == int(case["transmit"], 16)


def test_statuses_agree() -> None:
    for case in vectors("status")["cases"]:
        key, data = bytes.fromhex(case["key"]), bytes.fromhex(case["bytes"])
        packet, status = decode_status(data, key)
        assert status_fields(status) == case["fields"]
        assert packet.origin == int(case["origin"], 16)
        request = ntp.NtpPacket(ntp.MODE_CLIENT, packet.origin)
        times = case["receive_us"], case["transmit_us"]
        assert encode_status(status, request, *times, key) == data


def open_frame(data: bytes, key: bytes) -> object:
    return FrameOpener(key, Direction.TO_JOINT).open(data)


def checked_signature(data: bytes, key: bytes) -> None:
    if not is_signed(data[:HEADER_BYTES], data[HEADER_BYTES:], key):
        raise FrameError("image-signature", "another key signed it, or other bytes")


DECODERS: dict[str, Callable[[bytes, bytes], object]] = {
    "drive": decode_drive,
    "status": decode_status,
    "frame": open_frame,
    "points": lambda data, _: decode_points(data),
    "image": lambda data, _: decode_image_frame(data),
    "image-header": lambda data, _: decode_header(data),
    "image-signature": checked_signature,
    "request": lambda data, _: decode_request(data),
    "opening": lambda data, _: decode_opening_to_joint(data.decode()),
    "welcome": lambda data, _: decode_opening(data),
    "report": lambda data, _: decode_report(data),
}


@pytest.mark.parametrize("case", vectors("malformed")["cases"], ids=lambda c: str(c["name"]))
def test_malformed_bytes_are_refused_with_their_code(case: dict[str, Any]) -> None:
    with pytest.raises(WireError) as caught:
        DECODERS[case["what"]](bytes.fromhex(case["bytes"]), bytes.fromhex(case["key"]))
    assert caught.value.code == case["code"]


def test_ramp_agrees() -> None:
    found = vectors("ramp")
    ramp = Ramp.for_ratio(found["v_over_a_s"])
    assert [list(row) for row in ramp.rows] == found["rows"]
    for case in found["cases"]:
        assert ramp.rate(case["time_us"]) == pytest.approx(case["rate"], abs=1e-8)
        assert ramp.path(case["time_us"]) == pytest.approx(case["path_us"], abs=0.01)


@pytest.mark.parametrize("case", vectors("course")["cases"])
def test_courses_agree(case: dict[str, Any]) -> None:
    course = Course.of(RateChange(**case["change"]), Ramp(vectors("ramp")["rows"]))
    for one in case["at"]:
        path, rate = course.at(one["arm_us"])
        assert path == pytest.approx(one["path_us"], abs=0.01)
        assert rate == pytest.approx(one["rate"], abs=1e-8)
    for one in case["when"]:
        arm = course.when(one["path_us"])
        wanted = one["arm_us"]
        assert arm is None if wanted is None else arm == pytest.approx(wanted, abs=0.01)
    fall = course.fall(case["fall"]["arm_us"], case["fall"]["permit_us"])
    assert fall.settled_us == pytest.approx(case["fall"]["rest_us"], abs=0.01)
    assert fall.settled_path_us == pytest.approx(case["fall"]["rest_path_us"], abs=0.01)


def test_clock_agrees() -> None:
    found = vectors("clock")
    clock = ArmClock(ClockMap(**found["first_map"]))
    for case in found["cases"]:
        clock.accept(ClockMap(**case["map"]), case["taken_joint_us"], jump=case["at_rest"])
        for one in case["readings"]:
            assert clock.arm(one["joint_us"]) == pytest.approx(one["arm_us"], abs=0.01)
            assert clock.joint(one["arm_us"]) == pytest.approx(one["joint_us"], abs=0.01)
            left = clock.remainder_us(one["joint_us"])
            assert left == pytest.approx(one["remainder_us"], abs=0.01)


@pytest.mark.parametrize("case", vectors("segments")["cases"], ids=lambda case: str(case["name"]))
def test_segments_agree(case: dict[str, Any]) -> None:
    found = vectors("segments")
    a, b = (
        Point(case[name]["time_us"], case[name]["position"], case[name]["velocity"])
        for name in ("a", "b")
    )
    sentence = check_segment(a, b, found["velocity"], found["acceleration"])
    words = {"spacing": "closer", "velocity": "velocity", "acceleration": "acceleration"}
    assert sentence is None if case["refused"] is None else words[case["refused"]] in str(sentence)


def test_every_request_is_strict_and_has_a_schema() -> None:
    kinds: tuple[Any, ...] = AnyRequest.__args__
    assert {schema_name(kind) for kind in kinds} == {
        name for name, message in all_messages() if decodes_as_request(message)
    }
