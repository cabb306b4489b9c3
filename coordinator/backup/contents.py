"""What a backup may hold, and its manifest: which of that it holds, with sizes and SHA-256.

The manifest is JSON in exactly one spelling. What is read is written again and compared, so a
manifest that says anything twice, more, or in another way is none.
"""

import json
import re
from dataclasses import dataclass, replace
from typing import Any, Final

FORMAT: Final = "unisono-backup"
VERSION: Final = 1
"""Raised by every change that this code could not read."""
ARM: Final = "arm.toml"
DATABASE: Final = "unisono.db"
SEALED: Final = "keys.sealed"
PLAIN: Final = (ARM, DATABASE, "firmware.pub", "tokens.json")
"""Files that are put in as they are, in this order; of tokens there are hashes only."""
SECRETS: Final = ("arm.key", "firmware.key", "server.pem", "cert.pem")
"""Files that are put in only when asked for, and encrypted. The certificate is public, but worth
nothing without its key in `server.pem`."""
NOT_OURS: Final = ("coordinator.id", "lock")
"""Of this folder alone: a restored one is another coordinator (docs/backup.md)."""
REPORTS: Final = ("runs", "runs-imported")
"""Folders of reports from before there was a database (`store.old_files`)."""
_REPORT: Final = re.compile(rf"({'|'.join(REPORTS)})/[0-9]{{4,9}}\.json")
_SHA256: Final = re.compile(r"[0-9a-f]{64}")
_REVISION: Final = re.compile(r"[0-9a-zA-Z_]{1,32}")
_UTC: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
_PROJECT: Final = re.compile(r"[0-9A-Za-z.+!_-]{1,64}")
MEMBER_BYTES_MAX: Final = 8**11 - 1
"""What the eleven octal digits of a header can say (POSIX.1-2017, pax, ustar)."""


SEALED_BYTES_MAX: Final = 1 << 20
"""Keys are read whole; four such files are some kilobytes."""


class Unlike(ValueError):
    """A text is no manifest that this code knows."""


class Newer(Unlike):
    """It is of a newer version of the format, by what it says itself."""

    def __init__(self, version: int, project: str) -> None:
        super().__init__(f"version {version}")
        self.version, self.project = version, project


@dataclass(frozen=True, slots=True)
class Member:
    """One file in a backup."""

    name: str
    size_bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup holds, when and by what it was made."""

    made_utc: str
    """ISO 8601, whole seconds."""
    project: str
    """Version of Unisono."""
    revision: str | None
    """Of the database's tables; None where there is no database, or one without tables."""
    sealed: tuple[str, ...]
    """Which secrets `keys.sealed` has."""
    members: tuple[Member, ...]

    def encoded(self) -> bytes:
        """As it stands in the file."""
        value = {
            "format": FORMAT,
            "version": VERSION,
            "made_utc": self.made_utc,
            "project": self.project,
            "revision": self.revision,
            "sealed": list(self.sealed),
            "members": [
                {"name": one.name, "size_bytes": one.size_bytes, "sha256": one.sha256}
                for one in self.members
            ],
        }
        return (json.dumps(value, indent=1, ensure_ascii=True) + "\n").encode()

    @property
    def beside_keys(self) -> bytes:
        """All that it says but of the encrypted member: what that is bound to."""
        others = tuple(one for one in self.members if one.name != SEALED)
        return replace(self, members=others).encoded()

    def member(self, name: str) -> Member | None:
        """The member of that name, None if there is none."""
        return next((one for one in self.members if one.name == name), None)


def decode(text: bytes) -> Manifest:
    """A manifest from the bytes in a file. Raises Unlike, and Newer where the format is newer."""
    try:
        value: Any = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise Unlike("it is no JSON") from error
    if not isinstance(value, dict) or value.get("format") != FORMAT:
        raise Unlike("it names another format")
    version, project = value.get("version"), value.get("project")
    if type(version) is int and version > VERSION:
        known = isinstance(project, str) and _PROJECT.fullmatch(project)
        raise Newer(version, str(project) if known else "unknown")
    try:
        made = Manifest(
            made_utc=value["made_utc"],
            project=value["project"],
            revision=value["revision"],
            sealed=tuple(value["sealed"]),
            members=tuple(
                Member(one["name"], one["size_bytes"], one["sha256"]) for one in value["members"]
            ),
        )
        _require(made)
        if made.encoded() != text:
            raise Unlike("it is spelt otherwise")
    except (KeyError, TypeError) as error:
        raise Unlike("a part of it is missing") from error
    return made


def may_hold(name: str) -> bool:
    """Whether a backup may have a member of that name, beside manifest and keys."""
    return name in PLAIN or _REPORT.fullmatch(name) is not None


def _require(made: Manifest) -> None:
    """Raise Unlike or TypeError for what no backup can be."""
    names = [one.name for one in made.members]
    for one in made.members:
        if not (may_hold(one.name) or one.name == SEALED):
            raise Unlike("it names a file that no backup has")
        if type(one.size_bytes) is not int or not 0 <= one.size_bytes <= MEMBER_BYTES_MAX:
            raise Unlike("it states no size")
        if one.name == SEALED and one.size_bytes > SEALED_BYTES_MAX:
            raise Unlike("it states no size of keys")
        if _SHA256.fullmatch(one.sha256) is None:
            raise Unlike("it states no SHA-256")
    if len(set(names)) != len(names) or ARM not in names:
        raise Unlike("it names a file twice, or no arm file")
    if not set(made.sealed) <= set(SECRETS) or len(set(made.sealed)) != len(made.sealed):
        raise Unlike("it names a secret that no backup has")
    if bool(made.sealed) != (SEALED in names):
        raise Unlike("keys are named, and not in it")
    if _UTC.fullmatch(made.made_utc) is None or _PROJECT.fullmatch(made.project) is None:
        raise Unlike("when and by what it was made is missing")
    if made.revision is not None and (
        _REVISION.fullmatch(made.revision) is None or DATABASE not in names
    ):
        raise Unlike("it names a version of no database")
