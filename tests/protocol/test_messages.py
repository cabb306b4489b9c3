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
    Light,
    Prepare,
    Proof,
    Reject,
    Started,
    Stopped,
    Welcome,
    decode_opening,
    decode_report,
    decode_request,
    encode,
)
from tests.protocol.strategies import I64, U32

HEX = "0123456789abcdef"


def hexes(count: int) -> st.SearchStrategy[str]:
    return st.text(HEX, min_size=count, max_size=count)


edges = st.builds(Edge, position=I64, rising=st.booleans(), fast=st.booleans())
capabilities = st.builds(
    Capabilities,
    point_capacity=st.integers(16, 2**32),
    max_step_rate_hz=st.integers(1, 10**6),
    sensors=st.lists(st.text(max_size=12), max_size=3),
    inputs=st.integers(0, 8),
    outputs=st.integers(0, 8),
)
openings = st.one_of(
    st.builds(Hello, protocol=st.integers(), coordinator=hexes(32), session=hexes(16),
              nonce=hexes(64)),
    st.builds(Welcome, id=hexes(12), firmware=st.text(), boot=U32, nonce=hexes(64),
              proof=hexes(64), capabilities=capabilities, configuration=st.none() | hexes(64),
              keyed=st.none() | hexes(64), trajectory=U32, next_index=U32),
    st.builds(Proof, proof=hexes(64)),
    st.builds(Reject, ref=st.just(0), code=st.text(), message=st.text()),
)  # fmt: skip
requests = st.one_of(
    st.builds(Prepare, trajectory=U32),
    st.builds(Discard),
    st.builds(Clear),
    st.builds(Blink, seconds=st.integers(1, 60)),
    st.builds(Light, level=st.integers(0, 255)),
)
REF = st.integers(0, 2**63 - 1)
reports = st.one_of(
    st.builds(Ack, ref=REF),
    st.builds(Reject, ref=REF, code=st.text(), message=st.text()),
    st.builds(Homed, at_us=I64, homing_number=U32, edges=st.lists(edges, max_size=4), middle=I64,
              shift=I64),
    st.builds(HomingFailed, at_us=I64, homing_number=U32, message=st.text(),
              edges=st.lists(edges, max_size=4)),
    st.builds(Started, trajectory=U32, plan=U32, path_us=I64, permission_us=I64, start_us=I64),
    st.builds(Finished, trajectory=U32, at_us=I64, position=I64),
    st.builds(Held, trajectory=U32, at_us=I64, path_us=I64, ramp_began_us=I64, cause=st.text()),
    st.builds(Stopped, at_us=I64, level=st.integers(0, 3), position=I64),
    st.builds(Faulted, at_us=I64, fault=st.text(), message=st.text()),
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
    for request in (Prepare(trajectory=1), Discard(), Clear(), Blink(), Light(level=0)):
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
        id="0" * 12, firmware="1", boot=1, nonce="2" * 64, proof="3" * 64, capabilities=able
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
        (decode_request, b'{"type":"light","level":256}', "message-invalid"),
        (decode_request, b'{"type":"blink","seconds":61}', "message-invalid"),
        (decode_request, b"[" * 10_000, "message-invalid"),
        (decode_opening, b'{"type":"ack","ref":0}', "message-unknown"),
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
def test_wrong_message_has_a_stable_code(decode: Any, body: bytes, code: str) -> None:
    with pytest.raises(FrameError) as caught:
        decode(body)
    assert caught.value.code == code


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
