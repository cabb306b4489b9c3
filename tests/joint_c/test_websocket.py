"""The WebSocket server in C against RFC 6455, its examples, and a client of another maker."""

import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from websockets.client import ClientProtocol
from websockets.extensions.permessage_deflate import ClientPerMessageDeflateFactory
from websockets.frames import Close, Frame, Opcode
from websockets.protocol import State
from websockets.typing import Subprotocol
from websockets.uri import parse_uri

from tests.joint_c.asking import Vectors

SUBPROTOCOL = "unisono.joint.v1"
# RFC 6455, section 1.3: this key is answered by this accept.
KEY, ACCEPT = "dGhlIHNhbXBsZSBub25jZQ==", "s3pPLMBiTxaQ9kYGzzhZRbK+xOo="
REQUEST = {
    "Host": "server.example.com",
    "Upgrade": "websocket",
    "Connection": "Upgrade",
    "Sec-WebSocket-Key": KEY,
    "Origin": "http://example.com",
    "Sec-WebSocket-Protocol": f"chat, {SUBPROTOCOL}",
    "Sec-WebSocket-Version": "13",
}


def request_of(line: str = "GET /joint HTTP/1.1", **other: str | None) -> bytes:
    """An opening request with other headers, or without (None)."""
    headers: dict[str, str | None] = {
        **REQUEST,
        **{name.replace("_", "-"): value for name, value in other.items()},
    }
    lines = [line, *(f"{name}: {value}" for name, value in headers.items() if value is not None)]
    return ("\r\n".join(lines) + "\r\n\r\n").encode()


def feed(
    vectors: Vectors, data: bytes, opened: bool = True, step: int = 100000, space: int = 4096
) -> list[Any]:
    """What comes of it: pairs of what happened and its bytes."""
    answer = vectors.ask("websocket", bytes=data.hex(), step=step, space=space, opened=opened)
    return [(event["what"], bytes.fromhex(event["bytes"])) for event in answer["events"]]


def close_of(code: int) -> bytes:
    """A server's close frame without words."""
    return b"\x88\x02" + code.to_bytes(2, "big")


def client_frame(
    opcode: int, payload: bytes, fin: bool = True, mask: bytes = b"\x37\xfa\x21\x3d"
) -> bytes:
    """A masked frame, made by hand: it can be one that no library makes."""
    first = bytes([(0x80 if fin else 0) | opcode])
    size = len(payload)
    if size < 126:
        head = bytes([0x80 | size])
    elif size < 65536:
        head = bytes([0x80 | 126]) + size.to_bytes(2, "big")
    else:
        head = bytes([0x80 | 127]) + size.to_bytes(8, "big")
    return first + head + mask + bytes(b ^ mask[i % 4] for i, b in enumerate(payload))


@pytest.mark.parametrize("step", [1, 7, 100000])
def test_the_opening_of_the_standard_is_answered_as_it_says(vectors: Vectors, step: int) -> None:
    [(what, answer)] = feed(vectors, request_of(), opened=False, step=step)
    assert what == "opened"
    lines = answer.decode().split("\r\n")
    assert lines[0] == "HTTP/1.1 101 Switching Protocols"
    assert set(lines[1:-2]) == {
        "Upgrade: websocket",
        "Connection: Upgrade",
        f"Sec-WebSocket-Accept: {ACCEPT}",
        f"Sec-WebSocket-Protocol: {SUBPROTOCOL}",
    }
    assert lines[-2:] == ["", ""]


@pytest.mark.parametrize(
    ("request_bytes", "status"),
    [
        (request_of("GET /joint?a HTTP/1.1"), 404),
        (request_of("GET / HTTP/1.1"), 404),
        (request_of("GET /joints HTTP/1.1"), 404),
        (request_of("POST /joint HTTP/1.1"), 400),
        (request_of("GET /joint HTTP/1.0"), 400),
        (request_of("GET /joint"), 400),
        (request_of("GET  HTTP/1.1"), 400),
        (request_of(""), 400),
        (request_of(Upgrade=None), 400),
        (request_of(Upgrade="h2c"), 400),
        (request_of(Connection="close"), 400),
        (request_of(Sec_WebSocket_Key=None), 400),
        (request_of(Sec_WebSocket_Key=KEY[:-4]), 400),
        (request_of(Sec_WebSocket_Key=KEY[:-1] + "A"), 400),
        (request_of(Sec_WebSocket_Key="*" + KEY[1:]), 400),
        (request_of(sec_websocket_key=KEY), 400),  # twice
        (request_of(Sec_WebSocket_Protocol=None), 400),
        (request_of(Sec_WebSocket_Protocol="Unisono.Joint.V1"), 400),
        (request_of(Sec_WebSocket_Protocol=SUBPROTOCOL + "0"), 400),
        (request_of(Sec_WebSocket_Version="12"), 426),
        (request_of(Sec_WebSocket_Version=None), 426),
        (request_of(sec_websocket_version="8"), 426),
        (b"GET /joint HTTP/1.1\nUpgrade: websocket\n\n\r\n\r\n", 400),
        (b"GET /joint HTTP/1.1\r\nno colon\r\n\r\n", 400),
        (b"GET /joint HTTP/1.1\r\n: x\r\n\r\n", 400),
        (b"GET /joint HTTP/1.1\r\nHost : x\r\n\r\n", 400),
        (b"GET /joint HTTP/1.1\r\nHost: x\r\n folded: y\r\n\r\n", 400),
        (b"\r\n\r\n", 400),
        (request_of(X_Much="x" * 512), 400),
        (b"x" * 600, 400),
    ],
)
def test_another_opening_is_refused(vectors: Vectors, request_bytes: bytes, status: int) -> None:
    [(what, answer)] = feed(vectors, request_bytes, opened=False)
    assert what == "closed"
    assert answer.startswith(f"HTTP/1.1 {status} ".encode())
    assert answer.endswith(b"\r\n\r\n")
    assert b"Content-Length: 0\r\n" in answer


@pytest.mark.parametrize(
    "request_bytes",
    [
        request_of(Upgrade="WebSocket"),
        request_of(Connection="keep-alive, Upgrade"),
        request_of(Connection="upgrade"),
        request_of(Host=None),
        request_of(Cookie="a=b"),
        request_of(Sec_WebSocket_Extensions="permessage-deflate; client_max_window_bits"),
        request_of(Sec_WebSocket_Protocol=f"{SUBPROTOCOL},other"),
        request_of(Sec_WebSocket_Protocol="other", sec_websocket_protocol=SUBPROTOCOL),
        request_of().replace(b": ", b":"),
        request_of().replace(b"Upgrade: websocket", b"UPGRADE:   websocket \t"),
        request_of(X="x" * (512 - len(request_of(X="")))),
    ],
)
def test_what_an_opening_may_hold_besides_is_not_looked_at(
    vectors: Vectors, request_bytes: bytes
) -> None:
    [(what, answer)] = feed(vectors, request_bytes, opened=False)
    assert what == "opened"
    assert b"extensions" not in answer.lower()


def test_an_opening_of_513_bytes_is_refused(vectors: Vectors) -> None:
    request_bytes = request_of(X="x" * (513 - len(request_of(X=""))))
    [(what, answer)] = feed(vectors, request_bytes, opened=False)
    assert (what, answer[:12]) == ("closed", b"HTTP/1.1 400")


# RFC 6455, section 5.7. The unmasked examples are a server's.
@pytest.mark.parametrize("step", [1, 3, 100000])
def test_reads_the_masked_examples_of_the_standard(vectors: Vectors, step: int) -> None:
    data = bytes.fromhex("818537fa213d7f9f4d5158") + bytes.fromhex("8a8537fa213d7f9f4d5158")
    assert feed(vectors, data, step=step) == [("text", b"Hello"), ("pong", b"Hello")]


def test_answers_a_ping_as_the_standard_shows(vectors: Vectors) -> None:
    assert feed(vectors, client_frame(9, b"Hello")) == [("ping", bytes.fromhex("8a0548656c6c6f"))]


@pytest.mark.parametrize(
    ("name", "data", "code"),
    [
        ("not masked", b"\x81\x05Hello", 1002),
        ("a reserved bit", b"\xc1" + client_frame(1, b"Hello")[1:], 1002),
        ("an unknown opcode", client_frame(3, b""), 1002),
        ("an unknown control opcode", client_frame(11, b""), 1002),
        ("a fragment of nothing", client_frame(0, b"Hello"), 1002),
        ("a message in a message", client_frame(1, b"a", fin=False) + client_frame(1, b"b"), 1002),
        ("a ping in fragments", client_frame(9, b"", fin=False), 1002),
        ("a ping of 126 bytes", client_frame(9, b"x" * 126), 1002),
        ("a length not as short as can be", b"\x82\xfe\x00\x7d" + b"0000", 1002),
        (
            "a long length not as short as can be",
            b"\x82\xff" + (65535).to_bytes(8, "big") + b"0000",
            1002,
        ),
        ("a length with its highest bit", b"\x82\xff" + (2**63).to_bytes(8, "big") + b"0000", 1002),
        ("text that is not UTF-8", client_frame(1, b"\xc3\x28"), 1007),
        ("text cut within a character", client_frame(1, b"\xc3"), 1007),
        ("a message of 4097 bytes", client_frame(2, b"x" * 4097)[:8], 1009),
        ("more than 2^62 bytes", b"\x82\xff" + (2**62).to_bytes(8, "big") + b"0000", 1009),
        ("a close of one byte", client_frame(8, b"\x03"), 1002),
        ("close code 999", client_frame(8, (999).to_bytes(2, "big")), 1002),
        ("close code 1005", client_frame(8, (1005).to_bytes(2, "big")), 1002),
        ("close code 1006", client_frame(8, (1006).to_bytes(2, "big")), 1002),
        ("close code 1015", client_frame(8, (1015).to_bytes(2, "big")), 1002),
        ("close code 5000", client_frame(8, (5000).to_bytes(2, "big")), 1002),
        ("words of a close that are not UTF-8", client_frame(8, b"\x03\xe8\xff"), 1007),
        ("a close is answered by its code", client_frame(8, b"\x03\xe8bye"), 1000),
        ("a close of 4999", client_frame(8, (4999).to_bytes(2, "big")), 4999),
    ],
)
@pytest.mark.parametrize("step", [1, 100000])
def test_ends_with_the_code_of_the_standard(
    vectors: Vectors, name: str, data: bytes, code: int, step: int
) -> None:
    events = feed(vectors, data, step=step)
    assert events == [("closed", close_of(code))]


def test_a_close_without_code_is_answered_without_code(vectors: Vectors) -> None:
    assert feed(vectors, client_frame(8, b"")) == [("closed", b"\x88\x00")]


def test_nothing_is_heard_after_a_close(vectors: Vectors) -> None:
    data = client_frame(8, b"\x03\xe8") + client_frame(1, b"Hello") + client_frame(9, b"")
    assert feed(vectors, data) == [("closed", close_of(1000))]


@pytest.mark.parametrize("space", [512, 3000])
def test_a_message_as_long_as_the_limit_is_read_and_one_byte_more_is_not(
    vectors: Vectors, space: int
) -> None:
    assert feed(vectors, client_frame(2, b"x" * space), space=space) == [("binary", b"x" * space)]
    too_long = client_frame(2, b"x" * space, fin=False) + client_frame(0, b"y")
    assert feed(vectors, too_long, space=space) == [("closed", close_of(1009))]


def test_a_ping_within_a_fragmented_message_is_answered_at_once(vectors: Vectors) -> None:
    data = client_frame(1, b"Hel", fin=False) + client_frame(9, b"?") + client_frame(0, b"lo")
    assert feed(vectors, data) == [("ping", b"\x8a\x01?"), ("text", b"Hello")]


MESSAGES = st.lists(
    st.tuples(
        st.sampled_from([Opcode.TEXT, Opcode.BINARY, Opcode.PING, Opcode.PONG]),
        st.text(max_size=40).map(lambda text: text.encode()[:124]),
        st.integers(1, 4),
    ),
    max_size=6,
)


def client() -> ClientProtocol:
    """A client's half that offers what any does, compression too."""
    return ClientProtocol(
        parse_uri("ws://192.0.2.1:8080/joint"),
        subprotocols=[Subprotocol(SUBPROTOCOL)],
        extensions=[ClientPerMessageDeflateFactory()],
    )


@given(MESSAGES, st.integers(1, 60), st.randoms(use_true_random=False))
def test_a_client_of_another_maker_is_understood(
    vectors: Vectors, messages: list[tuple[Opcode, bytes, int]], step: int, chance: random.Random
) -> None:
    peer = client()
    peer.send_request(peer.connect())
    opening = b"".join(peer.data_to_send())
    [(what, answer)] = feed(vectors, opening, opened=False, step=step)
    assert what == "opened"
    peer.receive_data(answer)
    assert peer.state is State.OPEN
    assert peer.handshake_exc is None
    assert peer.subprotocol == SUBPROTOCOL
    assert peer.extensions == []
    expected = []
    for opcode, payload, parts in messages:
        payload = payload.decode(errors="ignore").encode()
        if opcode is Opcode.PING:
            peer.send_ping(payload)
            expected.append(("ping", Frame(Opcode.PONG, payload).serialize(mask=False)))
        elif opcode is Opcode.PONG:
            peer.send_pong(payload)
            expected.append(("pong", payload))
        else:
            send_in_parts(peer, opcode, payload, parts, chance)
            expected.append((opcode.name.lower(), payload))
    peer.send_close(1000, "done")
    expected.append(
        ("closed", Frame(Opcode.CLOSE, Close(1000, "").serialize()).serialize(mask=False))
    )
    data = b"".join(peer.data_to_send())
    assert feed(vectors, data, step=step) == expected
    peer.receive_data(expected[-1][1])
    assert peer.close_rcvd is not None
    assert peer.close_rcvd.code == 1000


def send_in_parts(
    peer: ClientProtocol, opcode: Opcode, payload: bytes, parts: int, chance: random.Random
) -> None:
    """Sends a message in that many fragments, cut anywhere, within characters too."""
    cuts = sorted(chance.randint(0, len(payload)) for _ in range(parts - 1))
    edges = [0, *cuts, len(payload)]
    for place in range(parts):
        piece, fin = payload[edges[place] : edges[place + 1]], place == parts - 1
        if place == 0:
            (peer.send_text if opcode is Opcode.TEXT else peer.send_binary)(piece, fin)
        else:
            peer.send_continuation(piece, fin)


@given(st.binary(max_size=300), st.integers(1, 50))
def test_how_bytes_arrive_changes_nothing(vectors: Vectors, data: bytes, step: int) -> None:
    assert feed(vectors, data, step=step) == feed(vectors, data)
    assert feed(vectors, data, opened=False, step=step) == feed(vectors, data, opened=False)
