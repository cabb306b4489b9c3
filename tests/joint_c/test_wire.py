"""The joint in C against the standards that its wire stands on: digests, codes, JSON and texts."""

import hashlib
import json
import re
import zlib
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tests.joint_c.asking import Vectors
from tests.reference.rfc_vectors import HKDF_SHA256, HMAC_SHA256

PROTOCOL = Path(__file__).parents[2] / "protocol"
STREAM = json.loads((PROTOCOL / "vectors" / "stream.json").read_text())
CONFIGURE = next(
    case["message"] for case in STREAM["cases"] if case["message"]["type"] == "configure"
)
SCHEMA = json.loads((PROTOCOL / "schemas" / "configure.json").read_text())

TWO_BLOCKS = b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"


def body_of(message: Any) -> str:
    return json.dumps(message, separators=(",", ":")).encode().hex()


# Example values that NIST gives for FIPS 180-4; the empty one is of its byte-oriented vectors.
@pytest.mark.parametrize(
    ("message", "digest"),
    [
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (TWO_BLOCKS, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"),
    ],
)
def test_sha256_gives_the_digests_of_fips_180_4(
    vectors: Vectors, message: Any, digest: str
) -> None:
    assert vectors.ask("sha256", message=message.hex(), first_piece=0) == {"digest": digest}


@given(st.binary(max_size=200), st.integers(0, 200))
@example(b"a" * 55, 0)
@example(b"a" * 56, 1)
@example(b"a" * 64, 64)
@example(b"a" * 119, 7)
def test_sha256_in_pieces_is_that_of_the_whole(vectors: Vectors, message: Any, first: int) -> None:
    answer = vectors.ask("sha256", message=message.hex(), first_piece=min(first, len(message)))
    assert answer == {"digest": hashlib.sha256(message).hexdigest()}


@pytest.mark.parametrize(("key", "message", "mac"), HMAC_SHA256)
def test_hmac_gives_the_values_of_rfc_4231(
    vectors: Vectors, key: bytes, message: Any, mac: str
) -> None:
    assert vectors.ask("hmac", key=key.hex(), message=message.hex())["mac"].startswith(mac)


@pytest.mark.parametrize(("key", "salt", "info", "output"), HKDF_SHA256)
def test_hkdf_gives_the_values_of_rfc_5869(
    vectors: Vectors, key: bytes, salt: bytes, info: bytes, output: str
) -> None:
    answer = vectors.ask(
        "hkdf", key=key.hex(), salt=salt.hex(), info=info.hex(), length=len(output) // 2
    )
    assert answer == {"output": output}


# RFC 3174, section 7.3, tests 1, 2 and 4.
@pytest.mark.parametrize(
    ("message", "digest"),
    [
        (b"abc", "a9993e364706816aba3e25717850c26c9cd0d89d"),
        (TWO_BLOCKS, "84983e441c3bd26ebaae4aa1f95129e5e54670f1"),
        (b"01234567" * 80, "dea356a2cddd90c7a7ecedc5ebb563934f460452"),
    ],
)
def test_sha1_gives_the_digests_of_rfc_3174(vectors: Vectors, message: Any, digest: str) -> None:
    assert vectors.ask("sha1", message=message.hex()) == {"digest": digest}


@given(st.binary(max_size=200))
@example(b"a" * 55)
@example(b"a" * 56)
def test_sha1_agrees_with_a_library(vectors: Vectors, message: Any) -> None:
    assert vectors.ask("sha1", message=message.hex()) == {
        "digest": hashlib.sha1(message).hexdigest()
    }


# RFC 4648, section 10.
@pytest.mark.parametrize(
    ("plain", "text"),
    [
        ("", ""),
        ("f", "Zg=="),
        ("fo", "Zm8="),
        ("foo", "Zm9v"),
        ("foob", "Zm9vYg=="),
        ("fooba", "Zm9vYmE="),
        ("foobar", "Zm9vYmFy"),
    ],
)
def test_base64_gives_the_texts_of_rfc_4648(vectors: Vectors, plain: str, text: Any) -> None:
    assert vectors.ask("base64", bytes=plain.encode().hex()) == {"text": text}


def test_crc32_gives_the_check_value_of_the_ieee_802_3_polynomial(vectors: Vectors) -> None:
    # From memory: 0xCBF43926 for the nine digits is what tables of CRC parameters name it by.
    assert vectors.ask("crc32", bytes=b"123456789".hex()) == {"crc": 0xCBF43926}


@given(st.binary(max_size=300))
def test_crc32_agrees_with_zlib(vectors: Vectors, data: bytes) -> None:
    assert vectors.ask("crc32", bytes=data.hex()) == {"crc": zlib.crc32(data)}


def is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


@given(st.one_of(st.binary(max_size=8), st.text(max_size=8).map(lambda text: text.encode())))
@example(b"\xc0\x80")  # RFC 3629, section 10: an overlong NUL
@example(b"\xed\xa0\x80")  # a surrogate
@example(b"\xf4\x90\x80\x80")  # beyond U+10FFFF
@example(b"\xf4\x8f\xbf\xbf")
@example(b"\xe0\x9f\xbf")
@example(b"\xe2\x82")
@example(b"\xf8\x88\x80\x80\x80")
def test_utf8_is_told_from_other_bytes_as_python_tells_it(vectors: Vectors, data: bytes) -> None:
    assert vectors.ask("utf8", bytes=data.hex()) == {"holds": is_utf8(data)}


@given(st.binary(min_size=1, max_size=32), st.integers(0, 31), st.integers(1, 255))
def test_tags_that_differ_anywhere_are_not_the_same(
    vectors: Vectors, data: bytes, place: int, change: int
) -> None:
    other = bytearray(data)
    other[place % len(data)] ^= change
    assert vectors.ask("same", a=data.hex(), b=data.hex()) == {"same": True}
    assert vectors.ask("same", a=data.hex(), b=other.hex()) == {"same": False}


@pytest.mark.parametrize(
    ("text", "holds"),
    [
        ("ab" * 32, True),
        ("AB" * 32 + "\r\n", True),
        (" \t\n" + "0f" * 32 + "\n\n", True),
        ("", False),
        ("ab" * 31, False),
        ("ab" * 33, False),
        ("ab" * 16 + " " + "ab" * 16, False),
        ("0x" + "ab" * 31, False),
        ("gb" + "ab" * 31, False),
    ],
)
def test_a_key_file_is_64_digits_and_white_space_around_them(
    vectors: Vectors, text: Any, holds: bool
) -> None:
    assert vectors.ask("is-key-file", text=text.encode().hex()) == {"holds": holds}


@given(st.integers(0, (2**32 - 1) * 10**6 - 1))
@example(61234567)
@example(999999)
@example(0)
def test_a_timestamp_is_rounded_to_the_nearest_unit(vectors: Vectors, joint_us: int) -> None:
    exact = Fraction((joint_us + 1000000) * 2**32, 1000000)
    told = int(vectors.ask("timestamp", joint_us=joint_us)["timestamp"], 16)
    assert abs(told - exact) <= Fraction(1, 2)


def without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len({key for key, _ in pairs}) != len(pairs):
        raise ValueError("a key twice")
    return dict(pairs)


def no_constant(name: str) -> None:
    raise ValueError(f"{name} is no JSON")


def is_json_to_a_joint(text: bytes) -> bool:
    """Whether Python's reader takes it, and it is an object in ASCII without a backslash."""
    if not text.isascii() or b"\\" in text:
        return False
    try:
        value = json.loads(
            text.decode("ascii"), object_pairs_hook=without_doubles, parse_constant=no_constant
        )
    except ValueError:
        return False
    return isinstance(value, dict)


VALUES = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(2**60), 2**60),
        st.floats(allow_nan=False, allow_infinity=False),
        st.text("ab {}[]:,-1", max_size=4),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text("ab:,", max_size=2), inner, max_size=4)
    ),
    max_leaves=12,
)
WORDS = '{ } [ ] , : " "a" 0 - 1 .5 e+1 E true null false NaN'
PIECES = st.sampled_from(
    [
        *WORDS.encode().split(),
        b" ",
        b"\n",
        b"\t",
        b"\x0b",
        b"\x00",
        b"\x01",
        b"\x7f",
        b"\\",
        b"\xfc",
    ]
)


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """JSON in which some places are cut out or have something else in them."""
    text = json.dumps(draw(VALUES), indent=draw(st.sampled_from([None, 1]))).encode()
    for _ in range(draw(st.integers(0, 2))):
        at = draw(st.integers(0, len(text)))
        text = (
            text[:at] + draw(st.one_of(st.just(b""), PIECES)) + text[at + draw(st.integers(0, 2)) :]
        )
    return text


@given(st.one_of(damaged(), st.lists(PIECES, max_size=8).map(b"".join)))
@example(b'{"a":1,"b":{"a":2},"a":3}')
@example(b'{"a":{"b":1,"b":1}}')
@example(b'{"":0,"":0}')
@example(b'[{"a":0},{"a":0}]')
@example(b'{"a":01}')
@example(b'{"a":-}')
@example(b'{"a":1.}')
@example(b'{"a":1e}')
@example(b'{"a":[1,]}')
@example(b'{"a":1,}')
@example(b'{"a":"\x1f"}')
@example(b'{"a":0}\x00')
def test_json_is_told_from_other_texts_as_python_tells_it(vectors: Vectors, text: Any) -> None:
    # Valid, and of a type that no joint knows; in front of it a member that no sampled text has.
    sound = is_json_to_a_joint(text)
    answer = vectors.ask("request", body=text.hex())
    assert answer == {"code": "message-unknown" if sound else "message-invalid"}


@pytest.mark.parametrize(("depth", "code"), [(32, "message-unknown"), (33, "message-invalid")])
def test_json_nested_deeper_than_32_is_refused(vectors: Vectors, depth: int, code: str) -> None:
    text = b'{"a":' * (depth - 1) + b"{" + b"}" * depth
    assert vectors.ask("request", body=text.hex()) == {"code": code}


@given(VALUES, st.sampled_from(["a", "seconds", "trajectory", "configuration"]))
def test_a_request_with_an_unknown_field_is_refused(
    vectors: Vectors, value: Any, name: str
) -> None:
    text = json.dumps({"type": "clear", name: value})
    if "\\" not in text:
        assert vectors.ask("request", body=text.encode().hex()) == {"code": "message-invalid"}


def changed(path: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    """The first configure of the vectors with one other value."""
    message: dict[str, Any] = json.loads(json.dumps(CONFIGURE))
    place: Any = message
    for name in path[:-1]:
        place = place[name]
    place[path[-1]] = value
    return message


def bounds() -> list[tuple[tuple[str | int, ...], int]]:
    """Every integer field of the schema with the values at its bounds and just beyond."""
    found: list[tuple[tuple[str | int, ...], int]] = []
    objects = {(): "Configuration", ("homing",): "Homing", ("outputs_off",): "OutputsOff"}
    for within, name in {**objects, ("idle_current",): "IdleCurrent"}.items():
        for field, schema in SCHEMA["$defs"][name]["properties"].items():
            for one in schema.get("anyOf", [schema]):
                if one.get("type") == "integer":
                    low = one.get("minimum", one.get("exclusiveMinimum", 0) + 1)
                    path = ("configuration", *within, field)
                    found += [
                        (path, value)
                        for value in (low - 1, low, one["maximum"], one["maximum"] + 1)
                    ]
    return found


def rules_hold(configuration: dict[str, Any]) -> bool:
    """What protocol/README.md asks of a configuration beyond the bounds, as it stands there."""
    c, homing, ramp = configuration, configuration["homing"], configuration["ramp"]
    idle = c.get("idle_current")
    return (
        (c["range_low"] is None) == (c["range_high"] is None)
        and (c["range_low"] is None or c["range_low"] < c["range_high"])
        and max(homing["fast"], homing["slow"], c["jog_unhomed"]) <= c["velocity"]
        and homing["direction"] in (1, -1)
        and (idle is None or idle["current_ma"] <= c["hold_current_ma"])
        and ramp[0] == [0, 0]
        and ramp[-1][1] == 1000000
        and all(a[0] < b[0] and a[1] < b[1] for a, b in pairwise(ramp))
        and all(
            Fraction(8, 10) * Fraction(b[1], 10**6) ** 2 * c["acceleration"]
            + Fraction(b[1] - a[1], b[0] - a[0]) * c["velocity"]
            <= c["acceleration"]
            for a, b in pairwise(ramp)
        )
    )


def expected(message: dict[str, Any]) -> str | None:
    """The code by the schema and the rules of the document; None for a configuration that holds."""
    valid = jsonschema.Draft202012Validator(SCHEMA).is_valid(message)
    return None if valid and rules_hold(message["configuration"]) else "message-invalid"


@pytest.mark.parametrize(("path", "value"), bounds())
def test_a_configuration_is_held_to_every_bound_of_its_schema(
    vectors: Vectors, path: tuple[str | int, ...], value: Any
) -> None:
    message = json.loads(json.dumps(CONFIGURE))
    for name, whole in (
        ("outputs_off", {"on_hold": 0, "on_stop": 0, "on_lost": 0}),
        ("idle_current", {"after_ms": 100, "current_ma": 0}),
    ):
        if name in path:
            message["configuration"][name] = whole
    place: Any = message
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    answer = vectors.ask("request", body=body_of(message))
    assert answer.get("code") == expected(message)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("configuration", "range_low"), None),
        (("configuration", "range_low"), 5000000),
        (("configuration", "range_low"), 4999999),
        (("configuration", "homing", "fast"), 2730001),
        (("configuration", "homing", "slow"), 2730001),
        (("configuration", "jog_unhomed"), 2730001),
        (("configuration", "jog_unhomed"), 2730000),
        (("configuration", "homing", "direction"), 0),
        (("configuration", "idle_current"), {"after_ms": 1000, "current_ma": 600}),
        (("configuration", "idle_current"), {"after_ms": 1000, "current_ma": 601}),
        (("configuration", "idle_current"), {"after_ms": 1000}),
        (("configuration", "idle_current"), None),
        (("configuration", "outputs_off"), None),
        (("configuration", "outputs_off"), {"on_hold": 1, "on_stop": 2, "on_lost": 3, "more": 0}),
        (("configuration", "name"), ""),
        (("configuration", "name"), "a" * 32),
        (("configuration", "name"), "a" * 33),
        (("configuration", "name"), "a b"),
        (("configuration", "name"), 7),
        (("configuration", "velocity"), True),
        (("configuration", "velocity"), 2730000.0),
        (("configuration", "ramp"), []),
        (("configuration", "ramp"), [[0, 0]]),
        (("configuration", "ramp"), [[0, 0], [5000000, 1000000]]),
        (("configuration", "ramp"), [[0, 0], [1000000, 1000000]]),
        (("configuration", "ramp"), [[1, 0], [5000000, 1000000]]),
        (("configuration", "ramp"), [[0, 1], [5000000, 1000000]]),
        (("configuration", "ramp"), [[0, 0], [5000000, 999999]]),
        (("configuration", "ramp"), [[0, 0], [10, 500000], [10, 600000], [5000000, 1000000]]),
        (("configuration", "ramp"), [[0, 0], [5000000, 1000000], [6000000, 1000000]]),
        (("configuration", "ramp"), [[0, 0], [5000000]]),
        (("configuration", "ramp"), [[0, 0], [5000000, 1000000, 0]]),
        (("configuration", "ramp"), [[0, 0], 5]),
        (("configuration", "ramp"), {"0": 0}),
        (
            ("configuration", "ramp"),
            [[k * 400000, k * 15873] for k in range(63)] + [[30000000, 1000000]],
        ),
        (
            ("configuration", "ramp"),
            [[k * 400000, k * 15873] for k in range(64)] + [[30000000, 1000000]],
        ),
        (("configuration",), []),
        (("more",), 0),
    ],
)
def test_a_configuration_is_held_to_the_rules_of_the_document(
    vectors: Vectors, path: tuple[str | int, ...], value: Any
) -> None:
    message = changed(path, value)
    # JSON Schema takes 2730000.0 for a whole number; the protocol's texts have no fraction.
    code = "message-invalid" if isinstance(value, float) else expected(message)
    assert vectors.ask("request", body=body_of(message)).get("code") == code


@pytest.mark.parametrize("name", list(CONFIGURE["configuration"]))
def test_a_configuration_without_one_of_its_fields_is_refused(vectors: Vectors, name: str) -> None:
    message = json.loads(json.dumps(CONFIGURE))
    del message["configuration"][name]
    assert vectors.ask("request", body=body_of(message)) == {"code": "message-invalid"}


def table(begin: str) -> list[str]:
    """The first cells of a table of the document."""
    text = (PROTOCOL / "README.md").read_text().split(begin, 1)[1]
    return re.findall(
        r"^\| `?([a-z-]+)`? \|", text.split("\n\n", 1)[0].split("<!-- end", 1)[0], re.MULTILINE
    )


@pytest.mark.parametrize(
    "code", [row for row in table("<!-- begin: rejects -->") if row not in ("code", "---")]
)
def test_every_reject_code_of_the_document_can_be_told(vectors: Vectors, code: str) -> None:
    message = {"type": "reject", "ref": 3, "code": code, "message": "so"}
    assert json.loads(bytes.fromhex(vectors.ask("report", message=message)["body"])) == message


def test_a_text_is_written_so_that_it_is_read_again(vectors: Vectors) -> None:
    message = {"type": "reject", "ref": 2**53 - 1, "code": "busy", "message": "a:b,{c}[d]/e'f"}
    assert json.loads(bytes.fromhex(vectors.ask("report", message=message)["body"])) == message


# The document's table of sizes has 2085 bytes with the 24 of a frame's head.
def test_an_event_with_32_edges_fits_a_frame(vectors: Vectors) -> None:
    largest = 2**53 - 1
    message = {
        "type": "event",
        "event": "homed",
        "at_us": largest,
        "homing_number": 2**32 - 1,
        "edges": [{"position": -largest, "rising": False, "fast": False}] * 32,
        "middle": -largest,
        "shift": -largest,
        "lost": -largest,
    }
    body = bytes.fromhex(vectors.ask("report", message=message)["body"])
    assert json.loads(body) == message
    assert len(body) + 24 <= 2085 + 1  # at_us may be negative in the document's figure
