"""From the files of golden vectors to questions, in their order."""

import json
from collections.abc import Iterator
from importlib import resources
from typing import Any

from coordinator.conform.check import Wrong
from coordinator.conform.vectors.motion import motion_questions
from coordinator.conform.vectors.question import Question, exactly, member, refusing
from protocol.drive import REQUEST_BYTES
from protocol.image import HEADER_BYTES


def read(name: str) -> Any:
    """One file of golden vectors."""
    text = resources.files("protocol").joinpath(f"vectors/{name}.json").read_text("utf-8")
    return json.loads(text)


def questions() -> list[Question]:
    """All that a joint's functions can be asked."""
    return [
        *_keys(),
        *_handshake(),
        *_stream(),
        *_points(),
        *_image(),
        *_datagrams(),
        *_malformed(),
        *motion_questions(read),
    ]


def _keys() -> Iterator[Question]:
    found = read("keys")
    text = found["key_file"]["text"].encode().hex()
    yield Question(
        "keys key_file", "key-file", {"text": text}, exactly(key=found["key_file"]["key"])
    )
    for k, case in enumerate(found["tags"], 1):
        given = {name: case[name] for name in ("key", "direction", "channel", "message")}
        yield Question(f"keys tags {k}", "tag", given, exactly(tag=case["tag"]))
    for k, case in enumerate(found["hkdf"], 1):
        given = {name: case[name] for name in ("key", "salt", "info", "length")}
        yield Question(f"keys hkdf {k}", "hkdf", given, exactly(output=case["output"]))


def _handshake() -> Iterator[Question]:
    found = read("handshake")
    hello, welcome, proof = (json.loads(found[name]) for name in ("hello", "welcome", "proof"))
    transcript = found["transcript"]
    given = {
        "coordinator_nonce": hello["nonce"],
        "joint_nonce": welcome["nonce"],
        "coordinator_id": hello["coordinator"],
        "joint_id": welcome["id"],
        "boot": welcome["boot"],
        "session": hello["session"],
    }
    yield Question("handshake transcript", "transcript", given, exactly(transcript=transcript))
    for message in (hello, proof):
        body = found[message["type"]].encode().hex()
        name = f"handshake {message['type']}"
        yield Question(name, "opening", {"body": body}, exactly(message=message))
    arm_key = {"arm_key": found["arm_key"], "transcript": transcript}
    for case in found["proofs"]:
        given = {**arm_key, "direction": case["direction"]}
        name = f"handshake proofs {case['direction']}"
        yield Question(name, "proof", given, exactly(proof=case["proof"]))
    keys = {}
    for case in found["keys"]:
        where = case["channel"], case["direction"]
        keys[where] = case["key"]
        given = {**arm_key, "channel": where[0], "direction": where[1]}
        name = f"handshake keys {where[0]} {where[1]}"
        yield Question(name, "session-key", given, exactly(key=case["key"]))
    frame = found["ack_frame"]
    given = {"key": keys[1, 1], "direction": 1, "number": 1, "body": frame[48:]}
    yield Question("handshake ack_frame", "frame-seal", given, exactly(frame=frame))


def _filled(message: dict[str, Any]) -> dict[str, Any]:
    """A request with its defaults."""
    if message.get("type") == "blink":
        return {"seconds": 5, **message}
    if isinstance(message.get("configuration"), dict):
        configuration = {"outputs_off": None, "idle_current": None, **message["configuration"]}
        return {**message, "configuration": configuration}
    return message


def _request(expected: dict[str, Any]) -> Any:
    def judge(answer: dict[str, Any]) -> None:
        came = member(answer, "message")
        filled = _filled(came) if isinstance(came, dict) else came
        exactly(message=_filled(expected))({"message": filled})

    return judge


def _report(expected: dict[str, Any]) -> Any:
    def judge(answer: dict[str, Any]) -> None:
        body = member(answer, "body")
        try:
            came = json.loads(bytes.fromhex(body))
        except (ValueError, TypeError):
            raise Wrong("a body of JSON in hex", f"{body!r}"[:160]) from None
        exactly(message=expected)({"message": came})

    return judge


def _stream() -> Iterator[Question]:
    found = read("stream")
    digest: str | None = found["configuration_sha256"]
    for k, case in enumerate(found["cases"], 1):
        message, body, number = case["message"], case["body"], case["number"]
        name = f"stream cases {k}"
        sealed = {"key": case["key"], "direction": case["direction"]}
        if case["direction"]:
            given = {**sealed, "number": number, "body": body}
            yield Question(f"{name} seal", "frame-seal", given, exactly(frame=case["frame"]))
            yield Question(f"{name} report", "report", {"message": message}, _report(message))
            continue
        given = {**sealed, "frame": case["frame"]}
        yield Question(f"{name} open", "frame-open", given, exactly(number=number, body=body))
        yield Question(f"{name} request", "request", {"body": body}, _request(message))
        if message["type"] == "configure" and digest is not None:
            yield Question(f"{name} digest", "digest", {"body": body}, exactly(digest=digest))
            digest = None


def _points() -> Iterator[Question]:
    for k, case in enumerate(read("points")["cases"], 1):
        name, body = f"points cases {k}", case["body"]
        judge = exactly(
            trajectory=case["trajectory"], first_index=case["first_index"], points=case["points"]
        )
        yield Question(f"{name} body", "points", {"body": body}, judge)
        given = {"key": case["key"], "direction": 0, "frame": case["frame"]}
        judge = exactly(number=case["number"], body=body)
        yield Question(f"{name} open", "frame-open", given, judge)


def _image() -> Iterator[Question]:
    found = read("image")
    names = ("board", "firmware", "size_bytes", "sha256")
    judge = exactly(**{name: found[name] for name in names})
    yield Question("image header", "image-header", {"header": found["header"]}, judge)
    signed = {name: found[name] for name in ("public_key", "header", "signature")}
    yield Question("image signature", "image-signature", signed, exactly(signed=True))
    for k, case in enumerate(found["frames"], 1):
        name, body = f"image frames {k}", case["body"]
        judge = exactly(offset=case["offset"], data=case["data"])
        yield Question(f"{name} body", "image", {"body": body}, judge)
        given = {"key": case["key"], "direction": 0, "frame": case["frame"]}
        judge = exactly(number=case["number"], body=body)
        yield Question(f"{name} open", "frame-open", given, judge)


def _datagrams() -> Iterator[Question]:
    for k, case in enumerate(read("ntp")["cases"], 1):
        given = {name: case[name] for name in ("request", "receive_us", "transmit_us")}
        yield Question(f"ntp cases {k}", "ntp", given, exactly(reply=case["reply"]))
    for k, case in enumerate(read("drive")["cases"], 1):
        judge = exactly(transmit=case["transmit"], fields=case["fields"])
        given = {"key": case["key"], "bytes": case["bytes"]}
        yield Question(f"drive cases {k}", "drive", given, judge)
    for k, case in enumerate(read("status")["cases"], 1):
        names = ("key", "origin", "receive_us", "transmit_us", "fields")
        given = {name: case[name] for name in names}
        yield Question(f"status cases {k}", "status", given, exactly(bytes=case["bytes"]))


def _malformed() -> Iterator[Question]:
    for k, case in enumerate(read("malformed")["cases"], 1):
        what, data, code = case["what"], case["bytes"], case["code"]
        name, judge = f"malformed cases {k}", refusing(code)
        if what == "drive":
            # Whoever looks at the length first drops it unread.
            if len(data) != 2 * REQUEST_BYTES:
                judge = refusing(code, "dropped")
            yield Question(name, "drive", {"key": case["key"], "bytes": data}, judge)
        elif what == "frame":
            given = {"key": case["key"], "direction": 0, "frame": data}
            yield Question(name, "frame-open", given, judge)
        elif what == "image-header":
            yield Question(name, what, {"header": data}, judge)
        elif what == "image-signature":
            header, signature = data[: 2 * HEADER_BYTES], data[2 * HEADER_BYTES :]
            given = {"public_key": case["key"], "header": header, "signature": signature}
            yield Question(name, what, given, judge)
        elif what in ("points", "image", "request", "opening"):
            yield Question(name, what, {"body": data}, judge)
