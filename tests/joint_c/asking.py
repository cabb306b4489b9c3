"""Questions to the program of the golden vectors."""

import json
from pathlib import Path
from typing import Any

from tests.joint_c.lines import Lines


class Vectors(Lines):
    """The program that answers the golden vectors, by docs/conform.md."""

    def __init__(self, program: Path) -> None:
        super().__init__(program)
        self._asked = 0

    def ask(self, ask: str, **given: Any) -> dict[str, Any]:
        """The answer to one question, without its id."""
        self._asked += 1
        question = {"id": str(self._asked), "ask": ask, **given}
        line = json.dumps(question, separators=(",", ":"))
        assert len(line) < 16384
        answer: dict[str, Any] = json.loads(self.line(line))
        assert answer.pop("id") == str(self._asked)
        return answer
