"""Requests are strict, reports lenient, and no bytes raise anything but FrameError."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from protocol.errors import FrameError
from protocol.messages import (
    Ack,
    Blink,
    Capabilities,
    Clear,
    Discard,
    Edge,
    Faulted,
    Finished,
    Held,
    Hello,
    Homed,
    HomingFailed,
    Prepare,
    Proof,
    Reject,
    Started,
    Stopped,
    Welcome,
    decode_opening,
    decode_opening_to_joint,
    decode_report,
    decode_request,
    encode,
)
from tests.protocol.strategies import I53, U32

HEX = "0123456789abcdef"
word = st.text(max_size=32)
sentence = st.text(max_size=200)


def hexes(count: int) -> st.SearchStrategy[str]:
    return st.text(HEX, min_size=count, max_size=count)


edges = st.builds(Edge, position=I53, rising=st.booleans(), fast=st.booleans())
capabilities = st.builds(
    Capabilities,
    point_capacity=st.integers(16, 2**31 - 1),
    max_step_rate_hz=st.integers(1, 10**6),
    sensors=st.lists(st.text(max_size=16), max_size=8),
    inputs=st.integers(0, 8),
    outputs=st.integers(0, 8),
    idle_current=st.booleans(),
)
openings = st.one_of(
    st.builds(Hello, protocol=st.integers(0, 2**16 - 1), coordinator=hexes(32), session=hexes(16),
              nonce=hexes(64)),
    st.builds(Welcome, id=hexes(12), firmware=word, boot=st.integers(1, 2**32 - 1),
              nonce=hexes(64), proof=hexes(64), udp=st.integers(1, 2**16 - 1),
              capabilities=capabilities, configuration=st.none() | hexes(64),
              keyed=st.none() | hexes(64), trajectory=U32, next_index=U32),
    st.builds(Proof, proof=hexes(64)),
    st.builds(Reject, ref=st.just(0), code=word, message=sentence),
)  # fmt: skip
requests = st.one_of(
    st.builds(Prepare, trajectory=U32),
    st.builds(Discard),
    st.builds(Clear),
    st.builds(Blink, seconds=st.integers(1, 60)),
)
REF = st.integers(0, 2**53 - 1)
reports = st.one_of(
    st.builds(Ack, ref=REF),
    st.builds(Reject, ref=REF, code=word, message=sentence),
    st.builds(Homed, at_us=I53, homing_number=U32, edges=st.lists(edges, max_size=32), middle=I53,
              shift=I53),
    st.builds(HomingFailed, at_us=I53, homing_number=U32, message=sentence,
              edges=st.lists(edges, max_size=32)),
    st.builds(Started, trajectory=U32, plan=U32, path_us=I53, permission_us=I53, start_us=I53),
    st.builds(Finished, trajectory=U32, at_us=I53, position=I53),
    st.builds(Held, trajectory=U32, at_us=I53, path_us=I53, ramp_began_us=I53, cause=word),
    st.builds(Stopped, at_us=I53, level=st.integers(0, 3), position=I53),
    st.builds(Faulted, at_us=I53, fault=word, message=sentence),
)  # fmt: skip
json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner),
    max_leaves=8,
)
DECODERS = [decode_opening, decode_request, decode_report]


@given(openings)
def test_opening_round_trips(message: BaseModel) -> None:
    assert decode_opening(encode(message)) == message
    assert decode_opening(encode(message).decode()) == message


@given(requests)
def test_request_round_trips_and_begins_with_a_brace(message: BaseModel) -> None:
    assert encode(message)[:1] == b"{"
    assert decode_request(encode(message)) == message


@given(reports)
def test_report_round_trips(message: BaseModel) -> None:
    assert decode_report(encode(message)) == message


def test_every_request_refuses_an_unknown_field_and_every_report_ignores_it() -> None:
    extra = {"colour": "red"}
    for request in (
        Prepare(trajectory=1),
        Discard(),
        Clear(),
        Blink(),
    ):
        body = json.dumps({**request.model_dump(), **extra}).encode()
        with pytest.raises(FrameError) as caught:
            decode_request(body)
        assert caught.value.code == "message-invalid"
    for report in (Ack(ref=1), Stopped(at_us=1, level=1, position=1)):
        body = json.dumps({**report.model_dump(), **extra}).encode()
        assert decode_report(body) == report


def test_hello_with_an_unknown_field_is_refused_and_a_welcome_is_not() -> None:
    hello = Hello(protocol=1, coordinator="0" * 32, session="1" * 16, nonce="2" * 64)
    with pytest.raises(FrameError):
        decode_opening(json.dumps({**hello.model_dump(), "colour": 1}))
    able = Capabilities(point_capacity=512, max_step_rate_hz=250_000)
    welcome = Welcome(
        id="0" * 12, firmware="1", boot=1, nonce="2" * 64, proof="3" * 64, udp=9, capabilities=able
    )
    assert decode_opening(json.dumps({**welcome.model_dump(), "colour": 1})) == welcome


@pytest.mark.parametrize(
    ("decode", "body", "code"),
    [
        (decode_request, b'{"type":"fly"}', "message-unknown"),
        (decode_request, b'{"type":"hello"}', "message-unknown"),
        (decode_request, b"{}", "message-unknown"),
        (decode_request, b"[]", "message-invalid"),
        (decode_request, b"{", "message-invalid"),
        (decode_request, b"\xff", "message-invalid"),
        (decode_request, b'{"type":"prepare"}', "message-invalid"),
        (decode_request, b'{"type":"prepare","trajectory":"1"}', "message-invalid"),
        (decode_request, b'{"type":"prepare","trajectory":1.0}', "message-invalid"),
        (decode_request, b'{"type":"prepare","trajectory":-1}', "message-invalid"),
        (decode_request, b'{"type":"blink","seconds":61}', "message-invalid"),
        (decode_request, b"[" * 10_000, "message-invalid"),
        (decode_opening, b'{"type":"ack","ref":0}', "message-unknown"),
        (decode_opening, b"{}", "message-unknown"),
        (decode_opening, b'{"type":1}', "message-unknown"),
        (decode_opening, b"[]", "message-invalid"),
        (decode_opening_to_joint, '{"type":"clear"}', "message-unknown"),
        (decode_opening_to_joint, '{"type":"welcome"}', "message-unknown"),
        (decode_opening_to_joint, '{"type":"reject"}', "message-unknown"),
        (decode_opening, b'{"type":"proof","proof":"00"}', "message-invalid"),
        (decode_opening, b'{"type":"proof","proof":"' + b"A" * 64 + b'"}', "message-invalid"),
        (decode_opening, b'{"type":"proof","proof":"' + b"0" * 64 + b'\\n"}', "message-invalid"),
        (decode_report, b'{"type":"ack"}', "message-invalid"),
        (decode_report, b'{"type":"event"}', "message-invalid"),
        (decode_report, b'{"type":"event","event":"finished"}', "message-invalid"),
        (decode_report, b'{"type":"ack","ref":1' + b"0" * 5_000 + b"}", "message-invalid"),
        (decode_report, b'{"type":"reject","ref":0,"code":"\\ud800","message":""}',
         "message-invalid"),
    ],
)  # fmt: skip
def test_wrong_message_has_a_stable_code(decode: Any, body: bytes | str, code: str) -> None:
    with pytest.raises(FrameError) as caught:
        decode(body)
    assert caught.value.code == code


@pytest.mark.parametrize(
    "text",
    [
        '{"type":"disc\\u0061rd"}',
        '{"type":"d\u00efscard"}',
        '{"type":"discard","type":"discard"}',
        '{"type":"discard"}\x00',
        '{"type":"discard"}\x7f',
    ],
)
def test_what_goes_to_a_joint_is_plain_ascii_without_escapes_and_has_no_key_twice(
    text: str,
) -> None:
    assert decode_request(b'\t{"type"\r\n: "discard"}') == Discard()
    with pytest.raises(FrameError) as caught:
        decode_request(text.encode())
    assert caught.value.code == "message-invalid"
    hello = text.replace("disc", "hello").replace("discard", "hello")
    with pytest.raises(FrameError) as caught:
        decode_opening_to_joint(hello)
    assert caught.value.code == "message-invalid"


def test_reports_may_have_escapes_and_any_text_but_no_key_twice() -> None:
    reject = b'{"type":"reject","ref":0,"code":"busy","message":"60 \\u00b0C, 60 \xc2\xb0C"}'
    assert decode_report(reject) == Reject(ref=0, code="busy", message="60 °C, 60 °C")
    with pytest.raises(FrameError):
        decode_report(b'{"type":"ack","ref":1,"more":{"a":1,"a":2}}')


def test_reports_of_newer_firmware_are_passed_over() -> None:
    assert decode_report(b'{"type":"weather","rain":true}') is None
    assert decode_report(b'{"type":"event","event":"rained","mm":4}') is None


@pytest.mark.parametrize("decode", DECODERS)
@given(st.binary(max_size=200))
def test_arbitrary_bytes_raise_only_frame_errors(decode: Any, data: bytes) -> None:
    code = "message-invalid"
    try:
        decode(data)
    except FrameError as error:
        code = error.code
    assert code in {"message-invalid", "message-unknown"}


@pytest.mark.parametrize("decode", DECODERS)
@given(
    st.one_of(openings, requests, reports),
    st.dictionaries(st.sampled_from(["type", "event", "ref", "edges", "x"]), json_values),
)
def test_mutated_messages_raise_only_frame_errors(
    decode: Any, message: BaseModel, changes: dict[str, object]
) -> None:
    code = "message-invalid"
    try:
        decode(json.dumps({**message.model_dump(), **changes}).encode())
    except FrameError as error:
        code = error.code
    assert code in {"message-invalid", "message-unknown"}


@pytest.mark.parametrize("decode", DECODERS)
@given(st.one_of(openings, requests, reports), st.integers(0), st.integers(0, 255))
def test_messages_with_a_changed_byte_raise_only_frame_errors(
    decode: Any, message: BaseModel, place: int, byte: int
) -> None:
    data = bytearray(encode(message))
    data[place % len(data)] = byte
    code = "message-invalid"
    try:
        decode(bytes(data))
    except FrameError as error:
        code = error.code
    assert code in {"message-invalid", "message-unknown"}
