"""What is asked of a board over the cable and what it answers (CABLE.md, "Requests")."""

import re
from dataclasses import dataclass
from enum import IntEnum
from ipaddress import IPv4Address
from typing import Final

from protocol.cable.frames import Frame
from protocol.errors import WireError
from protocol.keys import KEY_BYTES

VERSION: Final = 1
ANSWER: Final = 0x80
REFUSED: Final = 0xFF
SSID_BYTES: Final = 32
_FIRMWARE: Final = re.compile(rb"[ -~]{1,32}")
_NAME: Final = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,31}")
_PASSWORD: Final = re.compile(r"|[ -~]{8,63}|[0-9A-Fa-f]{64}")
_ID_BYTES: Final = 6
_ADDRESS_BYTES: Final = 4


class Kind(IntEnum):
    """What is asked."""

    WHO = 1
    SET_WIFI = 2
    SET_KEY = 3
    SET_NAME = 4
    FORGET = 5
    WIFI = 6
    RESTART = 7
    SET_UPDATE_KEY = 8


class Refusal(IntEnum):
    """Why a board does not do it."""

    UNKNOWN = 1
    BODY = 2
    KEY_SET = 3
    DRIVERS_ON = 4
    STORE = 5


class WifiState(IntEnum):
    """How far a board is with its network."""

    UNSET = 0
    TRYING = 1
    CONNECTED = 2
    FAILED = 3


class WifiReason(IntEnum):
    """Why it is not connected."""

    NONE = 0
    NOT_FOUND = 1
    PASSWORD = 2
    NO_ADDRESS = 3
    OTHER = 4


@dataclass(frozen=True, slots=True)
class Who:
    """A board, as it says of itself."""

    id: str
    """12 hex digits."""
    boot: int
    has_key: bool
    firmware: str
    ssid: bytes
    """Of the network that is set; empty without one."""
    name: str
    """Empty without one."""
    has_update_key: bool
    """Whether it has the public key that signs updates."""


@dataclass(frozen=True, slots=True)
class Wifi:
    """How a board's network is."""

    state: WifiState
    reason: WifiReason
    address: IPv4Address
    """0.0.0.0 unless it is connected."""
    rssi_dbm: int


# ---- bodies of requests -------------------------------------------------------------------


def wifi_body(ssid: bytes, password: str) -> bytes:
    """The body of set-wifi. Raises WireError with a sentence that does not tell the password."""
    if not 1 <= len(ssid) <= SSID_BYTES:
        raise WireError(
            "cable-ssid", f"a network's name has 1 to {SSID_BYTES} bytes, this one {len(ssid)}"
        )
    if not _PASSWORD.fullmatch(password):
        raise WireError(
            "cable-password",
            "a network's password has 8 to 63 characters of ASCII, or 64 hex digits, or none at "
            f"all where the network is open; this one has {len(password)} characters",
        )
    return _text(ssid) + _text(password.encode())


def key_body(key: bytes) -> bytes:
    """The body of set-key and of set-update-key. Raises ValueError beyond KEY_BYTES."""
    if len(key) != KEY_BYTES:
        raise ValueError(f"a key of {len(key)} bytes, it has {KEY_BYTES}")
    return key


def name_body(name: str) -> bytes:
    """The body of set-name. Raises WireError."""
    if not _NAME.fullmatch(name):
        raise WireError(
            "cable-name",
            f"a joint's name is a letter and up to 31 letters, digits, hyphens or underscores, "
            f"not {name!r}",
        )
    return _text(name.encode())


def forget_body(confirm: int) -> bytes:
    """The body of forget: 0 to ask, then what the answer gave."""
    return confirm.to_bytes(4)


# ---- answers ------------------------------------------------------------------------------


def refusal(frame: Frame) -> Refusal | None:
    """Why a request was refused; None for another answer. Raises WireError."""
    if frame.kind != REFUSED:
        return None
    if len(frame.body) != 1 or frame.body[0] not in list(Refusal):
        raise WireError("cable-answer", "a refusal that is not on the page")
    return Refusal(frame.body[0])


def read_done(body: bytes) -> None:
    """The empty body of most answers. Raises WireError."""
    _Reader(body).end()


def read_forget(body: bytes) -> int:
    """What to send so that all is forgotten; 0 where it is. Raises WireError."""
    reader = _Reader(body)
    confirm = reader.number(4)
    reader.end()
    return confirm


def read_who(body: bytes) -> Who:
    """A board. Raises WireError, with `cable-version` where it is of another version."""
    reader = _Reader(body)
    version = reader.number(1)
    if version != VERSION:
        raise WireError("cable-version", f"it speaks version {version}, here is {VERSION}")
    found = Who(
        id=reader.take(_ID_BYTES).hex(),
        boot=reader.number(4),
        has_key=reader.flag(),
        firmware=reader.match(_FIRMWARE),
        ssid=reader.text(SSID_BYTES),
        name=reader.match(re.compile(b"|" + _NAME.pattern.encode())),
        has_update_key=reader.flag(),
    )
    reader.end()
    if found.boot == 0:
        raise WireError("cable-answer", "boot is 0")
    return found


def read_wifi(body: bytes) -> Wifi:
    """How a board's network is. Raises WireError."""
    reader = _Reader(body)
    state, reason = reader.number(1), reader.number(1)
    address, rssi = reader.take(_ADDRESS_BYTES), reader.take(1)
    reader.end()
    if state not in list(WifiState) or reason not in list(WifiReason):
        raise WireError("cable-answer", f"state {state} with reason {reason} is not on the page")
    if (state == WifiState.FAILED) != (reason != WifiReason.NONE):
        raise WireError("cable-answer", f"state {state} cannot have reason {reason}")
    return Wifi(
        WifiState(state),
        WifiReason(reason),
        IPv4Address(address),
        int.from_bytes(rssi, signed=True),
    )


class _Reader:
    """Takes a body apart from its beginning. Raises WireError where it is not as it must be."""

    def __init__(self, body: bytes) -> None:
        self._left = body

    def take(self, size: int) -> bytes:
        if len(self._left) < size:
            raise WireError("cable-answer", f"{size - len(self._left)} bytes are missing")
        found, self._left = self._left[:size], self._left[size:]
        return found

    def number(self, size: int) -> int:
        return int.from_bytes(self.take(size))

    def flag(self) -> bool:
        value = self.number(1)
        if value > 1:
            raise WireError("cable-answer", f"{value} is neither 0 nor 1")
        return value == 1

    def text(self, most: int) -> bytes:
        length = self.number(1)
        if length > most:
            raise WireError("cable-answer", f"a text of {length} bytes, at most {most}")
        return self.take(length)

    def match(self, pattern: re.Pattern[bytes]) -> str:
        found = self.text(32)
        if not pattern.fullmatch(found):
            raise WireError("cable-answer", f"the text {found!r} is not as the page says")
        return found.decode("ascii")

    def end(self) -> None:
        if self._left:
            raise WireError("cable-answer", f"{len(self._left)} bytes too many")


def _text(value: bytes) -> bytes:
    return bytes((len(value),)) + value
