"""Questions to the program of the golden vectors."""

import json
import subprocess
from pathlib import Path
from typing import Any


class Vectors:
    """The program that answers the golden vectors, by docs/conform.md."""

    def __init__(self, program: Path) -> None:
        self._process = subprocess.Popen(
            [str(program)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            encoding="ascii",
        )
        self._asked = 0

    def ask(self, ask: str, **given: Any) -> dict[str, Any]:
        """The answer to one question, without its id."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._asked += 1
        question = {"id": str(self._asked), "ask": ask, **given}
        line = json.dumps(question, separators=(",", ":")) + "\n"
        assert len(line) <= 16384
        self._process.stdin.write(line)
        self._process.stdin.flush()
        answer: dict[str, Any] = json.loads(self._process.stdout.readline())
        assert answer.pop("id") == str(self._asked)
        return answer

    def end(self) -> int:
        """The exit code after the last question."""
        self._process.communicate()
        return self._process.returncode
