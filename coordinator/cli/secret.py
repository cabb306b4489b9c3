"""Secrets that people type. None is ever taken from a command line, which others can read."""

import getpass
import sys

from coordinator.cli.common import ExitCode, Failure


def ask_secret(prompt: str, what: str) -> str:
    """What is typed at the terminal, without being shown; elsewhere the input's next line.

    It may be empty. Raises Failure, which says `what` there is not.
    """
    try:
        typed = sys.stdin.isatty()
        line = f"{getpass.getpass(prompt)}\n" if typed else sys.stdin.readline()
    except UnicodeDecodeError:  # it would tell the bytes
        raise Failure(ExitCode.WRONG_INPUT, f"the {what} is no text in UTF-8") from None
    except EOFError:
        line = ""
    if not line:
        raise Failure(ExitCode.WRONG_INPUT, f"there is no {what} on the input, not even an empty")
    secret = line.rstrip("\r\n")  # a file of another system is typed as one of this
    try:
        secret.encode()
    except UnicodeEncodeError:  # bytes that were none came in as halves of letters
        raise Failure(ExitCode.WRONG_INPUT, f"the {what} is no text in UTF-8") from None
    return secret
