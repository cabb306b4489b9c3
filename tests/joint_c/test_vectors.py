"""The golden vectors of the wire, and what must be refused, answered by the joint in C."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.joint_c.asking import Vectors

FOLDER = Path(__file__).parents[2] / "protocol" / "vectors"
KEYED = ("keys", "handshake", "stream", "points", "ntp", "drive", "status", "image", "malformed")
FILES: dict[str, Any] = {name: json.loads((FOLDER / f"{name}.json").read_text()) for name in KEYED}


def hexed(text: str) -> str:
    return text.encode().hex()


def test_reads_the_key_file(vectors: Vectors) -> None:
    file = FILES["keys"]["key_file"]
    assert vectors.ask("key-file", text=hexed(file["text"])) == {"key": file["key"]}


@pytest.mark.parametrize("place", range(len(FILES["keys"]["tags"])))
def test_makes_the_tag(vectors: Vectors, place: int) -> None:
    case = dict(FILES["keys"]["tags"][place])
    tag = case.pop("tag")
    assert vectors.ask("tag", **case) == {"tag": tag}


@pytest.mark.parametrize("place", range(len(FILES["keys"]["hkdf"])))
def test_derives_the_hkdf_output(vectors: Vectors, place: int) -> None:
    case = dict(FILES["keys"]["hkdf"][place])
    output = case.pop("output")
    assert vectors.ask("hkdf", **case) == {"output": output}


def test_makes_the_transcript_of_the_handshake(vectors: Vectors) -> None:
    file = FILES["handshake"]
    hello, welcome = json.loads(file["hello"]), json.loads(file["welcome"])
    answer = vectors.ask(
        "transcript",
        coordinator_nonce=hello["nonce"],
        joint_nonce=welcome["nonce"],
        coordinator_id=hello["coordinator"],
        joint_id=welcome["id"],
        boot=welcome["boot"],
        session=hello["session"],
    )
    assert answer == {"transcript": file["transcript"]}


@pytest.mark.parametrize("direction", [0, 1])
def test_makes_the_proof_of_each_direction(vectors: Vectors, direction: int) -> None:
    file = FILES["handshake"]
    [proof] = [one["proof"] for one in file["proofs"] if one["direction"] == direction]
    answer = vectors.ask(
        "proof", arm_key=file["arm_key"], direction=direction, transcript=file["transcript"]
    )
    assert answer == {"proof": proof}


@pytest.mark.parametrize("place", range(4))
def test_derives_the_key_of_each_channel_and_direction(vectors: Vectors, place: int) -> None:
    file = FILES["handshake"]
    key = file["keys"][place]
    answer = vectors.ask(
        "session-key",
        arm_key=file["arm_key"],
        channel=key["channel"],
        direction=key["direction"],
        transcript=file["transcript"],
    )
    assert answer == {"key": key["key"]}


@pytest.mark.parametrize("message", ["hello", "proof"])
def test_reads_the_openings_of_the_handshake(vectors: Vectors, message: Any) -> None:
    text = FILES["handshake"][message]
    assert vectors.ask("opening", body=hexed(text)) == {"message": json.loads(text)}


def test_writes_the_welcome_of_the_handshake(vectors: Vectors) -> None:
    welcome = json.loads(FILES["handshake"]["welcome"])
    assert json.loads(bytes.fromhex(vectors.ask("report", message=welcome)["body"])) == welcome


def test_seals_the_first_frame_of_the_handshake(vectors: Vectors) -> None:
    file = FILES["handshake"]
    [key] = [one["key"] for one in file["keys"] if (one["channel"], one["direction"]) == (1, 1)]
    body = vectors.ask("report", message={"type": "ack", "ref": 0})["body"]
    answer = vectors.ask("frame-seal", key=key, direction=1, number=1, body=body)
    assert answer == {"frame": file["ack_frame"]}


@pytest.mark.parametrize("place", range(len(FILES["stream"]["cases"])))
def test_seals_and_opens_every_frame_of_the_stream(vectors: Vectors, place: int) -> None:
    case = FILES["stream"]["cases"][place]
    way = {"key": case["key"], "direction": case["direction"]}
    sealed = vectors.ask("frame-seal", **way, number=case["number"], body=case["body"])
    assert sealed == {"frame": case["frame"]}
    opened = vectors.ask("frame-open", **way, frame=case["frame"])
    assert opened == {"number": case["number"], "body": case["body"]}


def of_direction(direction: int) -> list[int]:
    return [
        place
        for place, case in enumerate(FILES["stream"]["cases"])
        if case["direction"] == direction
    ]


def with_defaults(message: dict[str, Any]) -> dict[str, Any]:
    """A request as the joint understands it: with what may be left out."""
    if message["type"] == "blink":
        return {"seconds": 5, **message}
    if message["type"] == "configure":
        return {
            **message,
            "configuration": {
                "outputs_off": None,
                "idle_current": None,
                **message["configuration"],
            },
        }
    return message


@pytest.mark.parametrize("place", of_direction(0))
def test_reads_every_request_of_the_stream(vectors: Vectors, place: int) -> None:
    case = FILES["stream"]["cases"][place]
    assert vectors.ask("request", body=case["body"]) == {"message": with_defaults(case["message"])}


def in_ascii(message: Any) -> Any:
    """A report as this joint words it: it has ASCII alone, and is asked for nothing else."""
    text = json.dumps(message, ensure_ascii=False)
    return json.loads(text.encode("ascii", "replace"))


@pytest.mark.parametrize("place", of_direction(1))
def test_writes_every_report_of_the_stream(vectors: Vectors, place: int) -> None:
    message = in_ascii(FILES["stream"]["cases"][place]["message"])
    assert json.loads(bytes.fromhex(vectors.ask("report", message=message)["body"])) == message


def test_makes_the_digest_of_the_first_configuration(vectors: Vectors) -> None:
    file = FILES["stream"]
    body = next(case["body"] for case in file["cases"] if case["message"]["type"] == "configure")
    assert vectors.ask("digest", body=body) == {"digest": file["configuration_sha256"]}


@pytest.mark.parametrize("place", range(len(FILES["points"]["cases"])))
def test_reads_points_in_their_frame(vectors: Vectors, place: int) -> None:
    case = FILES["points"]["cases"][place]
    answer = vectors.ask("points", body=case["body"])
    assert answer == {name: case[name] for name in ("trajectory", "first_index", "points")}
    opened = vectors.ask("frame-open", key=case["key"], direction=0, frame=case["frame"])
    assert opened == {"number": case["number"], "body": case["body"]}


def test_reads_the_header_of_an_image(vectors: Vectors) -> None:
    file = FILES["image"]
    wanted = {name: file[name] for name in ("board", "firmware", "size_bytes", "sha256")}
    assert vectors.ask("image-header", header=file["header"]) == wanted


@pytest.mark.parametrize("place", range(len(FILES["image"]["frames"])))
def test_reads_a_part_of_an_image_in_its_frame(vectors: Vectors, place: int) -> None:
    case = FILES["image"]["frames"][place]
    answer = vectors.ask("image", body=case["body"])
    assert answer == {name: case[name] for name in ("offset", "data")}
    opened = vectors.ask("frame-open", key=case["key"], direction=0, frame=case["frame"])
    assert opened == {"number": case["number"], "body": case["body"]}


@pytest.mark.parametrize("place", range(len(FILES["ntp"]["cases"])))
def test_answers_a_bare_request(vectors: Vectors, place: int) -> None:
    case = FILES["ntp"]["cases"][place]
    given = {name: case[name] for name in ("request", "receive_us", "transmit_us")}
    assert vectors.ask("ntp", **given) == {"reply": case["reply"]}


@pytest.mark.parametrize("case", FILES["drive"]["cases"], ids=lambda case: case["name"])
def test_reads_a_drive(vectors: Vectors, case: dict[str, Any]) -> None:
    answer = vectors.ask("drive", key=case["key"], bytes=case["bytes"])
    assert answer == {"transmit": case["transmit"], "fields": case["fields"]}


@pytest.mark.parametrize("case", FILES["status"]["cases"], ids=lambda case: case["name"])
def test_seals_a_status(vectors: Vectors, case: dict[str, Any]) -> None:
    given = {name: case[name] for name in ("key", "origin", "receive_us", "transmit_us", "fields")}
    assert vectors.ask("status", **given) == {"bytes": case["bytes"]}


# What a coordinator reads is refused by a coordinator.
READ = {
    case["what"] + ": " + case["name"]: case
    for case in FILES["malformed"]["cases"]
    if case["what"] in ("drive", "frame", "points", "image", "image-header", "request", "opening")
}


@pytest.mark.parametrize("name", READ)
def test_refuses_what_is_malformed_with_the_code(vectors: Vectors, name: str) -> None:
    case = READ[name]
    if case["what"] == "drive":
        answer = vectors.ask("drive", key=case["key"], bytes=case["bytes"])
    elif case["what"] == "frame":
        answer = vectors.ask("frame-open", key=case["key"], direction=0, frame=case["bytes"])
    elif case["what"] == "image-header":
        answer = vectors.ask("image-header", header=case["bytes"])
    else:
        answer = vectors.ask(case["what"], body=case["bytes"])
    assert answer == {"code": case["code"]}
