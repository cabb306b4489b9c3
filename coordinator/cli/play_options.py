"""The options of a play: one value, which every command that plays or queues takes."""

import functools
import inspect
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Annotated

import typer

from coordinator.cli.common import (
    BlockDeleteOption,
    ExitCode,
    Failure,
    FromLineOption,
    OptionalStopOption,
    StepByLineOption,
)
from coordinator.programs.loops import MAX_FOR_S, MAX_LOOPS
from coordinator.programs.options import AS_WRITTEN, PlayOptions

LoopsOption = Annotated[
    int | None,
    typer.Option(
        "--loops", min=1, max=MAX_LOOPS, help="How often it is played.", show_default="once"
    ),
]
MinutesOption = Annotated[
    float | None,
    typer.Option(
        "--minutes",
        metavar="MIN",
        help="In place of --loops: begin loops for so long; the last one is finished.",
        show_default=False,
    ),
]
CheckEdgesOption = Annotated[
    bool,
    typer.Option(
        "--check-edges",
        help="Between two loops turn each joint over its home sensor, to find lost steps. "
        "How long that takes is told before.",
    ),
]


def takes_play_options(command: Callable[..., ExitCode]) -> Callable[..., ExitCode]:
    """A command whose parameter `options` is given by all the options of a play."""
    own = inspect.signature(command).parameters
    given = inspect.signature(_play_options).parameters

    @functools.wraps(command)
    def call(**told: object) -> ExitCode:
        options = _play_options(**{name: told.pop(name) for name in given})  # type: ignore[arg-type]
        return command(options=options, **told)

    found: list[inspect.Parameter] = []
    for name, one in own.items():
        found += given.values() if name == "options" else [one]
    as_typer_reads_it = [one.replace(kind=inspect.Parameter.KEYWORD_ONLY) for one in found]
    call.__signature__ = inspect.Signature(as_typer_reads_it)  # type: ignore[attr-defined]
    call.__annotations__ = {one.name: one.annotation for one in found}
    return call


def _play_options(
    loops: LoopsOption = None,
    minutes: MinutesOption = None,
    check_edges: CheckEdgesOption = False,
    block_delete: BlockDeleteOption = False,
    optional_stop: OptionalStopOption = False,
    step_by_line: StepByLineOption = False,
    from_line: FromLineOption = None,
) -> PlayOptions:
    """All of them as one value. Raises Failure for what cannot be asked."""
    most_min = MAX_FOR_S / 60.0
    if minutes is not None and not 0.0 < minutes <= most_min:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"--minutes is {minutes:g} min, but must be above 0 and at most {most_min:g} min",
        )
    for_s = None if minutes is None else minutes * 60.0
    try:
        return PlayOptions(
            loops, for_s, check_edges, block_delete, optional_stop, step_by_line, from_line
        )
    except ValueError as error:
        raise Failure(ExitCode.WRONG_INPUT, str(error)) from error


def changed(before: PlayOptions, named: PlayOptions) -> PlayOptions:
    """Options with those that were named in place of what they were; none named means none at all.

    Raises ValueError for what cannot be asked together.
    """
    told = {
        one.name: value
        for one in fields(PlayOptions)
        if (value := getattr(named, one.name)) != one.default
    }
    if "loops" in told or "for_s" in told:
        told = {"loops": named.loops, "for_s": named.for_s} | told
    return replace(before, **told) if told else AS_WRITTEN


def options_words(options: PlayOptions) -> str:
    """What differs from playing a program once as it is written; empty for nothing."""
    told = [
        f"{options.loops} loops" if (options.loops or 1) > 1 else "",
        f"loops for {options.for_s / 60.0:g} min" if options.for_s is not None else "",
        "home edges checked" if options.check_edges else "",
        "block delete" if options.block_delete else "",
        "optional stop" if options.optional_stop else "",
        "step by line" if options.step_by_line else "",
        f"from line {options.from_line}" if options.from_line is not None else "",
    ]
    return "".join(f", {one}" for one in told if one)
