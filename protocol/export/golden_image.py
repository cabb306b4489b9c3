"""Golden vectors of firmware images: a header, its signature, and frames (README.md, "Update")."""

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from protocol.export.golden_bytes import KEYS, Vectors
from protocol.frames import FrameSealer
from protocol.image import ImageFrame, describe, encode_header, encode_image_frame
from protocol.keys import Channel, Direction

_SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(0x60, 0x80)))
PUBLIC_KEY = _SECRET.public_key().public_bytes_raw()
OTHER_KEY = Ed25519PrivateKey.from_private_bytes(bytes(32)).public_key().public_bytes_raw()
IMAGE = bytes(k * 7 & 0xFF for k in range(2500))
HEADER = describe("bench-joint", "1.5.0", IMAGE)
SIGNATURE = _SECRET.sign(encode_header(HEADER))
FRAMES = {
    "the first": ImageFrame(0, IMAGE[:2048]),
    "the last": ImageFrame(2048, IMAGE[2048:]),
    "one byte, at the largest offset": ImageFrame(0xFFFFFFFF, b"\xff"),
}


def image_vectors() -> Vectors:
    """A signed header and frames of its image."""
    sealer = FrameSealer(KEYS[Channel.STREAM, Direction.TO_JOINT], Direction.TO_JOINT)
    cases: list[Vectors] = []
    for name, frame in FRAMES.items():
        body = encode_image_frame(frame)
        number, sealed = sealer.seal(body)
        cases.append(
            {
                "name": name,
                "offset": frame.offset,
                "data": frame.data.hex(),
                "body": body.hex(),
                "key": KEYS[Channel.STREAM, Direction.TO_JOINT].hex(),
                "number": number,
                "frame": sealed.hex(),
            }
        )
    return {
        "about": "A firmware image, its header and what signs that, and frames that carry images. "
        "The secret half of the key is here for tests only.",
        "secret_key": _SECRET.private_bytes_raw().hex(),
        "public_key": PUBLIC_KEY.hex(),
        "board": HEADER.board,
        "firmware": HEADER.firmware,
        "size_bytes": HEADER.size_bytes,
        "sha256": HEADER.sha256.hex(),
        "header": encode_header(HEADER).hex(),
        "signature": SIGNATURE.hex(),
        "image": IMAGE.hex(),
        "frames": cases,
    }
