"""The largest message of each kind: it is lawful, nothing larger is, and it fits its frame."""

import math

import pytest
from pydantic import BaseModel, ValidationError

from protocol import largest
from protocol.constants import FIRST_PERMIT_US, MAX_FRAME_BYTES, MAX_OPENING_BYTES
from protocol.export.outputs import MESSAGES
from protocol.messages import (
    Request,
    decode_opening,
    decode_report,
    decode_request,
    encode,
    schema_name,
)
from protocol.ramp import Ramp
from tests.protocol.pages import README, block, rows, table


def test_every_message_has_its_largest_and_the_page_tells_its_bytes() -> None:
    kinds = [type(one) for one in (*largest.OPENINGS, *largest.FRAMED)]
    assert kinds == list(dict.fromkeys(kinds))
    assert set(kinds) == set(MESSAGES)
    told = {row[0].strip("`"): int(row[1]) for row in rows(block("sizes"))}
    assert told == largest.sizes()
    assert set(told) == {row[0].strip("`") for row in table("messages")} | {"points", "image"}
    assert f"the frame ({told['points']} bytes)" in README


@pytest.mark.parametrize("message", [*largest.OPENINGS, *largest.FRAMED], ids=lambda m: m.type)
def test_largest_message_is_read_and_one_with_a_text_or_list_longer_is_not(
    message: BaseModel,
) -> None:
    body = encode(message)
    if message in largest.OPENINGS:
        assert decode_opening(body.decode()) == message
    elif isinstance(message, Request):
        assert decode_request(body) == message
    else:
        assert decode_report(body) == message
    for name, value in message:
        if isinstance(value, str | list) and name not in {"type", "event"}:
            more: object = f"{value}x" if isinstance(value, str) else [*value, value[0]]
            with pytest.raises(ValidationError):
                type(message).model_validate({**message.model_dump(), name: more})


def test_all_fit_their_frames_also_where_texts_are_not_ascii() -> None:
    sizes = largest.sizes()
    assert max(sizes.values()) == sizes["points"] <= MAX_FRAME_BYTES
    to_joint = [encode(one) for one in largest.OPENINGS if schema_name(type(one)) != "welcome"]
    assert max(map(len, to_joint)) <= MAX_OPENING_BYTES
    sentence = 3 * 200  # a character has up to 4 bytes of UTF-8
    assert sizes["event-homing-failed"] + sentence <= MAX_FRAME_BYTES


def test_figures_on_what_a_buffer_must_hold_are_those_of_the_ramp_of_the_page() -> None:
    needed_ms = math.ceil((FIRST_PERMIT_US + Ramp.for_ratio(0.5).path_us) / 1000)
    assert f"with the ramp above {needed_ms} ms of path" in " ".join(README.split())
    assert needed_ms + 1 <= 640
