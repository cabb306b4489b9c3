"""What a joint announces by DNS-SD (RFC 6763): the TXT record's keys and their checks."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from protocol.constants import PROTOCOL_VERSION, STREAM_PATH
from protocol.errors import WireError

TXT_VERSION: Final = "1"
_ID: Final = re.compile("[0-9a-f]{12}")
_NUMBER: Final = re.compile("[0-9]{1,5}")
_PATH: Final = re.compile("/[!-~]{0,63}")
"""A stranger's record may not lead the stream to another host."""


@dataclass(frozen=True, slots=True)
class Announcement:
    """One joint's TXT record."""

    id: str
    """12 hex digits, lasting."""
    firmware: str
    udp_port: int
    path: str = STREAM_PATH
    protocol: int = PROTOCOL_VERSION

    def txt(self) -> dict[str, str]:
        """Keys and values in order, `txtvers` first (RFC 6763 §6.7)."""
        return {
            "txtvers": TXT_VERSION,
            "id": self.id,
            "proto": str(self.protocol),
            "fw": self.firmware,
            "path": self.path,
            "udp": str(self.udp_port),
        }


def parse_txt(txt: Mapping[str, str | None]) -> Announcement:
    """The announcement in a TXT record. Raises WireError that names key and value.

    Keys count whatever their case, and the first of two alike (RFC 6763 §6.4).
    """
    known: dict[str, str | None] = {}
    for name, text in txt.items():
        known.setdefault(name.lower(), text)

    def value(key: str) -> str:
        found = known.get(key)
        if not found:
            raise WireError("txt-missing", f"the announcement lacks the key {key!r}")
        return found

    if value("txtvers") != TXT_VERSION:
        raise WireError("txt-version", f"txtvers {value('txtvers')!r}, this is version 1")
    if not _ID.fullmatch(value("id")):
        raise WireError("txt-id", f"id {value('id')!r} is not 12 hex digits")
    for key in ("proto", "udp"):
        if not _NUMBER.fullmatch(value(key)):
            raise WireError("txt-number", f"{key} {value(key)!r} is not a number of 1 to 5 digits")
    if not _PATH.fullmatch(value("path")):
        raise WireError("txt-path", f"path {value('path')!r} is not / and up to 63 of ASCII")
    port = int(value("udp"))
    if not 1 <= port <= 65_535:
        raise WireError("txt-number", f"udp port {port}, 1 to 65535")
    return Announcement(value("id"), value("fw"), port, value("path"), int(value("proto")))
