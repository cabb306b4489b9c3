"""The joint in C, built once for this run of the tests, and its programs."""

import fcntl
import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

SOURCE = Path(__file__).parents[2] / "deploy" / "joint"
# What C leaves undefined, or reads beyond its bounds, ends the program, and so fails the test.
SANITIZERS = "-fsanitize=address,undefined -fno-sanitize-recover=all"


@pytest.fixture(scope="session")
def joint_build(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the core's test programs, made with sanitizers. Needs gcc and make."""
    if shutil.which("gcc") is None or shutil.which("make") is None:
        pytest.fail("The joint in C needs gcc and make: 'make system' installs them.")
    common = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        common = common.parent  # of all test processes, which build one after the other
    folder = common / "joint_c"
    folder.mkdir(exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        done = subprocess.run(
            ["make", "-s", "-j2", "-C", str(SOURCE), f"BUILD={folder}", "CC=gcc", f"CFLAGS_EXTRA={SANITIZERS}"],
            capture_output=True,
            text=True,
        )
    assert done.returncode == 0, done.stderr
    return folder


class Vectors:
    """The program that is asked the golden vectors: docs/conform.md has its questions and answers."""

    def __init__(self, program: Path) -> None:
        self._process = subprocess.Popen(
            [str(program)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, encoding="ascii"
        )
        self._asked = 0

    def ask(self, ask: str, **given: Any) -> dict[str, Any]:
        """The answer to one question, without its id."""
        assert self._process.stdin is not None and self._process.stdout is not None
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


@pytest.fixture(scope="session")
def vectors(joint_build: Path) -> Iterator[Vectors]:
    """The program, running; it ends with exit code 0."""
    program = Vectors(joint_build / "vectors")
    yield program
    assert program.end() == 0
