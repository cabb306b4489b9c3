"""What must be refused, as vectors/malformed.json has it, sealed by the keys of the session.

What joints read of that file is played here but for frames that end the stream, which `frames` has.
What coordinators read (statuses, welcomes, reports) cannot be.
"""

import json
import re
from collections.abc import Callable
from importlib import resources
from typing import Any, Final

from coordinator.conform.bench import Bench
from coordinator.conform.check import Make, Section, equal
from coordinator.conform.stream import opened, require_reject, send
from protocol import ntp
from protocol.drive import REQUEST_BYTES
from protocol.image import IMAGE_FRAME, SIGNATURE_BYTES
from protocol.keys import TAG_BYTES, Channel, Direction, tag
from protocol.messages import Update, encode
from protocol.points import POINTS_FRAME

ANSWERED: Final = Section("what-is-answered")
MESSAGES: Final = Section("messages")
POINTS_FRAMES: Final = Section("points-frame")
OPENINGS: Final = Section("handshake")
UPDATE: Final = Section("update")
_OF_IMAGES: Final = (b'"type":"update"', b'"type":"install"')


def _cases() -> list[dict[str, Any]]:
    text = resources.files("protocol").joinpath("vectors/malformed.json").read_text("utf-8")
    found: list[dict[str, Any]] = json.loads(text)["cases"]
    return found


def _datagram(data: bytes, code: str) -> Make:
    async def make(bench: Bench) -> None:
        talk, changed = bench.talk, bytearray(data)
        if len(data) == REQUEST_BYTES:
            talk.sequence += 1
            changed[52:64] = talk.session.to_bytes(8) + talk.sequence.to_bytes(4)
        if code != "tag-wrong" and len(data) > ntp.PACKET_BYTES + TAG_BYTES:
            message = bytes(changed[:-TAG_BYTES])
            found = tag(talk.to_joint, Direction.TO_JOINT, Channel.DATAGRAM, message)
            changed[-TAG_BYTES:] = found
        await talk.refused(bytes(changed))

    return make


def _body(body: bytes, code: str) -> Make:
    async def make(bench: Bench) -> None:
        takes_images = bench.welcome.welcome.capabilities.board is not None
        expected = code
        # By its first byte it is no frame that it knows, and then it is no JSON either.
        if code.startswith("frame-"):
            known = (POINTS_FRAME, IMAGE_FRAME) if takes_images else (POINTS_FRAME,)
            expected = code if body[0] in known else "message-invalid"
        elif not takes_images and any(kind in body for kind in _OF_IMAGES):
            expected = "message-unknown"
        before = await bench.talk.drive()
        equal("reject", expected, await bench.talk.ask(body))
        after = await bench.talk.drive()
        equal(
            "state, trajectory and next index as before",
            (before.state, before.trajectory, before.next_index),
            (after.state, after.trajectory, after.next_index),
        )

    return make


def _header(header: bytes, code: str) -> Make:
    update = encode(Update(header=header.hex(), signature="00" * SIGNATURE_BYTES))
    return _body(update, code)


def _opening(text: str, code: str) -> Make:
    async def make(bench: Bench) -> None:
        socket = await opened(bench.place)
        await send(socket, text)
        await require_reject(socket, code)

    return make


def _slug(name: str) -> str:
    return re.sub("[^a-z0-9]+", "-", name.lower()).strip("-")[:40].strip("-") or "empty"


def _add_all() -> None:
    taken: set[str] = set()

    def add(section: Section, what: str, name: str, sentence: str, make: Make) -> None:
        slug = f"vector-{what}-{_slug(name)}"
        if slug in taken:
            slug += f"-{sum(one.startswith(slug) for one in taken) + 1}"
        taken.add(slug)
        section.add(slug, sentence, make)

    makers: dict[str, tuple[Section, Callable[[bytes, str], Make], str]] = {
        "points": (POINTS_FRAMES, _body, "Points, {name}: rejected with {code}."),
        "image": (UPDATE, _body, "A frame of an image, {name}: rejected with {code}."),
        "image-header": (UPDATE, _header, "A header with {name}: rejected with {code}."),
        "request": (MESSAGES, _body, "Request, {name}: rejected with {code}."),
        "drive": (ANSWERED, _datagram, "Drive, {name}: no reply, and nothing changes."),
    }
    for case in _cases():
        what, name, code = case["what"], case["name"], case["code"]
        data = bytes.fromhex(case["bytes"])
        if what == "opening":
            sentence = f"Before the proof, {name}: rejected with {code}."
            add(OPENINGS, what, name, sentence, _opening(data.decode(), code))
        elif what in makers and data and name != "a bare request":
            section, maker, sentence = makers[what]
            told = sentence.format(name=name or "nothing", code=code)
            add(section, what, name, told, maker(data, code))


_add_all()
