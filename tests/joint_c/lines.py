"""A program that answers each line with one, such as those of `deploy/joint/tests`."""

import subprocess
from pathlib import Path


class Lines:
    """The program while it runs."""

    def __init__(self, program: Path, encoding: str = "ascii") -> None:
        self._process = subprocess.Popen(
            [program],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            encoding=encoding,
        )

    def line(self, line: str) -> str:
        """The answer to a line; empty where the program has ended."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        return self._process.stdout.readline().rstrip("\n")

    def end(self) -> int:
        """The exit code after the last line."""
        self._process.communicate()
        return self._process.returncode

    def wait(self) -> int:
        """The exit code of a program that has ended by itself."""
        return self._process.wait()
