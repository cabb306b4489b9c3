"""The command in the tests' own process, and what it leaves behind."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import pytest

from coordinator.cli.command import run

MEMBERS: Final = {"message", "file", "line", "column"}
"""Of a mistake in JSON."""


@dataclass(frozen=True, slots=True)
class Done:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def errors(self) -> list[dict[str, Any]]:
        """The mistakes in the one JSON value; each has all its members."""
        told = json.loads(self.out)
        assert told["ok"] is False
        assert all(error.keys() == MEMBERS for error in told["errors"])
        return list(told["errors"])


Unisono = Callable[..., Done]


def unisono_here(capsys: pytest.CaptureFixture[str]) -> Unisono:
    """The command, with its arguments."""

    def unisono(*arguments: str) -> Done:
        code = run(arguments)
        said = capsys.readouterr()
        return Done(int(code), said.out, said.err)

    return unisono
