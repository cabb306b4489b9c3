"""What every command shares: exit codes, options, cautions, and how errors are told."""

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path
from typing import Annotated, Any, Final

import typer
from rich.console import Console

from coordinator.client import Client
from coordinator.config.arm import Arm, Joint, load_arm
from coordinator.config.mistake import Mistake
from coordinator.config.regular_file import read_regular
from coordinator.config.settings import (
    DATABASE_VARIABLE,
    DEMO_ARM,
    SERVICE_VARIABLE,
    default_data_folder,
)
from coordinator.programs.size import MAX_PROGRAM_BYTES, size_mistake


class ExitCode(IntEnum):
    """What a command ended with."""

    DONE = 0
    NOT_FINISHED = 1
    WRONG_INPUT = 2
    REFUSED = 3
    UNREACHABLE = 4
    DECLINED = 5


EXIT_CODES: Final = (
    "Exit codes: 0 done; 1 begun, but held, stopped, failed, interrupted or not confirmed; 2 the "
    "input is wrong; 3 the arm or its coordinator refused; 4 the coordinator, or the cluster asked "
    "to rehearse, is not reachable or fails; 5 a question was not answered by yes, so what it "
    "asks for was not done."
)
ENVIRONMENT: Final = (
    "Environment: UNISONO_URL is where the coordinator is, as --url; UNISONO_CERTIFICATE the file "
    "with its own certificate, and UNISONO_TOKEN the token, where it is elsewhere than on loopback "
    f"(README, 'From a phone, or another computer'); {SERVICE_VARIABLE} another name of the DNS-SD "
    "service by which serve, simulate and demo look for joints and announce them, to keep arms "
    f"apart that are tested on one network; {DATABASE_VARIABLE} the URL of a PostgreSQL database "
    "that serve uses, unless --database names it; XDG_DATA_HOME where the data folder is unless "
    "--data names it."
)
CAUTION: Final = (
    "Caution: moving joints pinch, and a joint whose driver is off lets the arm fall. Motors, "
    "drivers and heat sinks get hot. Home sensors use magnets: keep pacemakers and cards away. "
    "Supplies on mains voltage can kill. Hold and stop are software, not a safety-rated emergency "
    "stop: fit one that cuts the supply. Follow the codes of your place, and leave what they "
    "reserve for qualified people to them."
)


class Failure(Exception):
    """A command cannot go on: why, in sentences or with their places, and its exit code."""

    def __init__(self, code: ExitCode, *why: str | Mistake) -> None:
        self.code = code
        self.mistakes = [Mistake(one) if isinstance(one, str) else one for one in why]
        super().__init__("\n".join(mistake.sentence for mistake in self.mistakes))


# ---- options ------------------------------------------------------------------------------


def path_of(what: str, kind: str = "file") -> Callable[[str], Path]:
    """For a parameter that names one. An empty name is a mistake of a shell's, and not the folder
    one is in.
    """

    def parse(text: str) -> Path:
        if not text:
            raise Failure(ExitCode.WRONG_INPUT, f"{what} is empty, but must name a {kind}")
        return Path(text)

    return parse


ProgramArgument = Annotated[
    Path, typer.Argument(metavar="FILE", parser=path_of("FILE"), help="The program.")
]
BlockDeleteOption = Annotated[
    bool, typer.Option("--block-delete", help="Leave out lines that begin with a slash.")
]
OptionalStopOption = Annotated[bool, typer.Option("--optional-stop", help="Stop at M1, as at M0.")]
StepByLineOption = Annotated[
    bool, typer.Option("--step-by-line", help="Wait for 'resume' after each line.")
]
FromLineOption = Annotated[
    int | None,
    typer.Option(
        "--from-line",
        metavar="N",
        min=1,
        max=MAX_PROGRAM_BYTES,
        help="Begin at line N of the file (lines are counted, N words say nothing): slowly to "
        "where it would be, and a pause there.",
        show_default="the beginning",
    ),
]
ArmOption = Annotated[
    Path,
    typer.Option(
        "--arm",
        parser=path_of("--arm"),
        metavar="FILE",
        help="The arm file.",
        show_default="the demo arm",
    ),
]
DataOption = Annotated[
    Path,
    typer.Option(
        "--data",
        parser=path_of("--data", "folder"),
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
    """A client for an address.

    A token is taken from the environment only: a command line is for every user to see.
    """
    certificate = os.environ.get("UNISONO_CERTIFICATE")
    return Client(
        url,
        os.environ.get("UNISONO_TOKEN", ""),
        Path(certificate) if certificate else None,
    )


def read_arm(path: Path) -> Arm:
    """The arm in a file, after remarks on it on standard error. Raises ArmFileError."""
    arm = load_arm(path)
    tell_remarks(arm)
    return arm


def named_joint(arm: Arm, name: str) -> Joint:
    """The joint of that name. Raises Failure with those that there are."""
    try:
        return arm.joint(name)
    except KeyError as error:
        known = " ".join(joint.name for joint in arm.joints)
        sentence = f"there is no joint {name!r}; {arm.name} has {known}"
        raise Failure(ExitCode.WRONG_INPUT, sentence) from error


def tell_remarks(arm: Arm) -> None:
    """Tell on standard error what its file may not mean."""
    for remark in arm.remarks:
        err().print(f"Remark: {remark}")


def read_program(path: Path, limit: int = MAX_PROGRAM_BYTES) -> str:
    """A program's text. Raises Failure naming the file, and the line where there is one."""
    try:
        text, size = read_regular(path, limit)
        if sentence := size_mistake(str(path), size, limit):
            raise Failure(ExitCode.WRONG_INPUT, Mistake(sentence, str(path)))
        return text.decode("utf-8")
    except OSError as error:
        mistake = Mistake(f"{path} cannot be read: {error.strerror}", str(path))
        raise Failure(ExitCode.WRONG_INPUT, mistake) from error
    except UnicodeDecodeError as error:
        *before, line = error.object[: error.start].decode("utf-8").split("\n")
        mistake = Mistake(
            "the program is not UTF-8 text", str(path), len(before) + 1, len(line) + 1
        )
        raise Failure(ExitCode.WRONG_INPUT, mistake) from error


# ---- output -------------------------------------------------------------------------------


def out() -> Console:
    """Standard output, for results."""
    return Console(soft_wrap=True, highlight=False, markup=False, emoji=False)


def err() -> Console:
    """Standard error, for progress, cautions and errors."""
    return Console(stderr=True, soft_wrap=True, highlight=False, markup=False, emoji=False)


@dataclass(slots=True)
class _JsonPromise:
    """With --json a command tells one JSON value, however it ends."""

    is_kept: bool = False


_promise: Final[ContextVar[_JsonPromise]] = ContextVar("promise")


@contextmanager
def json_promised() -> Iterator[None]:
    """Around one command: from here on no JSON value was told."""
    token = _promise.set(_JsonPromise())
    try:
        yield
    finally:
        _promise.reset(token)


def has_shown_json() -> bool:
    """Whether the command has told its JSON value already."""
    return _promise.get().is_kept


def show_json(value: Any) -> None:
    """Print a command's one value as JSON."""
    _promise.get().is_kept = True
    sys.stdout.write(json.dumps(value, indent=2) + "\n")
    sys.stdout.flush()


def caution(*, as_json: bool) -> None:
    """Print the caution as something begins to move; JSON for a program comes without.

    Not before: where it is refused, nothing moves and the reason is to be read.
    """
    if not as_json:
        out().print(CAUTION)


def require_yes(question: str, why: str, refused: str, *, given: bool, as_json: bool) -> None:
    """A typed yes, unless it is `given` by an option. Raises Failure: `why` one is asked for where
    nobody is there to type it, and `refused`, with a code of its own, for any other word.
    """
    if given:
        return
    if as_json or not sys.stdin.isatty():
        raise Failure(
            ExitCode.WRONG_INPUT, f"{why} asks for a yes in a terminal; without one give --yes"
        )
    err().print(f"{question} Type yes: ", end="")
    if sys.stdin.readline().strip() != "yes":
        raise Failure(ExitCode.DECLINED, refused)


def give_up_on_pipe() -> None:
    """Whoever read the output went away: be quiet about it, also when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
