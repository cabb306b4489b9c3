"""How it is told that a command cannot do what it was asked."""

import re
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any, Final

import typer

from coordinator.cli.common import ExitCode, Failure, has_shown_json, show_json
from coordinator.client import ClientError, NotFinished, Refused, WrongInput
from coordinator.codes.os_words import os_words
from coordinator.config.arm import ArmFileError
from coordinator.config.data_folder import DataFolderError
from coordinator.config.settings import SettingsError

EXPECTED: Final = (
    Failure,
    ClientError,
    ArmFileError,
    DataFolderError,
    SettingsError,
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
        case Refused(code="control"):
            return Failure(ExitCode.REFUSED, f"{error} ('unisono control take')")
        case Refused(code="token"):
            return Failure(ExitCode.REFUSED, f"{error} (it is taken from UNISONO_TOKEN)")
        case Refused():
            return Failure(ExitCode.REFUSED, str(error))
        case NotFinished():
            return Failure(ExitCode.NOT_FINISHED, str(error))
        case ClientError():
            return Failure(ExitCode.UNREACHABLE, str(error))
        case ArmFileError(mistakes=mistakes):
            return Failure(ExitCode.WRONG_INPUT, *mistakes)
        case DataFolderError() | SettingsError():
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
    if named is not None and (found := _first_objection(cause)) is not None:
        wanted = found["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
        wanted = _number_wanted(error) or wanted.rstrip(".")
        sentence = f"{named[1]} is {found['input']!r}, but must be {wanted}"
        if found["type"] == "value_error":
            sentence = f"{named[1]}: {wanted}"
    context = getattr(error, "ctx", None)
    if context is None or sentence.endswith("?"):  # it says what may have been meant
        return sentence
    return f"{sentence}; see '{context.command_path} --help'"


def _first_objection(cause: BaseException | None) -> Mapping[str, Any] | None:
    """What the check of a value says first, where that is a check of pydantic's."""
    if cause is None:
        return None
    from pydantic import ValidationError

    return cause.errors()[0] if isinstance(cause, ValidationError) else None


def _number_wanted(error: typer.TyperException) -> str:
    """Which numbers a parameter takes, with both of its limits; empty where it takes none."""
    kind = getattr(getattr(error, "param", None), "type_descriptor", None)
    names = {int: "a whole number", float: "a number"}
    if kind is None or kind.annotation not in names:
        return ""
    name, least, most = (
        names[kind.annotation], kind.parameter_info.min, kind.parameter_info.max
    )  # fmt: skip
    if least is None or most is None:
        return name if least is None else f"{name} of at least {least:.10g}"
    return f"{name} from {least:.10g} to {most:.10g}"


def _os_sentence(error: OSError) -> str:
    what = f"{error.filename}: " if error.filename is not None else ""
    return f"{what}{os_words(error)}"


def wants_json(arguments: Sequence[str]) -> bool:
    """Whether a command line asks for JSON, also where something else in it is wrong."""
    end = arguments.index("--") if "--" in arguments else len(arguments)
    return "--json" in arguments[:end]


def tell(failure: Failure, *, as_json: bool) -> None:
    """Tell a failure, one line a mistake; in JSON too, unless the command has told its result."""
    for mistake in failure.mistakes:
        sys.stderr.write(f"unisono: {' '.join(mistake.sentence.split())}\n")
    if as_json and not has_shown_json():
        show_json({"ok": False, "errors": [asdict(mistake) for mistake in failure.mistakes]})
