"""Update by the bytes of the stream: what a welcome says, answers, events, and what is dropped."""

import pytest

from protocol.image import ImageFrame, encode_image_frame
from protocol.messages import Ack, Install, Reject, Updating, Welcome
from simulator.joint.endpoint import Endpoint, StreamOut
from simulator.joint.images import BOARD, ImageStore
from simulator.joint.joint import Joint
from tests.protocol.pages import vectors
from tests.simulator.joint.rig import IDENTITY
from tests.simulator.joint.signing import (
    CAPACITY,
    announcing,
    data_of,
    frames_of,
    header_of,
    store,
)
from tests.simulator.joint.test_endpoint import KEY, Peer, welcomed

DATA = data_of(1)
HEADER = header_of(DATA)
SHA = HEADER.sha256.hex()


def connected(images: ImageStore | None) -> tuple[Peer, Welcome]:
    if images is not None:
        images.restart()
    peer = Peer(Endpoint(Joint(IDENTITY, images=images), KEY))
    welcome = welcomed(peer.hello(1))
    peer.connect(1, welcome)
    return peer, welcome


def code(answers: list[object]) -> str:
    [reject] = answers
    assert isinstance(reject, Reject)
    return reject.code


def installed(images: ImageStore) -> Peer:
    peer, _ = connected(images)
    peer.request(announcing(HEADER))
    for frame in frames_of(DATA):
        peer.send(encode_image_frame(frame))
    assert isinstance(peer.request(Install())[0], Ack)
    return peer


def test_welcome_says_what_is_taken_and_what_runs() -> None:
    images = store()
    welcome = connected(images)[1]
    assert (welcome.capabilities.board, welcome.capabilities.image_capacity) == (BOARD, CAPACITY)
    assert (welcome.image, welcome.on_trial) == (None, False)
    installed(images)
    peer, welcome = connected(images)
    assert (welcome.image, welcome.on_trial) == (SHA, True)
    assert peer.exchange() is not None
    welcome = connected(images)[1]
    assert (welcome.image, welcome.on_trial) == (SHA, False)


def test_joint_that_takes_none_says_so_and_knows_nothing_of_images() -> None:
    peer, welcome = connected(None)
    assert (welcome.capabilities.board, welcome.capabilities.image_capacity) == (None, 0)
    assert code(peer.request(announcing(HEADER))) == "message-unknown"
    assert code(peer.request(Install())) == "message-unknown"
    # Its type comes before its fields, which such a joint cannot know.
    assert code(peer.send(b'{"type":"update","header":"00"}')) == "message-unknown"
    assert code(peer.send(b'{"type":"install","now":true}')) == "message-unknown"
    assert code(peer.send(b'{"type":"install","type":"install"}')) == "message-invalid"
    assert code(peer.send(encode_image_frame(ImageFrame(0, b"a")))) == "message-invalid"


def test_ack_comes_before_what_is_kept_and_each_frame_is_answered() -> None:
    peer, _ = connected(store())
    ack, event = peer.request(announcing(HEADER))
    assert isinstance(ack, Ack)
    assert event == Updating(image=SHA, received=0)
    for ref, frame in enumerate(frames_of(DATA)[:3], start=2):
        assert peer.send(encode_image_frame(frame)) == [Ack(ref=ref)]
    assert code(peer.send(encode_image_frame(ImageFrame(6_145, b"a")))) == "image-gap"
    _, event = peer.request(announcing(HEADER))
    assert event == Updating(image=SHA, received=4_096)


@pytest.mark.parametrize(
    "case",
    [one for one in vectors("malformed")["cases"] if one["what"] == "image"],
    ids=lambda case: str(case["name"]),
)
def test_malformed_frame_is_refused_before_anything_else(case: dict[str, str]) -> None:
    peer, _ = connected(store())
    assert peer.exchange(energise=True) is not None
    data = bytes.fromhex(case["bytes"])
    wanted = case["code"] if data[0] == 2 else "message-invalid"  # kind 3 is no frame of an image
    assert code(peer.send(data)) == wanted


@pytest.mark.parametrize(
    "case",
    [one for one in vectors("malformed")["cases"] if one["what"] == "image-header"],
    ids=lambda case: str(case["name"]),
)
def test_malformed_header_is_refused_before_anything_else(case: dict[str, str]) -> None:
    peer, _ = connected(store())
    assert peer.exchange(energise=True) is not None
    update = announcing(HEADER).model_copy(update={"header": case["bytes"]})
    assert code(peer.request(update)) == "message-invalid"


def test_image_of_the_vectors_is_installed() -> None:
    found = vectors("image")
    images = ImageStore(bytes.fromhex(found["public_key"]), board=found["board"])
    peer, _ = connected(images)
    body = f'{{"type":"update","header":"{found["header"]}","signature":"{found["signature"]}"}}'
    assert isinstance(peer.send(body.encode())[0], Ack)
    for case in found["frames"][:2]:
        assert isinstance(peer.send(bytes.fromhex(case["body"]))[0], Ack)
    assert isinstance(peer.request(Install())[0], Ack)
    welcome = connected(images)[1]
    assert (welcome.image, welcome.on_trial) == (found["sha256"], True)


def test_joint_that_is_about_to_restart_answers_no_frame_and_no_drive() -> None:
    peer = installed(store())
    assert peer.endpoint.joint.restarts
    _, frame = peer.sealer.seal(b'{"type":"blink"}')
    assert peer.endpoint.stream_frame(peer.stream, frame, peer.now) == StreamOut()
    assert peer.exchange(energise=True) is None
    assert peer.endpoint.streams == (1,)
