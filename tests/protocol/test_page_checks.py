"""What README.md says is checked, and in which order: the page against vectors and code."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from coordinator.config.data_folder import make_key, read_key
from protocol.export.golden_bytes import CONFIGURATION
from protocol.points import Point, PointsFrame
from simulator import port
from simulator.joint import endpoint
from simulator.joint.buffer import PointBuffer
from tests.protocol.pages import README, read, table, vectors
from tests.protocol.test_vectors import mac

Bytes = Callable[[bytes, str], bool]


def fits_type(data: bytes, kind: int, length: int) -> bool:
    return data[48:52] == kind.to_bytes(2, "big") + length.to_bytes(2, "big")


def has_drive_values(data: bytes, _key: str) -> bool:
    drive = read("drive", data[52:168])
    flags = drive["flags"]
    rates = (drive["change_before_ppm"], drive["change_after_ppm"])
    return (
        drive["mode"] in (int(row[0]) for row in table("modes"))
        and drive["stop"] in (int(row[0]) for row in table("stops"))
        and flags < 1 << len(table("drive-flags"))
        and not (flags & 8 and (not flags & 4 or max(rates) > 1_000_000))
        and not (flags & 2 and abs(drive["map_rate_ppb"]) > 1_000_000)
        and all(abs(drive[name]) < 2**53 for name in long_fields(flags))
    )


def long_fields(flags: int) -> list[str]:
    """The 64-bit fields of a drive that its flags say are there."""
    by_flag = {
        2: ["map_arm_us", "map_joint_us"],
        4: ["stand_us"],
        8: ["change_at_us", "change_path_us"],
        16: ["permit_us"],
        32: ["expiry_us"],
        64: ["jog_target"],
    }
    numbers = {row[3] for row in table("drive") if row[2] == "i64"}
    assert {name for names in by_flag.values() for name in names} == numbers
    return [name for flag, names in by_flag.items() if flags & flag for name in names]


CHECKS: dict[int, Bytes] = {
    4: lambda data, _: len(data) >= 20 and data[-20:-16] == bytes((0, 0, 0, 1)),
    5: lambda data, key: mac(key, 0, 2, data[:-16]) == data[-16:].hex(),
    6: lambda data, _: len(data) - 20 >= 48,
    7: lambda data, _: 1 <= data[0] >> 3 & 7 <= 4 and data[0] & 7 == 3,
    8: lambda data, _: len(data) - 20 >= 48 + 120,
    9: lambda data, _: fits_type(data, 0xF001, 120),
    10: lambda data, _: len(data) == 188,
    11: has_drive_values,
}


def first_code(data: bytes, key: str) -> str | None:
    for number, _, code in table("datagram-checks"):
        check = CHECKS.get(int(number))
        if check is not None and not check(data, key):
            return code.strip("`")
    return None


def drives_refused() -> list[dict[str, Any]]:
    return [case for case in vectors("malformed")["cases"] if case["what"] == "drive"]


@pytest.mark.parametrize("case", drives_refused(), ids=lambda case: str(case["name"]))
def test_datagram_checks_in_the_order_of_the_page_give_the_codes_of_the_vectors(
    case: dict[str, Any],
) -> None:
    assert first_code(bytes.fromhex(case["bytes"]), case["key"]) == case["code"]


def test_every_golden_drive_passes_the_checks_of_the_page() -> None:
    for case in vectors("drive")["cases"]:
        assert first_code(bytes.fromhex(case["bytes"]), case["key"]) is None


def test_directions_and_channels_of_the_page_are_those_of_the_vectors() -> None:
    rows = {row[0]: (row[3], row[4]) for row in table("directions")}
    shake = vectors("handshake")
    keys = {key["key"]: (str(key["direction"]), str(key["channel"])) for key in shake["keys"]}
    assert rows["request with a drive"] == keys[vectors("drive")["cases"][0]["key"]]
    assert rows["reply with a status"] == keys[vectors("status")["cases"][0]["key"]]
    assert rows["stream frame to the joint"] == keys[vectors("points")["cases"][0]["key"]]
    events = [one for one in vectors("stream")["cases"] if one["message"]["type"] == "event"]
    assert rows["stream frame to the coordinator"] == keys[events[0]["key"]]
    proofs = {case["proof"]: str(case["direction"]) for case in shake["proofs"]}
    for name in ("welcome", "proof"):
        (one,) = (proof for proof in proofs if proof in shake[name])
        assert rows[f"proof in `{name}`"] == (proofs[one], "")


def test_key_file_of_the_vectors_is_read_as_its_key(tmp_path: Path) -> None:
    found = vectors("keys")["key_file"]
    made = make_key(tmp_path)
    assert len(made.read_text()) == len(found["text"])
    assert made.read_text().endswith("\n")
    made.write_text(found["text"])
    assert read_key(tmp_path) == bytes.fromhex(found["key"]) == bytes(range(0x40, 0x60))
    made.write_text(f"\n {found['text'].upper()}\n")
    assert read_key(tmp_path).hex() == vectors("handshake")["arm_key"]


def test_points_wrong_in_many_ways_are_refused_for_the_first_that_the_page_names() -> None:
    # Each frame mends what the one before was refused for.
    buffer, limits = PointBuffer(3), CONFIGURATION
    assert limits.range_high is not None
    far, wild = limits.range_high + 1_000_000, 2**31 - 1
    first = Point(0, 0, 0)

    def refused(trajectory: int, index: int, *points: Point) -> str:
        found = buffer.take(PointsFrame(trajectory, index, points), limits)
        return found.code if found else "taken"

    wrong = Point(5, far, wild, last=True, output_mask=1)
    assert refused(0, 9, *[wrong] * 4) == "message-invalid"
    assert refused(7, 9, *[wrong] * 4) == "points-gap"
    assert refused(7, 0, *[wrong] * 4) == "buffer-full"
    assert refused(7, 0, wrong) == "first-point"
    assert refused(7, 0, first, Point(0, far, wild, last=True, output_mask=1)) == "point-order"
    assert refused(7, 0, first, wrong) == "last-moving"
    assert refused(7, 0, first, Point(5, far, wild, output_mask=1)) == "output-in-motion"
    assert refused(7, 0, first, Point(5, far, wild)) == "range"
    assert refused(7, 0, first, Point(5, 0, wild)) == "segment"
    assert refused(7, 0, first, Point(100_000, 0, 0, last=True)) == "taken"
    assert refused(8, 9, wrong) == "trajectory-loaded"
    assert refused(7, 0, first) == "taken"  # known already
    assert refused(7, 2, wrong) == "after-last"


def test_figures_of_stream_and_homing_are_those_of_the_software_joint() -> None:
    flat = " ".join(README.split())
    for words in (
        f"with {port.MAX_FRAMES_OUT} frames unsent",
        f"one every {port.PING_S:.0f} s",
        f"{endpoint.MAX_UNPROVEN} that have not proved anything",
    ):
        assert words in flat, words
