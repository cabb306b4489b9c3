"""New firmware, as far as nobody needs the key that signs it: what is announced, and every reject.

A joint that takes no images is held to what the page says of one. Nothing here is rightly signed,
so nothing can come of it but by a joint that does not look.
"""

import json
import secrets
from collections.abc import Awaitable, Callable
from importlib import resources
from typing import Final

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from coordinator.conform.bench import Bench
from coordinator.conform.check import Blocked, NotMade, Section, equal, require
from coordinator.conform.talk import LEASE_US
from protocol.drive import Mode, StopLevel
from protocol.image import (
    MAX_IMAGE_BYTES,
    SIGNATURE_BYTES,
    ImageFrame,
    ImageHeader,
    encode_header,
    encode_image_frame,
)
from protocol.messages import Capabilities, Clear, Install, Update
from protocol.states import JointState

UPDATE: Final = Section("update")
_LAST: Final = 2**32 - 1
"""An offset that is behind every byte which could be missing next."""


def _capabilities(bench: Bench) -> Capabilities:
    return bench.welcome.welcome.capabilities


def _code(bench: Bench, code: str) -> str:
    """How a request is rejected, by a joint that takes images or by one that knows of none."""
    return "message-unknown" if _capabilities(bench).board is None else code


def _header(bench: Bench, board: str = "", size: int = 1) -> bytes:
    """Of an image that nobody has."""
    found = board or _capabilities(bench).board or "none"
    return encode_header(ImageHeader(found, "conform", size, secrets.token_bytes(32)))


def _update(header: bytes, signature: bytes = bytes(SIGNATURE_BYTES)) -> Update:
    return Update(header=header.hex(), signature=signature.hex())


def _other_board(bench: Bench) -> str:
    return "another-board" if _capabilities(bench).board != "another-board" else "yet-another"


async def _drivers_off(bench: Bench) -> None:
    """At rest with drivers off, as every update must begin. Raises NotMade, Blocked."""
    talk = bench.talk
    if not (await talk.drive()).energised:
        return
    if not bench.target.may_move:
        raise NotMade("its drivers are on; without --moves they are not switched off")
    status = await talk.drive(stop=StopLevel.STOP_AND_RELEASE)
    await talk.drive()
    await talk.require(Clear())
    if status.energised:
        raise Blocked("its drivers are on after a stop of level 2")


@UPDATE.check("capabilities", "Who takes images says for which board, and how large they may be.")
async def capabilities(bench: Bench) -> None:
    found, welcome = _capabilities(bench), bench.welcome.welcome
    if found.board is None:
        equal("image_capacity", 0, found.image_capacity)
        equal("image, on_trial", (None, False), (welcome.image, welcome.on_trial))
        return
    require(found.image_capacity > 0, "room for an image", found.image_capacity)
    # Only a name that a header can carry is one.
    try:
        _header(bench)
    except ValueError:
        require(False, "a board of 1 to 16 of a-z, 0-9 and hyphen", repr(found.board))
    require(welcome.image is not None or not welcome.on_trial, "an image on trial", "none")


_Signed = Callable[[bytes], bytes]


def _vectors_key() -> Ed25519PrivateKey:
    text = resources.files("protocol").joinpath("vectors/image.json").read_text("utf-8")
    return Ed25519PrivateKey.from_private_bytes(bytes.fromhex(json.loads(text)["secret_key"]))


def _refused(make: Callable[[Bench], Update], code: str) -> Callable[[Bench], Awaitable[None]]:
    async def check(bench: Bench) -> None:
        await _drivers_off(bench)
        await bench.talk.require(make(bench), _code(bench, code))
        equal("events", [], bench.talk.stream.events)

    return check


def _too_large(bench: Bench) -> Update:
    size = _capabilities(bench).image_capacity + 1
    if size > MAX_IMAGE_BYTES:
        raise NotMade("it has room for every image that a header can name")
    return _update(_header(bench, size=size))


def _signed_by(key: Ed25519PrivateKey, bench: Bench) -> Update:
    header = _header(bench)
    return _update(header, key.sign(header))


for _name, _sentence, _make, _reject in (
    ("board", "An image for another board is rejected: image-board.",
     lambda bench: _update(_header(bench, _other_board(bench), MAX_IMAGE_BYTES)), "image-board"),
    ("size", "An image that is larger than it has room for is rejected: image-size.",
     _too_large, "image-size"),
    ("unsigned", "Zeros are no signature: image-signature.",
     lambda bench: _update(_header(bench)), "image-signature"),
    ("signature", "A signature by a key of nobody is rejected: image-signature.",
     lambda bench: _signed_by(Ed25519PrivateKey.generate(), bench), "image-signature"),
    ("published-key", "A signature by the published key of image.json: image-signature.",
     lambda bench: _signed_by(_vectors_key(), bench), "image-signature"),
    ("header-none", "A header that is none is message-invalid, whatever else is wrong.",
     lambda bench: _update(bytes(100)), "message-invalid"),
):  # fmt: skip
    UPDATE.add(_name, _sentence, _refused(_make, _reject))


@UPDATE.check("fields", "An update that lacks its signature is message-invalid.")
async def fields(bench: Bench) -> None:
    body = json.dumps({"type": "update", "header": _header(bench).hex()})
    await bench.talk.require(body.encode(), _code(bench, "message-invalid"))


async def _require_frame(bench: Bench, code: str) -> None:
    expected = "message-invalid" if _capabilities(bench).board is None else code
    frame = encode_image_frame(ImageFrame(_LAST, b"?"))
    equal("reject", expected, await bench.talk.ask(frame))


@UPDATE.check("gap", "A frame behind every byte that could be missing next is image-gap.")
async def gap(bench: Bench) -> None:
    await _drivers_off(bench)
    await _require_frame(bench, "image-gap")


@UPDATE.check("nothing", "An install without an image is rejected: image-missing.")
async def nothing(bench: Bench) -> None:
    await _drivers_off(bench)
    await bench.talk.require(Install(), _code(bench, "image-missing"))


@UPDATE.check("energised", "With drivers on, all three are rejected: energised.", moves=True)
async def energised(bench: Bench) -> None:
    talk = bench.talk
    await talk.until("drivers on", lambda s: s.energised, 2.0, energise=True)
    await talk.require(_update(_header(bench, _other_board(bench))), _code(bench, "energised"))
    await _require_frame(bench, "energised")
    await talk.require(Install(), _code(bench, "energised"))


@UPDATE.check("moving", "While it moves, all three are rejected: not-at-rest.", moves=True)
async def moving(bench: Bench) -> None:
    talk = bench.talk
    status = await talk.home()
    velocity = bench.inward(status.position) * bench.slow
    await bench.jogged(velocity)

    async def goes_on() -> None:
        status = await talk.drive(
            mode=Mode.JOG, energise=True, jog_velocity=velocity, within_us=LEASE_US
        )
        equal("state", JointState.JOGGING, status.state)

    await talk.require(_update(_header(bench, _other_board(bench))), _code(bench, "not-at-rest"))
    await goes_on()
    await _require_frame(bench, "not-at-rest")
    await goes_on()
    await talk.require(Install(), _code(bench, "not-at-rest"))
    await talk.rest()
