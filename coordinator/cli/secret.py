"""Secrets that people type. None is ever taken from a command line, which others can read."""

import getpass
import sys

from coordinator.cli.common import ExitCode, Failure


def ask_secret(prompt: str, what: str) -> str:
    """What is typed at the terminal, without being shown; elsewhere the input's next line.

    It may be empty. Raises Failure, which says `what` there is not.
    """
    try:
        if sys.stdin.isatty():
            return getpass.getpass(prompt)
        line = sys.stdin.readline()
    except UnicodeDecodeError:  # it would tell the bytes
        raise Failure(ExitCode.WRONG_INPUT, f"the {what} is no text in UTF-8") from None
    except EOFError:
        line = ""
    if not line:
        raise Failure(ExitCode.WRONG_INPUT, f"there is no {what} on the input, not even an empty")
    return line.rstrip("\n")
