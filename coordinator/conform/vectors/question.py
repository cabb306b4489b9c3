"""What one question is, and how its answer is held against a vector."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from coordinator.conform.check import Wrong

MAX_LINE_BYTES: Final = 16_384
Judge = Callable[[dict[str, Any]], None]
"""Raises Wrong unless an answer is right."""


@dataclass(frozen=True, slots=True)
class Question:
    """One line for the program."""

    id: str
    """Begins with the vectors' file."""
    ask: str
    given: dict[str, Any]
    judge: Judge

    @property
    def file(self) -> str:
        """Of the vectors."""
        return f"{self.id.split()[0]}.json"

    @property
    def line(self) -> bytes:
        """As it is written, with the line's end."""
        value = {"id": self.id, "ask": self.ask, **self.given}
        text = json.dumps(value, separators=(",", ":"), ensure_ascii=False)
        return text.encode("utf-8") + b"\n"


def _same(expected: object, came: object) -> bool:
    """Whether an answer says the same: hex in letters of either case, members more than asked."""
    if isinstance(expected, dict):
        return isinstance(came, dict) and all(
            name in came and _same(value, came[name]) for name, value in expected.items()
        )
    if isinstance(expected, list):
        return (
            isinstance(came, list)
            and len(came) == len(expected)
            and all(map(_same, expected, came))
        )
    if isinstance(expected, str):
        return isinstance(came, str) and came.lower() == expected.lower()
    # In Python true is 1, in JSON it is not.
    return came == expected and isinstance(came, bool) is isinstance(expected, bool)


def member(answer: dict[str, Any], name: str) -> Any:
    """A member that an answer must have. Raises Wrong."""
    if name not in answer:
        raise Wrong(f"a member {name}", _told(answer))
    return answer[name]


def exactly(**expected: object) -> Judge:
    """An answer with these members."""

    def judge(answer: dict[str, Any]) -> None:
        for name, value in expected.items():
            came = member(answer, name)
            if not _same(value, came):
                raise Wrong(f"{name} {_told(value)}", _told(came))

    return judge


def refusing(*codes: str) -> Judge:
    """An answer with one of these codes."""

    def judge(answer: dict[str, Any]) -> None:
        came = answer.get("code")
        if came not in codes:
            told = _told(answer) if came is None else _told(came)
            raise Wrong(f"code {' or '.join(codes)}", told)

    return judge


def near(**expected: tuple[float, float]) -> Judge:
    """An answer with numbers, each with how far off it may be."""

    def judge(answer: dict[str, Any]) -> None:
        for name, (value, allowed) in expected.items():
            came = number(answer, name)
            if abs(came - value) > allowed:
                raise Wrong(f"{name} {value}, within {allowed:g}", f"{came}")

    return judge


def number(answer: dict[str, Any], name: str) -> float:
    """A number that an answer must have. Raises Wrong."""
    came = member(answer, name)
    if isinstance(came, bool) or not isinstance(came, (int, float)):
        raise Wrong(f"a number {name}", _told(came))
    return float(came)


def _told(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 160 else f"{text[:157]}..."
