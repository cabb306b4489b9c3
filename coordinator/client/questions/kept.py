"""What was taught, found by its name."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, Protocol, TypeVar


class Named(Protocol):
    """What has a name and a number."""

    @property
    def id(self) -> int:
        """Its number."""

    @property
    def name(self) -> str:
        """As people call it."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A sequence or a program."""

    kind: Literal["sequence", "program"]
    id: int
    name: str

    @property
    def path(self) -> str:
        """Where its text is."""
        is_sequence = self.kind == "sequence"
        return (
            f"/taught/sequences/{self.id}/program"
            if is_sequence
            else f"/taught/programs/{self.id}/text"
        )


N = TypeVar("N", bound=Named)


def plain(name: str) -> str:
    """A name as it is compared: in small letters, with no more spaces than it needs."""
    return " ".join(name.split()).casefold()


def named(kept: Iterable[N], name: str) -> N | None:
    """The one of that name."""
    return next((one for one in kept if plain(one.name) == plain(name)), None)
