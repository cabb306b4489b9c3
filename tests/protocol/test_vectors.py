"""The golden vectors against a reader that knows README.md only.

Nothing of `protocol` is imported here: bytes are read by the tables of README.md with the standard
library (signatures with `cryptography`), and the law of motion is written down once more from its
text.
"""

import hashlib
import hmac
import json
import math
import zlib
from itertools import pairwise
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from tests.protocol.pages import README, read, table, vectors

LABEL = b"unisono.joint.v1"


def mac(key: str, direction: int, channel: int, message: bytes) -> str:
    """README.md, proofs and keys: the tag."""
    data = bytes((direction, channel)) + message
    return hmac.new(bytes.fromhex(key), data, hashlib.sha256).hexdigest()[:32]


def hkdf(key: bytes, salt: bytes, info: bytes, length: int) -> bytes:
    """RFC 5869 §2.2 and §2.3, written from the RFC."""
    pseudo = hmac.new(salt if salt else bytes(32), key, hashlib.sha256).digest()
    blocks = [b""]
    while sum(map(len, blocks)) < length:
        message = blocks[-1] + info + bytes((len(blocks),))
        blocks.append(hmac.new(pseudo, message, hashlib.sha256).digest())
    return b"".join(blocks)[:length]


def stamp(joint_us: int) -> str:
    """README.md, NTP packet: seconds in 32.32, one second late, rounded to nearest."""
    return f"{((joint_us + 1_000_000) * 2**33 // 1_000_000 + 1) // 2:016x}"


# Bytes


@pytest.mark.parametrize("case", vectors("keys")["tags"])
def test_tags(case: dict[str, Any]) -> None:
    message = bytes.fromhex(case["message"])
    assert mac(case["key"], case["direction"], case["channel"], message) == case["tag"]


@pytest.mark.parametrize("case", vectors("keys")["hkdf"])
def test_hkdf_outputs(case: dict[str, Any]) -> None:
    key, salt, info = (bytes.fromhex(case[name]) for name in ("key", "salt", "info"))
    assert hkdf(key, salt, info, case["length"]).hex() == case["output"]


def test_handshake() -> None:
    found = vectors("handshake")
    hello, welcome, proof = (json.loads(found[name]) for name in ("hello", "welcome", "proof"))
    transcript = bytes.fromhex(found["transcript"])
    assert read("transcript", transcript) == {
        "coordinator_nonce": hello["nonce"],
        "joint_nonce": welcome["nonce"],
        "coordinator_id": hello["coordinator"],
        "joint_id": welcome["id"],
        "boot": welcome["boot"],
        "session": hello["session"],
    }
    arm_key = bytes.fromhex(found["arm_key"])
    proofs = {}
    for case in found["proofs"]:
        direction = case["direction"]
        message = LABEL + b" proof" + bytes((direction,)) + transcript
        assert message.hex() == case["message"]
        proofs[direction] = hmac.new(arm_key, message, hashlib.sha256).hexdigest()
        assert proofs[direction] == case["proof"]
    assert (proof["proof"], welcome["proof"]) == (proofs[0], proofs[1])
    assert found["salt"] == transcript[:64].hex()
    for case in found["keys"]:
        channel_direction = bytes((case["channel"], case["direction"]))
        info = LABEL + b" key" + channel_direction + transcript[64:98]
        assert info.hex() == case["info"]
        assert hkdf(arm_key, transcript[:64], info, 32).hex() == case["key"]
    (stream_key,) = (
        case["key"] for case in found["keys"] if (case["channel"], case["direction"]) == (1, 1)
    )
    ack = read("frame", bytes.fromhex(found["ack_frame"]))
    body = bytes.fromhex(ack["body"])
    assert json.loads(body) == {"type": "ack", "ref": 0}
    assert ack["number"] == f"{1:016x}"
    assert mac(stream_key, 1, 1, bytes.fromhex(ack["number"]) + body) == ack["tag"]


def test_all_files_use_the_keys_of_the_one_handshake() -> None:
    keys = {(k["channel"], k["direction"]): k["key"] for k in vectors("handshake")["keys"]}
    assert {case["key"] for case in vectors("drive")["cases"]} == {keys[2, 0]}
    assert {case["key"] for case in vectors("status")["cases"]} == {keys[2, 1]}
    assert {case["key"] for case in vectors("points")["cases"]} == {keys[1, 0]}
    assert {case["key"] for case in vectors("image")["frames"]} == {keys[1, 0]}
    for case in vectors("stream")["cases"]:
        assert case["key"] == keys[1, case["direction"]]


@pytest.mark.parametrize("case", vectors("stream")["cases"])
def test_stream_frames(case: dict[str, Any]) -> None:
    frame = read("frame", bytes.fromhex(case["frame"]))
    body = bytes.fromhex(frame["body"])
    assert frame["number"] == f"{case['number']:016x}"
    assert frame["body"] == case["body"]
    assert body[:1] == b"{"
    assert json.loads(body) == case["message"]
    number = bytes.fromhex(frame["number"])
    assert mac(case["key"], case["direction"], 1, number + body) == frame["tag"]


def test_stream_file_has_every_message_after_the_handshake() -> None:
    def name(message: dict[str, Any]) -> str:
        return f"event-{message['event']}" if "event" in message else str(message["type"])

    found = {name(case["message"]) for case in vectors("stream")["cases"]}
    listed = {row[0].strip("`") for row in table("messages")}
    assert found == listed - {"hello", "welcome", "proof"}


def test_configuration_digest() -> None:
    found = vectors("stream")
    body, *_ = (
        bytes.fromhex(case["body"])
        for case in found["cases"]
        if case["message"]["type"] == "configure"
    )
    assert hashlib.sha256(body).hexdigest() == found["configuration_sha256"]


@pytest.mark.parametrize("case", vectors("points")["cases"], ids=lambda case: str(case["name"]))
def test_points_frames(case: dict[str, Any]) -> None:
    body = bytes.fromhex(case["body"])
    head = read("points", body[:-4])
    points = bytes.fromhex(head.pop("points"))
    assert head == {
        "kind": 1,
        "count": len(case["points"]),
        "trajectory": case["trajectory"],
        "first_index": case["first_index"],
    }
    assert zlib.crc32(body[:-4]).to_bytes(4, "big") == body[-4:]
    found = [read("point", points[k : k + 24]) for k in range(0, len(points), 24)]
    assert found == case["points"]
    frame = read("frame", bytes.fromhex(case["frame"]))
    assert frame["body"] == case["body"]
    assert int(frame["number"], 16) == case["number"]
    assert mac(case["key"], 0, 1, bytes.fromhex(frame["number"]) + body) == frame["tag"]


@pytest.mark.parametrize("case", vectors("image")["frames"], ids=lambda case: str(case["name"]))
def test_image_frames(case: dict[str, Any]) -> None:
    body = bytes.fromhex(case["body"])
    assert read("image-frame", body[:-4]) == {
        "kind": 2, "count": len(case["data"]) // 2, "offset": case["offset"], "data": case["data"]
    }  # fmt: skip
    assert zlib.crc32(body[:-4]).to_bytes(4, "big") == body[-4:]
    frame = read("frame", bytes.fromhex(case["frame"]))
    assert frame["body"] == case["body"]
    assert int(frame["number"], 16) == case["number"]
    assert mac(case["key"], 0, 1, bytes.fromhex(frame["number"]) + body) == frame["tag"]


def test_image_header_and_its_signature() -> None:
    found = vectors("image")
    header, image = bytes.fromhex(found["header"]), bytes.fromhex(found["image"])
    assert len(header) == 100
    assert read("image-header", header) == {
        "label": b"unisono.image.v1".hex(),
        "board": found["board"],
        "firmware": found["firmware"],
        "size": len(image),
        "sha256": hashlib.sha256(image).hexdigest(),
    }
    secret = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(found["secret_key"]))
    public = secret.public_key()
    assert public.public_bytes_raw().hex() == found["public_key"]
    assert secret.sign(header).hex() == found["signature"]
    public.verify(bytes.fromhex(found["signature"]), header)
    assert [bytes.fromhex(one["data"]) for one in found["frames"][:2]] == [
        image[:2048],
        image[2048:],
    ]


@pytest.mark.parametrize("case", vectors("ntp")["cases"])
def test_bare_ntp(case: dict[str, Any]) -> None:
    nothing = "0" * 16
    request = read("packet", bytes.fromhex(case["request"]))
    assert request == {
        "first": case["version"] << 3 | 3, "stratum": 0, "poll": 0, "precision": -20,
        "root_delay": 0, "root_dispersion": 0, "reference_id": "00000000",
        "reference": nothing, "origin": nothing, "receive": nothing, "transmit": case["transmit"],
    }  # fmt: skip
    assert_reply(case["reply"], case["version"], case["transmit"], case)


def assert_reply(data: str, version: int, origin: str, case: dict[str, Any]) -> None:
    assert read("packet", bytes.fromhex(data)) == {
        "first": version << 3 | 4, "stratum": 1, "poll": 0, "precision": -20,
        "root_delay": 0, "root_dispersion": 0, "reference_id": b"UNIS".hex(),
        "reference": stamp(case["receive_us"]), "origin": origin,
        "receive": stamp(case["receive_us"]), "transmit": stamp(case["transmit_us"]),
    }  # fmt: skip


def assert_mac(data: bytes, key: str, direction: int) -> None:
    end = read("mac", data[-20:])
    assert end["key_identifier"] == 1
    assert end["tag"] == mac(key, direction, 2, data[:-16])


@pytest.mark.parametrize("case", vectors("drive")["cases"], ids=lambda case: str(case["name"]))
def test_drives(case: dict[str, Any]) -> None:
    data = bytes.fromhex(case["bytes"])
    assert len(data) == 188
    packet = read("packet", data[:48])
    assert (packet["first"], packet["transmit"]) == (0x23, case["transmit"])
    field = read("field", data[48:168])
    assert (field["type"], field["length"]) == (0xF001, 120)
    assert read("drive", bytes.fromhex(field["value"])) == case["fields"]
    assert_mac(data, case["key"], 0)


@pytest.mark.parametrize("case", vectors("status")["cases"], ids=lambda case: str(case["name"]))
def test_statuses(case: dict[str, Any]) -> None:
    data = bytes.fromhex(case["bytes"])
    assert len(data) == 160
    assert_reply(data[:48].hex(), 4, case["origin"], case)
    field = read("field", data[48:140])
    assert (field["type"], field["length"]) == (0xF002, 92)
    value = bytes.fromhex(field["value"])
    assert read("status", value[:88]) == case["fields"]
    assert_mac(data, case["key"], 1)


def test_drives_show_every_mode_flag_and_kind_of_stop() -> None:
    fields = [case["fields"] for case in vectors("drive")["cases"]]
    assert {one["mode"] for one in fields} == {int(row[0]) for row in table("modes")}
    for row in table("drive-flags"):
        assert {one["flags"] >> int(row[0]) & 1 for one in fields} == {0, 1}
    assert len({one["stop"] for one in fields}) >= 3


@pytest.mark.parametrize("case", vectors("malformed")["cases"], ids=lambda c: str(c["name"]))
def test_malformed_cases_have_codes_that_the_page_names(case: dict[str, Any]) -> None:
    assert f"`{case['code']}`" in README


@pytest.mark.parametrize(
    "case",
    [c for c in vectors("malformed")["cases"] if c["what"] in ("drive", "status")],
    ids=lambda c: str(c["name"]),
)
def test_malformed_datagrams_have_a_right_tag_unless_they_say_otherwise(
    case: dict[str, Any],
) -> None:
    data = bytes.fromhex(case["bytes"])
    direction = 0 if case["what"] == "drive" else 1
    right = len(data) >= 20 and data[-20:-16] == b"\0\0\0\1"
    right = right and mac(case["key"], direction, 2, data[:-16]) == data[-16:].hex()
    assert right == (case["code"] not in {"mac-missing", "tag-wrong"})


# The law of motion


class Table:
    """README.md, the ramp: rate linear in time, path by trapezoids."""

    def __init__(self, rows: list[list[int]]) -> None:
        self.rows = [(float(time), ppm / 1e6) for time, ppm in rows]

    def rate(self, time: float) -> float:
        for (t1, s1), (t2, s2) in pairwise(self.rows):
            if time <= t2:
                return s1 + (s2 - s1) * (max(time, 0.0) - t1) / (t2 - t1)
        return 1.0

    def time(self, rate: float) -> float:
        for (t1, s1), (t2, s2) in pairwise(self.rows):
            if rate <= s2:
                return t1 + (t2 - t1) * (rate - s1) / (s2 - s1)
        raise AssertionError(f"rate {rate} lies beyond the table")

    def path(self, time: float) -> float:
        total = 0.0
        for (t1, s1), (t2, _) in pairwise(self.rows):
            end = min(time, t2)
            if end <= t1:
                break
            total += (end - t1) * 0.5 * (s1 + self.rate(end))
        return total


RAMP = vectors("ramp")
TABLE = Table(RAMP["rows"])


def course(change: dict[str, int], arm: float) -> tuple[float, float]:
    """README.md, course: path time and rate at an arm time."""
    before, after = change["before_ppm"] / 1e6, change["after_ppm"] / 1e6
    elapsed, start, end = arm - change["at_us"], TABLE.time(before), TABLE.time(after)
    length = abs(end - start)
    if elapsed <= 0:
        return change["path_us"] + elapsed * before, before
    inside = min(elapsed, length)
    if after >= before:
        gained, rate = TABLE.path(start + inside) - TABLE.path(start), TABLE.rate(start + inside)
    else:
        gained, rate = TABLE.path(start) - TABLE.path(start - inside), TABLE.rate(start - inside)
    return change["path_us"] + gained + (elapsed - inside) * after, rate


def test_ramp_rows_follow_the_formula() -> None:
    ratio, rows = RAMP["v_over_a_s"], [(0, 0)]
    for k in range(1, 33):
        exact = math.sqrt((1 - 0.2 ** (k / 32)) / 0.8)
        ppm = 1_000_000 if k == 32 else math.floor(exact * 1e6)
        piece = (ppm - rows[-1][1]) / 1e6 * ratio / (1 - 0.8 * (ppm / 1e6) ** 2)
        rows.append((rows[-1][0] + math.ceil(piece * 1e6), ppm))
    assert [list(row) for row in rows] == RAMP["rows"]


EXACT_US, EXACT_RATE = 0.01, 1e-8
"""As near as doubles come to each other: the files themselves are not off by what is permitted."""


def test_tolerances_of_the_files_are_the_errors_that_the_page_permits() -> None:
    constants = {row[0]: float(row[1]) for row in table("constants")}
    for name in ("ramp", "course"):
        assert vectors(name)["tolerance_us"] == constants["PATH_ERROR_US"] > EXACT_US
        assert vectors(name)["tolerance_rate"] > EXACT_RATE
    assert vectors("clock")["tolerance_us"] == constants["CLOCK_ERROR_US"]


def test_ramp_values() -> None:
    assert RAMP["duration_us"] == RAMP["rows"][-1][0]
    assert TABLE.path(RAMP["duration_us"]) == pytest.approx(RAMP["path_us"], abs=EXACT_US)
    for case in RAMP["cases"]:
        rate, path = TABLE.rate(case["time_us"]), TABLE.path(case["time_us"])
        assert rate == pytest.approx(case["rate"], abs=EXACT_RATE)
        assert path == pytest.approx(case["path_us"], abs=EXACT_US)


@pytest.mark.parametrize("case", vectors("course")["cases"])
def test_courses(case: dict[str, Any]) -> None:
    change, us, rates = case["change"], EXACT_US, EXACT_RATE
    path, rate = course(change, case["settled_us"])
    assert path == pytest.approx(case["settled_path_us"], abs=us)
    assert rate == pytest.approx(change["after_ppm"] / 1e6, abs=rates)
    for one in case["at"]:
        path, rate = course(change, one["arm_us"])
        assert path == pytest.approx(one["path_us"], abs=us)
        assert rate == pytest.approx(one["rate"], abs=rates)
    for one in case["when"]:
        if one["arm_us"] is None:
            rests_behind = change["before_ppm"] == 0 and one["path_us"] < change["path_us"]
            assert rests_behind
        else:
            assert course(change, one["arm_us"])[0] == pytest.approx(one["path_us"], abs=us)
    fall = case["fall"]
    path, rate = course(change, fall["arm_us"])
    assert path == pytest.approx(fall["permit_us"], abs=us)
    assert rate == pytest.approx(fall["rate"], abs=rates)
    down = TABLE.time(fall["rate"])
    assert fall["arm_us"] + down == pytest.approx(fall["rest_us"], abs=us)
    assert fall["permit_us"] + TABLE.path(down) == pytest.approx(fall["rest_path_us"], abs=us)


def test_clock_maps() -> None:
    found, us = vectors("clock"), EXACT_US

    def by(clock_map: dict[str, int], joint: float) -> float:
        run = 1 + clock_map["rate_ppb"] / 1e9
        return clock_map["arm_us"] + (joint - clock_map["joint_us"]) / run

    in_use, remainder, since = found["first_map"], 0.0, 0.0
    for case in found["cases"]:
        taken = case["taken_joint_us"]
        left = math.copysign(max(0.0, abs(remainder) - (taken - since) * 200e-6), remainder)
        shown = by(in_use, taken) + left
        in_use, since = case["map"], taken
        remainder = 0.0 if case["at_rest"] else shown - by(in_use, taken)
        for reading in case["readings"]:
            gone = (reading["joint_us"] - taken) * 200e-6
            left = math.copysign(max(0.0, abs(remainder) - gone), remainder)
            assert left == pytest.approx(reading["remainder_us"], abs=us)
            arm = by(in_use, reading["joint_us"]) + left
            assert arm == pytest.approx(reading["arm_us"], abs=us)


def test_clock_file_shows_both_signs_a_jump_and_a_remainder_that_ends() -> None:
    cases = vectors("clock")["cases"]
    left = [reading["remainder_us"] for case in cases for reading in case["readings"]]
    assert min(left) < 0 < max(left)
    assert any(case["at_rest"] for case in cases)
    assert any(case["readings"][0]["remainder_us"] and not case["readings"][-1]["remainder_us"]
               for case in cases)  # fmt: skip


def test_law_in_whole_numbers_is_word_for_word_that_of_the_page() -> None:
    found, rows = vectors("fixedpoint"), RAMP["rows"]
    paths, doubled = [0], 0
    for (t1, r1), (t2, r2) in pairwise(rows):
        doubled += (r2 + r1) * (t2 - t1)
        paths.append(doubled * 128 // 10**6)
    assert paths == found["paths"]

    def path(x: int) -> Any:
        k = max(k for k in range(len(rows) - 1) if 256 * rows[k][0] <= x)
        (t1, r1), (t2, r2) = rows[k], rows[k + 1]
        y = x - 256 * t1
        return paths[k] + y * (512 * r1 + y * (r2 - r1) // (t2 - t1)) // (512 * 10**6)

    def time(r: int) -> Any:
        k = max(k for k in range(len(rows) - 1) if rows[k][1] <= r)
        (t1, r1), (t2, r2) = rows[k], rows[k + 1]
        return 256 * t1 + (r - r1) * 256 * (t2 - t1) // (r2 - r1)

    for case in found["ramp"]:
        assert path(case["time"]) == case["path"]
        latest = case["time_of_path"]
        assert path(latest) == case["path"]
        assert latest == 256 * rows[-1][0] or path(latest + 1) > case["path"]
    for case in found["times"]:
        assert time(case["ppm"]) == case["time"]
    for case in found["courses"]:
        change = case["change"]
        begin, end = time(change["before_ppm"]), time(change["after_ppm"])
        at, start = 256 * change["at_us"], 256 * change["path_us"]
        assert (case["begin"], case["end"]) == (begin, end)
        assert case["settled"] == at + abs(end - begin)
        assert case["settled_path"] == start + abs(path(end) - path(begin))
        for one in case["at"]:
            e = one["arm"] - at
            if e <= 0:
                expected = start + e * change["before_ppm"] // 10**6
            elif e >= abs(end - begin):
                rest = e - abs(end - begin)
                expected = case["settled_path"] + rest * change["after_ppm"] // 10**6
            else:
                x = begin + e if end > begin else begin - e
                expected = start + abs(path(x) - path(begin))
            assert one["path"] == expected
        fall = case["fall"]
        assert fall["rest"] == fall["arm"] + fall["begin"]
        assert fall["rest_path"] == fall["permit"] + path(fall["begin"])
    maps = {case["map"]["number"]: case for case in vectors("clock")["cases"]}
    for case in found["clock"]:
        used, taken = maps[case["map_number"]]["map"], maps[case["map_number"]]["taken_joint_us"]
        d, ppb = case["joint"] - 256 * used["joint_us"], used["rate_ppb"]
        arm = 256 * used["arm_us"] + d - d * ppb // (10**9 + ppb)
        assert case["arm"] - arm == case["remainder"]
        # A few units: turning round a rounded number.
        assert abs(case["joint_again"] - case["joint"]) <= 2
        exact = [
            r for r in maps[case["map_number"]]["readings"] if 256 * r["joint_us"] == case["joint"]
        ]
        assert case["remainder"] / 256 == pytest.approx(exact[0]["remainder_us"], abs=0.02)
        assert taken * 256 <= case["joint"]


def test_middle_of_the_home_sensor() -> None:
    for case in vectors("middle")["cases"]:
        middle = math.floor((case["rising"] + case["falling"] + 1) / 2)
        assert (case["middle"], case["shift"]) == (middle, case["home"] - middle)
        turn, lost = case["counts_per_turn"], case["lost"]
        assert (case["shift"] - lost) % turn == 0
        assert -turn <= 2 * lost < turn
    doubled = [case["rising"] + case["falling"] for case in vectors("middle")["cases"]]
    assert any(one % 2 and one < 0 for one in doubled)
    assert any(one % 2 and one > 0 for one in doubled)


@pytest.mark.parametrize("case", vectors("segments")["cases"], ids=lambda case: str(case["name"]))
def test_segments(case: dict[str, Any]) -> None:
    """README.md, segment check, word for word."""
    found = vectors("segments")
    a, b = case["a"], case["b"]
    h = (b["time_us"] - a["time_us"]) / 1e6
    slope, v0, v1 = (b["position"] - a["position"]) / h, a["velocity"], b["velocity"]
    a0, a1 = (6 * slope - 4 * v0 - 2 * v1) / h, (-6 * slope + 2 * v0 + 4 * v1) / h
    velocity, acceleration = max(abs(v0), abs(v1)), max(abs(a0), abs(a1))
    if a0 * a1 < 0:
        u = a0 / (a0 - a1)
        velocity = max(velocity, abs(v0 + a0 * h * u / 2))
    assert velocity == pytest.approx(case["peak_velocity"], rel=found["tolerance"])
    assert acceleration == pytest.approx(case["peak_acceleration"], rel=found["tolerance"])
    assert 1.5 / h + 1 == pytest.approx(case["allowance_velocity"], rel=found["tolerance"])
    assert 6 / h**2 + 3 / h == pytest.approx(case["allowance_acceleration"], rel=1e-9)
    limit_v, limit_a = found["velocity"], 0.8 * found["acceleration"]
    refused = None
    if h < 0.001:
        refused = "spacing"
    elif velocity > limit_v + 1.5 / h + 1 or max(abs(v0), abs(v1)) > limit_v + 1:
        refused = "velocity"
    elif acceleration > limit_a + 6 / h**2 + 3 / h or abs(v1 - v0) > limit_a * h + 1:
        refused = "acceleration"
    assert refused == case["refused"]
