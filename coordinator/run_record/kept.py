"""A report as it is kept, read with care: older coordinators wrote fewer members, and what is kept
in a file may have been changed by anybody. Whatever is not what it should be is not known.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

US_PER_S: Final = 1_000_000
GREATEST: Final = 1e18
"""Beyond it nothing is a time, an angle or a temperature."""


@dataclass(frozen=True, slots=True)
class Kept:
    """An object of JSON."""

    members: Mapping[str, Any]

    def text(self, name: str) -> str | None:
        """A text that is not empty."""
        found = self.members.get(name)
        return found if isinstance(found, str) and found else None

    def number(self, name: str) -> float | None:
        """A number."""
        return _number(self.members.get(name))

    def whole(self, name: str) -> int | None:
        """A number, without what is behind its point."""
        found = self.number(name)
        return None if found is None else int(found)

    def flag(self, name: str) -> bool | None:
        """Yes or no."""
        found = self.members.get(name)
        return found if isinstance(found, bool) else None

    def words(self, name: str) -> list[str]:
        """A list of texts."""
        return [one for one in _listed(self.members.get(name)) if isinstance(one, str)]

    def objects(self, name: str) -> list["Kept"]:
        """A list of objects."""
        return [Kept(one) for one in _listed(self.members.get(name)) if isinstance(one, dict)]

    def object(self, name: str) -> "Kept | None":
        """One object."""
        found = self.members.get(name)
        return Kept(found) if isinstance(found, dict) else None

    def numbers(self, name: str) -> dict[str, float | None]:
        """Numbers by name, None for one that is not known."""
        found = self.members.get(name)
        named = found.items() if isinstance(found, dict) else ()
        return {key: _number(value) for key, value in named}

    def named(self, name: str) -> Iterator[tuple[str, "Kept"]]:
        """Objects by name."""
        found = self.members.get(name)
        for key, value in found.items() if isinstance(found, dict) else ():
            if isinstance(value, dict):
                yield key, Kept(value)

    def lacks(self, name: str) -> bool:
        """Whether it was written by a coordinator that did not know this."""
        return name not in self.members


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if abs(value) < GREATEST else None


def _listed(value: object) -> list[Any]:
    return list(value) if isinstance(value, list | tuple) else []


def since(report: Kept, at_us: float | None) -> str | None:
    """An instant of arm time as seconds since the run began."""
    began_us = report.number("began_at_us")
    return None if at_us is None or began_us is None else f"{(at_us - began_us) / US_PER_S:.3f} s"


def micros(value: float | None) -> str | None:
    """A time in µs, or in ms from 10 ms on."""
    if value is None:
        return None
    return f"{value:.0f} µs" if abs(value) < 10_000 else f"{value / 1000:.1f} ms"
