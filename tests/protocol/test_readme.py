"""README.md says what the code does: constants, codes, names and numbers of the wire."""

import ast
import inspect
import re
from enum import IntEnum

import pytest
from pydantic import BaseModel

from protocol import constants, ntp, segments
from protocol.configuration import Homing
from protocol.discovery import Announcement
from protocol.drive import DRIVE_BYTES, FIELD_DRIVE, REQUEST_BYTES, Mode, StopLevel
from protocol.export.outputs import HERE, MESSAGES, VECTORS
from protocol.export.readme import fill
from protocol.keys import KEY_IDENTIFIER, NONCE_BYTES, TAG_BYTES, Channel, Direction
from protocol.messages import Report, Request, schema_name
from protocol.rejects import REJECTS
from protocol.states import JointState, Trigger, mermaid
from protocol.status import FIELD_STATUS, REPLY_BYTES, STATUS_BYTES, Fault, Reason
from simulator.joint import endpoint, maps
from tests.protocol.pages import README, block, rows, table


def test_the_page_names_its_version_and_no_stop_an_emergency_stop() -> None:
    assert README.splitlines()[0].endswith(f"version {constants.PROTOCOL_VERSION}")
    assert README.count("safety-rated emergency stop") == 2
    assert "**Nothing is encrypted.**" in README


def test_state_diagram_is_the_table_of_transitions() -> None:
    assert block("states") == f"```mermaid\n{mermaid()}\n```"


def test_triggers_are_explained() -> None:
    assert dict(rows(block("triggers"))) == {one.name.lower(): one.value for one in Trigger}


def test_reject_codes_are_exactly_those_of_the_code() -> None:
    assert {code.strip("`"): text for code, text in rows(block("rejects"))} == REJECTS


def enum_rows(name: str) -> dict[int, str]:
    return {int(row[0]): row[1] for row in table(name)}


@pytest.mark.parametrize(
    ("name", "enum"),
    [("modes", Mode), ("stops", StopLevel), ("reasons", Reason), ("state-numbers", JointState)],
)
def test_numbers_and_names_of_an_enum_are_those_of_the_code(name: str, enum: type[IntEnum]) -> None:
    words = {int(one): one.name.lower().replace("_", "-") for one in enum}
    assert enum_rows(name) == words


def test_faults_are_those_of_the_code() -> None:
    words = {one.bit_length() - 1: (one.name or "").lower().replace("_", "-") for one in Fault}
    assert enum_rows("faults") == words


def test_stop_categories_are_those_of_the_design() -> None:
    """IEC 60204-1 §9.2.2: 0 removes power at once, 1 after a controlled stop, 2 keeps it."""
    assert [row[3] for row in table("stops")] == ["", "2", "1", "0"]


def test_constants_are_exactly_those_of_the_code() -> None:
    everything: dict[str, object] = {**vars(constants)}
    named = {
        name: value
        for name, value in everything.items()
        if name.isupper() and not isinstance(value, str) and name not in {"PPM", "US"}
    }
    listed = {row[0]: float(row[1]) if "." in row[1] else int(row[1]) for row in table("constants")}
    assert listed == named


def test_names_of_service_subprotocol_and_path_are_those_of_the_code() -> None:
    assert f"`{constants.SERVICE_TYPE.removesuffix('.local.')}`" in README
    assert README.count(f"`{constants.SUBPROTOCOL}`") == 2
    assert len(constants.SUBPROTOCOL) == 16
    assert f"`{constants.STREAM_PATH}`" in README


def test_txt_keys_are_those_of_an_announcement() -> None:
    listed = [row[0].strip("`") for row in table("txt")]
    assert listed == list(Announcement("0" * 12, "1", 1).txt())


def test_messages_and_their_ways_are_those_of_the_code() -> None:
    listed = {row[0].strip("`"): row[1] for row in table("messages")}
    ways: dict[type[BaseModel], str] = {Request: "to joint", Report: "to coordinator"}
    assert listed == {
        schema_name(message): way
        for message in MESSAGES
        for base, way in ways.items()
        if issubclass(message, base)
    }


def test_vector_files_are_listed() -> None:
    assert {row[0].strip("`") for row in table("vectors")} == {f"{name}.json" for name in VECTORS}


def test_figures_in_the_text_are_those_of_the_code() -> None:
    """Numbers that stand in sentences, each with the words around it."""
    for words in (
        f"0x{FIELD_DRIVE:04X} with the drive ({ntp.field_bytes(DRIVE_BYTES)})",
        f"0x{FIELD_STATUS:04X} with the status ({ntp.field_bytes(STATUS_BYTES)})",
        f"key identifier (4) ‖ tag ({TAG_BYTES})     {REQUEST_BYTES} bytes",
        f"key identifier (4) ‖ tag ({TAG_BYTES})     {REPLY_BYTES} bytes",
        f"it has exactly {REQUEST_BYTES} bytes",
        f"its own length says {ntp.field_bytes(DRIVE_BYTES)} |",
        f"of the whole field: {ntp.field_bytes(DRIVE_BYTES)} or {ntp.field_bytes(STATUS_BYTES)}",
        f"drive ({DRIVE_BYTES} bytes), or status ({STATUS_BYTES} bytes",
        f"{Direction.TO_JOINT:d} to the joint, {Direction.TO_COORDINATOR:d} to the coordinator",
        f"{Channel.STREAM:d} stream,\n{Channel.DATAGRAM:d} datagrams",
        f"| u32 | key_identifier | {int.from_bytes(KEY_IDENTIFIER)} |",
        f"| 0 | {NONCE_BYTES} | bytes | coordinator_nonce |",
        f"ASCII `{ntp.REFERENCE_ID.decode()}`",
        f"(joint time in µs + {ntp.BOOT_EPOCH_S * constants.US})·2³²",
        f"h is at least {segments.MIN_SPACING_US / constants.US}",
        f"whole frame at most {constants.MAX_FRAME_BYTES}",
        f"by {constants.SLEW_PPM} µs for every second",
        f"beyond ±{constants.REMAINDER_LIMIT_US} µs",
        f"rate {constants.ADVANCE_RATE_PPM / constants.PPM} and back to rest",
        f"rate after at least {constants.RATE_MIN_PPM} ppm",
        f"no valid drive for {constants.SILENCE_US / constants.US} s",
        f"not heard for {constants.RELEASE_SESSION_US // constants.US} s",
        f"allows {constants.HANDSHAKE_TIMEOUT_US // constants.US} s",
        f"each {constants.ACTIVE_INTERVAL_US // 1000} ms",
        f"each {constants.IDLE_INTERVAL_US // 1000} ms",
        f"| count | 1 to {constants.MAX_POINTS_PER_FRAME} |",
    ):
        flat = " ".join(words.replace("\n", " ").split())
        assert flat in " ".join(README.split()), words


def test_figures_that_joints_keep_are_those_of_the_software_joint() -> None:
    text = " ".join(README.split())
    assert f"at most {endpoint.KEPT_EVENTS}, the oldest dropped first" in text
    assert f"and {endpoint.MAX_UNPROVEN} that have not proved anything" in text
    assert f"passes ±{maps.MAP_RATE_PPB} ppb" in text
    assert maps.MAP_SPAN_US == 2**47
    assert "more than 2⁴⁷ µs" in text
    assert f"within {constants.PATH_TOLERANCE_US} µs" in text
    assert f"{constants.PATH_TOLERANCE_US} µs (PATH_TOLERANCE_US)" in text


def codes_raised() -> set[str]:
    """First arguments of every WireError made in protocol, from its syntax trees."""
    found = set()
    for path in HERE.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in {"WireError", "DatagramError", "FrameError", "HandshakeError"}
                and isinstance(node.args[0], ast.Constant)
            ):
                found.add(str(node.args[0].value))
    return found


def test_every_code_that_the_code_raises_is_on_the_page() -> None:
    codes = codes_raised()
    assert len(codes) > 10
    assert [code for code in sorted(codes) if f"`{code}`" not in README] == []


def test_every_code_that_the_software_joint_rejects_with_is_known() -> None:
    folder = HERE.parent / "simulator" / "joint"
    made = set()
    for path in folder.glob("*.py"):
        made |= set(re.findall(r"(?:Refusal|HandshakeError)\(\s*\"([a-z-]+)\"", path.read_text()))
    assert len(made) > 20
    assert made <= set(REJECTS)


def test_links_within_the_page_lead_somewhere() -> None:
    anchors = {
        re.sub(r"[^a-z0-9 -]", "", line.lstrip("# ").lower()).replace(" ", "-")
        for line in README.splitlines()
        if line.startswith("#")
    }
    links = set(re.findall(r"\]\(#([a-z-]+)\)", README))
    assert links
    assert links <= anchors


def test_a_missing_marker_is_named() -> None:
    with pytest.raises(ValueError, match="'triggers'"):
        fill(README.replace("<!-- end: triggers -->", ""))


def test_configuration_rules_name_fields_that_exist() -> None:
    assert {"direction", "home", "backoff", "travel"} <= set(Homing.model_fields)
    for name in re.findall(r"`homing\.([a-z_]+)`", README):
        assert name in inspect.get_annotations(Homing)
