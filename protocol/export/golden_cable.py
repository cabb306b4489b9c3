"""Golden vectors of the cable: frames with noise around them, and answers (CABLE.md)."""

from protocol.cable import requests
from protocol.cable.frames import MAX_BODY_BYTES, Decoder, Frame, encode
from protocol.cable.requests import ANSWER, REFUSED, Kind, Refusal
from protocol.export.golden_bytes import Vectors

_KEY = bytes(range(0x40, 0x60))
_SENT = {
    "who are you": Frame(Kind.WHO, 1),
    "set the network": Frame(Kind.SET_WIFI, 2, requests.wifi_body(b"greenhouse", "pricking out")),
    "set an open network": Frame(Kind.SET_WIFI, 3, requests.wifi_body(b"bench", "")),
    "set the longest network": Frame(
        Kind.SET_WIFI, 4, requests.wifi_body(b"\xfe\xc5" * 16, "0123456789abcdef" * 4)
    ),
    "set the key": Frame(Kind.SET_KEY, 5, requests.key_body(_KEY)),
    "set the name": Frame(Kind.SET_NAME, 6, requests.name_body("elbow")),
    "forget, first": Frame(Kind.FORGET, 7, requests.forget_body(0)),
    "forget, then": Frame(Kind.FORGET, 8, requests.forget_body(0xC0FFEE)),
    "how is the network": Frame(Kind.WIFI, 9),
    "restart": Frame(Kind.RESTART, 255),
    "set the key that signs updates": Frame(Kind.SET_UPDATE_KEY, 10, requests.key_body(_KEY[::-1])),
}
_ID = bytes.fromhex("0a1b2c3d4e5f")
_ANSWERED = {
    "a bare board": Frame(
        Kind.WHO | ANSWER, 1, b"\x01" + _ID + bytes.fromhex("00c0ffee") + b"\0\x011\0\0\0"
    ),
    "a board that has all": Frame(
        Kind.WHO | ANSWER,
        1,
        b"\x01" + _ID + b"\xff\xff\xff\xff\x01\x051.4.0\x0agreenhouse\x05elbow\0",
    ),
    "a board that takes updates": Frame(
        Kind.WHO | ANSWER,
        1,
        b"\x01" + _ID + b"\xff\xff\xff\xff\x01\x051.4.0\x0agreenhouse\x05elbow\x01",
    ),
    "the longest answer": Frame(
        Kind.WHO | ANSWER,
        0,
        b"\x01" + _ID + b"\0\0\0\x01\x01\x20" + b"~" * 32 + b"\x20" + b"\xff" * 32
        + b"\x20" + b"a" * 32 + b"\0",
    ),
    "done": Frame(Kind.SET_KEY | ANSWER, 5),
    "sure?": Frame(Kind.FORGET | ANSWER, 7, requests.forget_body(0xC0FFEE)),
    "forgotten": Frame(Kind.FORGET | ANSWER, 8, requests.forget_body(0)),
    "no network": Frame(Kind.WIFI | ANSWER, 9, bytes(7)),
    "connected": Frame(Kind.WIFI | ANSWER, 9, b"\x02\0\xc0\0\x02\x07\xc4"),
    "no such network": Frame(Kind.WIFI | ANSWER, 9, b"\x03\x01" + bytes(5)),
    **{
        f"refused, {code.name.lower().replace('_', '-')}": Frame(REFUSED, 5, bytes((code,)))
        for code in Refusal
    },
}  # fmt: skip


def cable_vectors() -> Vectors:
    """Frames with their bytes, and bytes with noise and the frames that are found in them."""
    who, key = encode(_SENT["who are you"]), encode(_SENT["set the key"])
    wrong = who[:-1] + bytes((who[-1] ^ 1,))
    streams = {
        "text before and behind": b"boot: rom \xc3\xa9\r\n" + who + b"\r\nready\r\n",
        "a frame that is cut, and the next": who[:7] + who,
        "a long frame that is cut, and three that end it": key[:20] + who * 3,
        "a wrong CRC": wrong + who,
        "a frame within the body of a wrong one": key[:8] + who + key[8:],
        "syncs without a frame": b"\xfe\xfe\xc5\xfe\xc5\xff" + who,
        "a body too long": b"\xfe\xc5" + bytes((MAX_BODY_BYTES + 1, 254 - MAX_BODY_BYTES)) + who,
        "two at once": who + key,
        "cut by a pause": key[:20],
    }
    return {
        "about": "Frames of the cable (CABLE.md). `streams` has bytes and the frames that a reader "
        "finds in them: `found` at once, `after_pause` by a pause at their end. Bytes are hex.",
        "frames": [
            {"name": name, **_fields(frame), "bytes": encode(frame).hex()}
            for name, frame in {**_SENT, **_ANSWERED}.items()
        ],
        "streams": [_stream(name, data) for name, data in streams.items()],
    }


def _fields(frame: Frame) -> dict[str, object]:
    return {"kind": frame.kind, "number": frame.number, "body": frame.body.hex()}


def _stream(name: str, data: bytes) -> dict[str, object]:
    decoder = Decoder()
    found, after = decoder.feed(data), decoder.pause()
    return {
        "name": name,
        "bytes": data.hex(),
        "found": [_fields(frame) for frame in found],
        "after_pause": [_fields(frame) for frame in after],
    }
