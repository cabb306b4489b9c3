"""The cable's frames and bodies: round trips, noise, golden vectors, and the page beside them."""

import contextlib
import re
import zlib
from ipaddress import IPv4Address
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from protocol.cable import frames, requests
from protocol.cable.frames import MAX_BODY_BYTES, MAX_FRAME_BYTES, Decoder, Frame, encode
from protocol.cable.requests import Kind, Refusal, Wifi, WifiReason, WifiState
from protocol.errors import WireError
from protocol.keys import KEY_BYTES
from tests.protocol.pages import FOLDER, rows, vectors

PAGE = (FOLDER / "CABLE.md").read_text("utf-8")
any_frames = st.builds(
    Frame, st.integers(0, 255), st.integers(0, 255), st.binary(max_size=MAX_BODY_BYTES)
)


def table(name: str) -> list[list[str]]:
    _, found, rest = PAGE.partition(f"<!-- table: {name} -->\n")
    assert found
    return rows(rest)


def fields(frame: Frame) -> dict[str, object]:
    return {"kind": frame.kind, "number": frame.number, "body": frame.body.hex()}


# Frames


def test_crc_is_that_of_ieee_802_3() -> None:
    """The check value of CRC-32/ISO-HDLC for "123456789", which the page names."""
    assert zlib.crc32(b"123456789") == 0xCBF43926
    assert "0xCBF43926" in PAGE


@given(any_frames)
def test_frame_comes_back_as_it_was(frame: Frame) -> None:
    data = encode(frame)
    assert 10 <= len(data) <= MAX_FRAME_BYTES
    assert Decoder().feed(data) == [frame]


@given(st.lists(any_frames, max_size=4), st.data())
def test_frames_are_found_however_the_bytes_are_cut(sent: list[Frame], data: st.DataObject) -> None:
    stream = b"".join(map(encode, sent))
    decoder, found, at = Decoder(), list[Frame](), 0
    while at < len(stream):
        end = data.draw(st.integers(at + 1, len(stream)))
        found += decoder.feed(stream[at:end])
        at = end
    assert found == sent


@given(st.text(), any_frames, st.text())
def test_no_text_hides_a_frame(before: str, frame: Frame, behind: str) -> None:
    """What UTF-8 can spell holds no 0xFE (RFC 3629, section 1)."""
    data = before.encode() + encode(frame) + behind.encode()
    assert frame in Decoder().feed(data)


@given(st.binary(max_size=300), any_frames)
@example(b"\xfe\xc5\x80\x7f", Frame(1, 1))
def test_any_noise_hides_a_frame_no_longer_than_until_the_pause(noise: bytes, frame: Frame) -> None:
    decoder = Decoder()
    found = decoder.feed(noise + encode(frame)) + decoder.pause()
    assert found[-1:] == [frame]


@given(st.binary(max_size=300))
def test_any_bytes_are_survived_and_a_pause_forgets_them(noise: bytes) -> None:
    decoder = Decoder()
    decoder.feed(noise)
    decoder.pause()
    assert decoder.feed(encode(Frame(1, 2))) == [Frame(1, 2)]


@given(any_frames, st.data())
def test_one_wrong_bit_makes_it_no_frame(frame: Frame, data: st.DataObject) -> None:
    """CRC-32 finds every error of one bit."""
    sent = bytearray(encode(frame))
    sent[data.draw(st.integers(0, len(sent) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    decoder = Decoder()
    assert frame not in decoder.feed(bytes(sent)) + decoder.pause()


def test_body_beyond_the_limit_is_refused() -> None:
    with pytest.raises(ValueError, match="129 bytes, a frame takes 128"):
        encode(Frame(1, 1, bytes(MAX_BODY_BYTES + 1)))


def test_secret_is_in_no_text_made_of_a_frame() -> None:
    assert "64" not in repr(Frame(3, 1, b"d" * 32))
    assert "dddd" not in repr(Frame(3, 1, b"d" * 32))


# Golden vectors


@pytest.mark.parametrize("case", vectors("cable")["frames"], ids=lambda case: str(case["name"]))
def test_golden_frames_agree(case: dict[str, Any]) -> None:
    frame = Frame(case["kind"], case["number"], bytes.fromhex(case["body"]))
    assert encode(frame).hex() == case["bytes"]


@pytest.mark.parametrize("case", vectors("cable")["streams"], ids=lambda case: str(case["name"]))
def test_golden_streams_agree(case: dict[str, Any]) -> None:
    decoder = Decoder()
    assert list(map(fields, decoder.feed(bytes.fromhex(case["bytes"])))) == case["found"]
    assert list(map(fields, decoder.pause())) == case["after_pause"]


# Bodies


def answer(name: str) -> bytes:
    [case] = [case for case in vectors("cable")["frames"] if case["name"] == name]
    return bytes.fromhex(case["body"])


def test_answers_are_read() -> None:
    bare, full = (requests.read_who(answer(n)) for n in ("a bare board", "a board that has all"))
    assert (bare.id, bare.boot, bare.has_key) == ("0a1b2c3d4e5f", 0xC0FFEE, False)
    assert (bare.firmware, bare.ssid, bare.name) == ("1", b"", "")
    assert (full.has_key, full.ssid, full.name) == (True, b"greenhouse", "elbow")
    assert requests.read_wifi(answer("connected")) == Wifi(
        WifiState.CONNECTED, WifiReason.NONE, IPv4Address("192.0.2.7"), -60
    )
    assert requests.read_wifi(answer("no such network")).reason is WifiReason.NOT_FOUND
    assert requests.read_forget(answer("sure?")) == 0xC0FFEE
    assert requests.read_forget(answer("forgotten")) == 0


def test_another_version_is_told_as_that() -> None:
    with pytest.raises(WireError, match="version 2, here is 1") as caught:
        requests.read_who(b"\x02whatever")
    assert caught.value.code == "cable-version"


@given(st.binary(max_size=MAX_BODY_BYTES))
def test_any_answer_is_read_or_refused(body: bytes) -> None:
    for read in (requests.read_who, requests.read_wifi, requests.read_forget, requests.read_done):
        with contextlib.suppress(WireError):
            read(body)


@pytest.mark.parametrize("name", ["a bare board", "a board that has all", "connected", "sure?"])
def test_answer_that_is_cut_or_too_long_is_refused(name: str) -> None:
    whole = answer(name)
    read = {"connected": requests.read_wifi, "sure?": requests.read_forget}.get(
        name, requests.read_who
    )
    for wrong in (*(whole[:end] for end in range(len(whole))), whole + b"\0"):
        with pytest.raises(WireError):
            read(wrong)


@pytest.mark.parametrize("password", ["", "a" * 8, "~" * 63, "0123456789abcdefABCDEF" + "0" * 42])
def test_passwords_of_ieee_802_11_are_taken(password: str) -> None:
    assert requests.wifi_body(b"bench", password).endswith(password.encode())


@pytest.mark.parametrize("password", ["a" * 7, "g" * 64, "a" * 65, "pass\nword", "passwörter"])
def test_wrong_password_is_refused_and_not_told(password: str) -> None:
    with pytest.raises(WireError, match=f"has {len(password)} characters") as caught:
        requests.wifi_body(b"bench", password)
    assert password not in str(caught.value)


@pytest.mark.parametrize("ssid", [b"", b"s" * 33])
def test_network_name_of_wrong_length_is_refused(ssid: bytes) -> None:
    with pytest.raises(WireError, match=f"1 to 32 bytes, this one {len(ssid)}"):
        requests.wifi_body(ssid, "")


@pytest.mark.parametrize("name", ["", "2nd", "el bow", "e" * 33, "élan", "elbow\n"])
def test_wrong_name_is_refused(name: str) -> None:
    with pytest.raises(WireError, match="a letter and up to 31"):
        requests.name_body(name)


# The page


def test_page_lists_the_kinds_and_codes_of_the_code() -> None:
    def words(name: str) -> dict[int, str]:
        return {int(row[0]): row[1] for row in table(name)}

    def of(kind: type[Kind] | type[Refusal] | type[WifiReason]) -> dict[int, str]:
        return {int(one): one.name.lower().replace("_", "-") for one in kind if one}

    assert words("requests") == of(Kind)
    assert words("refusals") == of(Refusal)
    assert words("wifi-reasons") == of(WifiReason)


def test_figures_of_the_page_are_those_of_the_code() -> None:
    assert f"{10} to {MAX_FRAME_BYTES} bytes" in PAGE
    assert f"of the body, 0 to {MAX_BODY_BYTES}" in PAGE
    assert f"0x{frames.SYNC.hex().upper()}" in PAGE
    assert f"pause of\n{frames.PAUSE_S * 1000:g} ms" in PAGE
    assert f"version {requests.VERSION}" in PAGE.splitlines()[0]
    assert re.search(rf"set-key \| {KEY_BYTES} bytes", PAGE)
