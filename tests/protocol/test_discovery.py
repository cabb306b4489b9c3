"""The announcement keeps the rules of DNS-SD (RFC 6763) and names every mistake."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.constants import SERVICE_TYPE
from protocol.discovery import Announcement, parse_txt
from protocol.errors import WireError

GOOD = Announcement("0a1b2c3d4e5f", "1.4.0", 47_001)
announcements = st.builds(
    Announcement,
    id=st.text("0123456789abcdef", min_size=12, max_size=12),
    firmware=st.text(st.characters(codec="ascii", categories=("L", "N")), min_size=1, max_size=32),
    udp_port=st.integers(1, 65_535),
    path=st.from_regex(r"/[a-z0-9/]{0,63}", fullmatch=True),
    protocol=st.integers(0, 99),
)


def test_service_name_keeps_the_rules() -> None:
    """RFC 6335 §5.1: 1 to 15 letters, digits, hyphens, a letter among them, no hyphen at ends."""
    found = re.fullmatch(r"_([a-z0-9-]+)\._tcp\.local\.", SERVICE_TYPE)
    assert found
    name = found[1]
    assert len(name) <= 15
    assert re.search("[a-z]", name)
    assert not name.startswith("-")
    assert not name.endswith("-")
    assert "--" not in name


@given(announcements)
def test_txt_record_keeps_the_rules(announcement: Announcement) -> None:
    """RFC 6763 §6.1: a string is at most 255 bytes; §6.2: small; §6.4: printable ASCII keys
    without `=`, 9 characters or fewer; §6.7: txtvers first. (Section numbers from memory.)
    """
    txt = announcement.txt()
    assert next(iter(txt.items())) == ("txtvers", "1")
    assert list(txt) == ["txtvers", "id", "proto", "fw", "path", "udp"]
    for key, value in txt.items():
        assert re.fullmatch(r"[\x20-\x3c\x3e-\x7e]{1,9}", key)
        assert len(f"{key}={value}".encode()) <= 255
    assert sum(len(key) + len(value) + 2 for key, value in txt.items()) <= 400


@given(announcements)
def test_txt_record_round_trips(announcement: Announcement) -> None:
    assert parse_txt(announcement.txt()) == announcement


def test_keys_are_read_whatever_their_case_and_the_first_counts() -> None:
    """RFC 6763 §6.4: case is ignored in keys; of a key given twice only the first counts."""
    upper = {key.upper(): value for key, value in GOOD.txt().items()}
    assert parse_txt(upper) == GOOD
    assert parse_txt({**GOOD.txt(), "UDP": "9"}) == GOOD


def test_unknown_keys_are_ignored() -> None:
    """RFC 6763 §6.5: clients ignore keys that they do not know, with or without a value."""
    assert parse_txt({**GOOD.txt(), "colour": "red", "flag": None}) == GOOD


@pytest.mark.parametrize("key", ["txtvers", "id", "proto", "fw", "path", "udp"])
@pytest.mark.parametrize("value", [None, ""])
def test_missing_or_empty_key_is_named(key: str, value: str | None) -> None:
    with pytest.raises(WireError, match=f"lacks the key '{key}'") as caught:
        parse_txt({**GOOD.txt(), key: value})
    assert caught.value.code == "txt-missing"


@pytest.mark.parametrize(
    ("key", "value", "code"),
    [
        ("txtvers", "2", "txt-version"),
        ("id", "0A1B2C3D4E5F", "txt-id"),
        ("id", "0a1b2c3d4e5f\n", "txt-id"),
        ("id", "0a1b2c3d4e5", "txt-id"),
        ("udp", "0", "txt-number"),
        ("udp", "65536", "txt-number"),
        ("udp", "-1", "txt-number"),
        ("udp", "٤٧", "txt-number"),
        ("udp", "9" * 5000, "txt-number"),
        ("proto", "one", "txt-number"),
        ("path", "joint", "txt-path"),
        ("path", "@elsewhere:80/", "txt-path"),
        ("path", "/a b", "txt-path"),
        ("path", "/" + "a" * 64, "txt-path"),
        ("path", "/a\r\nHost: b", "txt-path"),
    ],
)
def test_wrong_value_is_named_with_a_stable_code(key: str, value: str, code: str) -> None:
    with pytest.raises(WireError, match=key) as caught:
        parse_txt({**GOOD.txt(), key: value})
    assert caught.value.code == code


@given(st.dictionaries(st.sampled_from(list(GOOD.txt())), st.one_of(st.none(), st.text())))
def test_any_record_gives_an_announcement_or_a_wire_error(changes: dict[str, str | None]) -> None:
    record = {**GOOD.txt(), **changes}
    try:
        found = parse_txt(record).txt()
    except WireError as error:
        found = {error.code: ""}
    assert found == record or next(iter(found)).startswith("txt-")
