"""Firmware over the stream to the joint in C: on real sockets, with what may be wrong."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from coordinator.cable.conversation import Conversation
from coordinator.cable.port import Port
from protocol.cable import requests
from protocol.cable.requests import Kind
from protocol.image import ImageFrame, encode_image_frame
from protocol.messages import Install, encode
from tests.joint_c.asking import Vectors
from tests.joint_c.test_vectors import FOLDER
from tests.joint_c.updated import (
    NEW,
    OLD,
    SET_UP,
    Updated,
    bring_and_install,
    confirm,
    free_port,
    require_told,
    set_up,
)
from tests.joint_c.updating import Gone, Rejected, Signed, Stream, signed, stream
from tests.reference.rfc_vectors import ED25519

IMAGE = json.loads((FOLDER / "image.json").read_text())
MALFORMED = json.loads((FOLDER / "malformed.json").read_text())["cases"]
WRONG = [case for case in MALFORMED if case["what"] == "image-signature"]


# ---- the seam of signatures ---------------------------------------------------------------


def ask_signature(vectors: Vectors, key: bytes, message: bytes, signature: bytes) -> Any:
    return vectors.ask(
        "image-signature",
        public_key=key.hex(),
        header=message.hex(),
        signature=signature.hex(),
    )


def test_signature_of_the_golden_header_is_right(vectors: Vectors) -> None:
    key, header, signature = (
        bytes.fromhex(IMAGE[name]) for name in ("public_key", "header", "signature")
    )
    assert ask_signature(vectors, key, header, signature) == {"signed": True}


@pytest.mark.parametrize("case", WRONG, ids=lambda case: case["name"])
def test_signature_that_is_not_right_is_refused(vectors: Vectors, case: dict[str, str]) -> None:
    data = bytes.fromhex(case["bytes"])
    answer = ask_signature(vectors, bytes.fromhex(case["key"]), data[:100], data[100:])
    assert answer == {"code": "image-signature"}


# RFC 8032 section 7.1.
@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_signatures_of_the_standard_are_right_and_no_others(
    vectors: Vectors, secret: str, public: str, message: bytes, signature: str
) -> None:
    key, right = bytes.fromhex(public), bytes.fromhex(signature)
    assert ask_signature(vectors, key, message, right) == {"signed": True}
    for wrong in (bytes((right[0] ^ 1,)) + right[1:], right[:-1] + bytes((right[-1] ^ 1,))):
        assert ask_signature(vectors, key, message, wrong) == {"code": "image-signature"}
    assert ask_signature(vectors, key, message + b"\0", right) == {"code": "image-signature"}


# ---- a board, and its joint ----------------------------------------------------------------


@pytest.fixture(name="board")
def board_that_is_set_up(joint_build: Path, memory: Path, tmp_path: Path) -> Updated:
    return Updated.copy_of(memory, joint_build, tmp_path / "bench")


@pytest.fixture(name="new")
def new_firmware(joint_build: Path) -> Signed:
    return signed((joint_build / "joint-next").read_bytes(), NEW)


@pytest.fixture(name="link")
def stream_to_a_joint(board: Updated) -> Iterator[Stream]:
    with board.power() as (_, port), stream(port) as link:
        yield link


def rejected(link: Stream, body: bytes) -> str:
    """The code with which a joint refuses a frame."""
    with pytest.raises(Rejected) as caught:
        link.do(body)
    return str(caught.value)


def test_new_firmware_comes_runs_on_trial_and_stays_once_it_answered_a_drive(
    board: Updated, new: Signed
) -> None:
    with board.power() as (one, port):
        board.require_kept(one, OLD)
        with stream(port) as link:
            require_told(link.welcome, None, on_trial=False)
            boot = link.welcome.boot
            assert link.announce(new) == 0
            link.bring_all(new, 0)
            assert link.announce(new) == len(new.data)
            link.install()
            assert link.closing_code() == 1001
        confirm(port, new)
        with stream(port) as link:
            assert link.welcome.boot != boot
        board.require_kept(one, NEW)
    with board.power() as (one, port):
        with stream(port) as link:
            require_told(link.welcome, new, on_trial=False)
        board.require_kept(one, NEW)


def test_update_of_an_update_takes_the_place_of_the_one_before_it(
    board: Updated, new: Signed, short: Signed, joint_build: Path
) -> None:
    """Three times: what came by the cable, then each of the two slots, has run."""
    again = signed(short.data + b"# again\n", NEW)
    with board.power() as (_, port):
        for image in (new, short, again):
            with stream(port) as link:
                bring_and_install(link, image)
            confirm(port, image)
    with board.power() as (_, port), stream(port) as link:
        require_told(link.welcome, again, on_trial=False)
        # What was replaced is kept no more: it would come from its first byte on.
        assert link.announce(short) == 0


def test_what_came_before_a_break_is_kept_and_another_image_begins_anew(
    board: Updated, new: Signed, short: Signed
) -> None:
    with board.power() as (one, port), stream(port) as link:
        link.announce(new)
        for _ in link.bring(new, 0, 100_000):
            pass
        assert link.announce(new) == 100_000
        one.pull()
    with board.power() as (_, port), stream(port) as link:
        frame = encode_image_frame(ImageFrame(100_000, b"\0"))
        assert rejected(link, frame) == "image-gap"  # it was not announced since the boot
        assert link.announce(new) == 100_000
        link.bring_all(new, 100_000)
        assert link.announce(short) == 0
        assert link.announce(new) == 0


def test_joint_says_what_is_wrong_with_an_update(link: Stream, short: Signed) -> None:
    late = signed(short.data, NEW, size=(64 << 20) + 1)
    forged = Signed(short.header, short.data, bytes(64))
    other = signed(short.data, NEW, board="esp32")
    assert rejected(link, encode(Install())) == "image-missing"
    assert rejected(link, encode_image_frame(ImageFrame(0, b"\0"))) == "image-gap"
    assert rejected(link, other.update) == "image-board"
    assert rejected(link, late.update) == "image-size"
    assert rejected(link, forged.update) == "image-signature"
    assert link.announce(short) == 0
    beyond = encode_image_frame(ImageFrame(0, short.data + b"\0"))
    assert rejected(link, beyond) == "image-gap"
    assert rejected(link, encode_image_frame(ImageFrame(1, b"\0"))) == "image-gap"
    broken = bytearray(encode_image_frame(ImageFrame(0, short.data)))
    broken[-1] ^= 1
    assert rejected(link, bytes(broken)) == "frame-crc"
    # Known bytes are ignored; of a frame that reaches further only the rest is taken.
    link.do(encode_image_frame(ImageFrame(0, short.data[:10])))
    link.do(encode_image_frame(ImageFrame(0, bytes(10))))
    assert rejected(link, encode(Install())) == "image-missing"
    link.do(encode_image_frame(ImageFrame(5, bytes(5) + short.data[10:])))
    assert link.announce(short) == len(short.data)
    link.install()


def test_image_that_is_not_what_was_signed_is_dropped(link: Stream, short: Signed) -> None:
    link.announce(short)
    link.do(encode_image_frame(ImageFrame(0, bytes(len(short.data)))))
    assert rejected(link, encode(Install())) == "image-wrong"
    assert rejected(link, encode(Install())) == "image-missing"
    assert link.announce(short) == 0
    link.bring_all(short, 0)
    link.install()


def test_update_that_could_not_be_begun_leaves_nothing_that_could_be_installed(
    board: Updated, short: Signed
) -> None:
    """It has emptied the slot whose bytes were hashed by then: none of them is there any more."""
    other = signed(short.data + b"# another\n", NEW)
    in_the_way = board.bench.memory / "updates.new"
    with board.power() as (_, port):
        with stream(port) as link:
            link.announce(short)
            link.bring_all(short, 0)
            in_the_way.mkdir()
            assert rejected(link, other.update) == "image-store"
            in_the_way.rmdir()
            assert (board.bench.memory / "slot-a").stat().st_size == 0
            assert rejected(link, encode(Install())) == "image-missing"
            assert rejected(link, encode_image_frame(ImageFrame(0, b"\0"))) == "image-gap"
            bring_and_install(link, short)
        confirm(port, short)


def test_image_whose_slot_cannot_be_opened_any_more_must_be_announced_again(
    link: Stream, board: Updated, short: Signed
) -> None:
    link.announce(short)
    link.bring_all(short, 0)
    slot = board.bench.memory / "slot-a"
    slot.unlink()
    slot.mkdir()
    assert rejected(link, short.update) == "image-store"
    slot.rmdir()
    assert rejected(link, encode(Install())) == "image-missing"
    assert link.announce(short) == 0


def test_nothing_comes_while_the_drivers_are_on(link: Stream, short: Signed) -> None:
    link.announce(short)
    link.drive(energise=True)
    frame = encode_image_frame(ImageFrame(0, short.data))
    for body in (short.update, frame, encode(Install())):
        assert rejected(link, body) == "energised"


def test_image_on_trial_takes_no_other_before_it_is_confirmed(
    board: Updated, short: Signed, new: Signed
) -> None:
    with board.power() as (_, port):
        with stream(port) as link:
            bring_and_install(link, short)
        with stream(port) as link:
            require_told(link.welcome, short, on_trial=True)
            assert rejected(link, new.update) == "on-trial"
            link.drive()
            assert link.announce(new) == 0


def test_restart_before_the_confirmation_brings_back_what_ran(
    board: Updated, short: Signed
) -> None:
    with board.power() as (one, port):
        with stream(port) as link:
            bring_and_install(link, short)
        with stream(port) as link:
            require_told(link.welcome, short, on_trial=True)
        board.require_kept(one, NEW)
        one.pull()
    with board.power() as (one, port):
        board.require_kept(one, OLD)
        with stream(port) as link:
            require_told(link.welcome, None, on_trial=False)
            assert link.announce(short) == 0  # what was tried and given up is kept no more
            bring_and_install(link, short)
        confirm(port, short)


@pytest.mark.parametrize(
    ("image", "watch"),
    [
        (b"#!/bin/sh\nexit 0\n", "130"),
        (b"#!/bin/sh\nexit 7\n", "130"),
        (b"#!/bin/sh\nkill -9 $$\n", "130"),
        (bytes(range(256)) * 20, "130"),
        (b"#!/bin/sh\nexec sleep 1000\n", "0.3"),
    ],
    ids=["ends", "fails", "is killed", "no program", "hangs"],
)
def test_image_that_never_answers_gives_way(board: Updated, image: bytes, watch: str) -> None:
    bad = signed(image, "unisono-joint-c bad")
    with board.power("--watch", watch) as (one, port):
        with stream(port) as link:
            bring_and_install(link, bad)
            assert link.closing_code() == 1001
        with stream(port) as link:
            require_told(link.welcome, None, on_trial=False)
        board.require_kept(one, OLD)


def test_image_that_ignores_its_network_gives_way(board: Updated, short: Signed) -> None:
    """It runs and is never asked, as it listens where nobody looks."""
    deaf = short.data.replace(b'"$@"', f'"$@" --stream-port {free_port()}'.encode())
    with board.power("--watch", "0.5") as (one, port):
        with stream(port) as link:
            bring_and_install(link, signed(deaf, NEW))
        with stream(port) as link:
            require_told(link.welcome, None, on_trial=False)
        board.require_kept(one, OLD)


def test_joint_without_the_key_that_signs_takes_no_image(
    joint_build: Path, tmp_path: Path, short: Signed
) -> None:
    memory = set_up(joint_build, tmp_path / "first")
    board = Updated.copy_of(memory, joint_build, tmp_path / "bench")
    with board.power() as (one, _), Port(one.port) as cable:
        # Forget all, and tell it again all but that key.
        sure = requests.read_forget(Conversation(cable).ask(Kind.FORGET, requests.forget_body(0)))
        Conversation(cable).ask(Kind.FORGET, requests.forget_body(sure))
        for kind, body in SET_UP[:-1]:
            Conversation(cable).do(kind, body)
    with board.power() as (one, port), stream(port) as link:
        assert not one.who().has_update_key
        capabilities = link.welcome.capabilities
        assert (capabilities.board, capabilities.image_capacity) == (None, 0)
        assert rejected(link, short.update) == "message-unknown"
        assert rejected(link, b'{"type":"update"}') == "message-unknown"
        assert rejected(link, encode(Install())) == "message-unknown"
        assert rejected(link, encode_image_frame(ImageFrame(0, b"\0"))) == "message-invalid"


def test_board_that_is_to_end_before_its_joint_has_begun_ends(board: Updated) -> None:
    """What ends the joint may not be lost between the two programs of its process."""
    with board.power("--boot-time", "1000") as (one, _):
        one.process.terminate()
        try:
            assert one.process.wait(10) == 0
        finally:
            one.pull()


def test_key_that_signs_is_told_by_the_cable_alone_and_only_once(board: Updated) -> None:
    with board.power() as (one, port), Port(one.port) as cable:
        with pytest.raises(Exception, match="key"):
            Conversation(cable).do(Kind.SET_UPDATE_KEY, bytes(32))
        with stream(port) as link:
            stranger = signed(b"x", NEW)
            assert link.announce(stranger) == 0


def test_power_that_is_gone_is_told_as_gone(board: Updated, new: Signed) -> None:
    with board.power() as (one, port), stream(port) as link:
        link.announce(new)
        one.pull()
        with pytest.raises(Gone):
            link.bring_all(new, 0)
