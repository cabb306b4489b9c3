"""What every command shares: exit codes, options, cautions, and how errors are told."""

import json
import os
import re
import sys
from enum import IntEnum
from pathlib import Path
from typing import Annotated, Any, Final

import typer
from pydantic import ValidationError
from rich.console import Console

from coordinator.arm import Arm, ArmFileError, load_arm
from coordinator.client import Client, ClientError, Refused, Unreachable, WrongInput
from coordinator.data_folder import DataFolderError
from coordinator.programs.size import MAX_PROGRAM_BYTES, size_mistake
from coordinator.settings import DEFAULT_URL, DEMO_ARM, default_data_folder


class ExitCode(IntEnum):
    """What a command ended with."""

    DONE = 0
    NOT_FINISHED = 1
    WRONG_INPUT = 2
    REFUSED = 3
    UNREACHABLE = 4


EXIT_CODES: Final = (
    "Exit codes: 0 done; 1 begun, but held, stopped, failed, interrupted or not confirmed; 2 the "
    "input is wrong; 3 the arm or its coordinator refused; 4 the coordinator is not reachable or "
    "fails."
)
CAUTION: Final = (
    "Caution: moving joints pinch, and a joint whose driver is off lets the arm fall. Motors, "
    "drivers and heat sinks get hot. Home sensors use magnets: keep pacemakers and cards away. "
    "Supplies on mains voltage can kill. Hold and stop are software, not a safety-rated emergency "
    "stop: fit one that cuts the supply. Follow the codes of your place, and leave what they "
    "reserve for qualified people to them."
)


class Failure(Exception):
    """A command cannot go on: sentences for stderr, and its exit code."""

    def __init__(self, code: ExitCode, *sentences: str) -> None:
        super().__init__("\n".join(sentences))
        self.code = code
        self.sentences = sentences


EXPECTED: Final = (
    Failure,
    ClientError,
    ArmFileError,
    DataFolderError,
    typer.TyperException,
    OSError,
)
"""Errors that are no mistake of this program."""


def explain(error: Exception) -> Failure:
    """The failure that an expected error amounts to."""
    match error:
        case Failure():
            return error
        case WrongInput():
            return Failure(ExitCode.WRONG_INPUT, str(error))
        case Refused():
            return Failure(ExitCode.REFUSED, str(error))
        case Unreachable() | ClientError():
            return Failure(ExitCode.UNREACHABLE, str(error))
        case ArmFileError(sentences=sentences):
            return Failure(ExitCode.WRONG_INPUT, *sentences)
        case DataFolderError():
            return Failure(ExitCode.WRONG_INPUT, str(error))
        case typer.TyperException():
            return Failure(ExitCode.WRONG_INPUT, _usage_sentence(error))
        case OSError():
            return Failure(ExitCode.WRONG_INPUT, _os_sentence(error))
    raise TypeError(f"{type(error).__name__} is no expected error") from error


def _usage_sentence(error: typer.TyperException) -> str:
    """What is wrong with a command line, by name and value, and where its help is."""
    sentence = error.format_message().rstrip(".")
    cause = error.__cause__
    named = re.match(r"Invalid value for '\[?([^]']+)\]?': ", sentence)
    if named and isinstance(cause, ValidationError):
        (found, *_) = cause.errors()
        wanted = found["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
        wanted = wanted.partition(", unable to parse")[0].rstrip(".")
        sentence = f"{named[1]} is {found['input']!r}, but must be {wanted}"
        if found["type"] == "value_error":
            sentence = f"{named[1]}: {wanted}"
    context = getattr(error, "ctx", None)
    if context is None or sentence.endswith("?"):  # it says what may have been meant
        return sentence
    return f"{sentence}; see '{context.command_path} --help'"


def _os_sentence(error: OSError) -> str:
    what = f"{error.filename}: " if error.filename is not None else ""
    return f"{what}{error.strerror or error}"


# ---- options ------------------------------------------------------------------------------

ArmOption = Annotated[
    Path, typer.Option("--arm", metavar="FILE", help="The arm file.", show_default="the demo arm")
]
DataOption = Annotated[
    Path,
    typer.Option(
        "--data",
        metavar="DIR",
        help="The data folder.",
        default_factory=default_data_folder,
        show_default="~/.local/share/unisono",
    ),
]
InterfaceOption = Annotated[
    str,
    typer.Option(
        "--interface", metavar="ADDR", help="IPv4 address of the interface that has the joints."
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]
UrlOption = Annotated[
    str,
    typer.Option("--url", envvar="UNISONO_URL", metavar="URL", help="Where the coordinator is."),
]
DEFAULT_ARM: Final = DEMO_ARM


def client_at(url: str) -> Client:
    """A client for the address that was given, or the default.

    A token is taken from the environment only: a command line is for every user to see.
    """
    certificate = os.environ.get("UNISONO_CERTIFICATE")
    return Client(
        url or DEFAULT_URL,
        os.environ.get("UNISONO_TOKEN", ""),
        Path(certificate) if certificate else None,
    )


def read_arm(path: Path) -> Arm:
    """The arm in a file, after remarks on it on standard error. Raises ArmFileError."""
    arm = load_arm(path)
    for remark in arm.remarks:
        err().print(f"Remark: {remark}")
    return arm


def read_program(path: Path) -> str:
    """A program's text. Raises Failure naming the file, and the line where there is one."""
    try:
        with path.open("rb") as file:
            text = file.read(MAX_PROGRAM_BYTES + 1)
            size = max(os.fstat(file.fileno()).st_size, len(text))
        if sentence := size_mistake(str(path), size):
            raise Failure(ExitCode.WRONG_INPUT, sentence)
        return text.decode("utf-8")
    except OSError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"{path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise Failure(
            ExitCode.WRONG_INPUT, f"{path}:{line}: the program is not UTF-8 text"
        ) from error


# ---- output -------------------------------------------------------------------------------


def out() -> Console:
    """Standard output, for results."""
    return Console(soft_wrap=True, highlight=False, markup=False)


def err() -> Console:
    """Standard error, for progress, cautions and errors."""
    return Console(stderr=True, soft_wrap=True, highlight=False, markup=False)


def show_json(value: Any) -> None:
    """Print a value as JSON."""
    sys.stdout.write(json.dumps(value, indent=2) + "\n")
    sys.stdout.flush()


def caution(*, as_json: bool) -> None:
    """Print the caution before anything may move; JSON for a program comes without."""
    if not as_json:
        out().print(CAUTION)


def complain(failure: Failure) -> None:
    """Print a failure, one line a sentence."""
    for sentence in failure.sentences:
        sys.stderr.write(f"unisono: {' '.join(sentence.split())}\n")


def give_up_on_pipe() -> None:
    """Whoever read the output went away: be quiet about it, also when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
