"""`unisono bring-up`: one joint from its controller to its sheet, step by step."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    UrlOption,
    client_at,
    out,
    path_of,
    show_json,
)
from coordinator.cli.remote import of_joint, require_known
from coordinator.cli.written import require_writable, write_file
from coordinator.config.settings import DEFAULT_URL

if TYPE_CHECKING:
    from coordinator.answers.bring_up import BringUp, BringUpStep

COMMANDS: Final = {
    "identified": "unisono blink {}",
    "direction": "unisono jog {} 1",
    "home": "unisono home {}",
    "travel": "unisono jog {} 20",
    "range": "unisono jog {} DEGREES",
    "link": "unisono survey {}",
    "repeatability": "unisono home {}",
}
"""By what a step is done in a terminal, where there is a command for it."""
AngleOption = Annotated[
    float | None, typer.Option("--commanded-deg", metavar="DEG", min=-3600.0, max=3600.0,
                               help="By how much it was told to turn.")
]  # fmt: skip
MeasuredOption = Annotated[
    float | None, typer.Option("--measured-deg", metavar="DEG", min=-3600.0, max=3600.0,
                               help="By how much it turned, by a protractor.")
]  # fmt: skip


def add_to(app: typer.Typer) -> None:
    """Add the command."""
    app.command("bring-up", epilog=EXIT_CODES)(show)
    app.command(epilog=EXIT_CODES)(blink)


def blink(
    joint: Annotated[str, typer.Argument(metavar="JOINT")],
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Let a joint's light blink for some seconds, so that you see which it is. Nothing moves."""
    with client_at(url) as client:
        require_known([joint], client.arm())
        client.blink(joint)
    if as_json:
        show_json({"ok": True, "joint": joint})
    else:
        out().print(f"the light of {joint} should blink now: does another one?")
    return ExitCode.DONE


def show(
    joint: Annotated[str, typer.Argument(metavar="JOINT")],
    done: Annotated[
        str | None, typer.Option("--done", metavar="STEP", help="Say that this step is done.")
    ] = None,
    answer: Annotated[
        str | None, typer.Option("--answer", metavar="WORDS", help="What you saw, of its answers.")
    ] = None,
    commanded_deg: AngleOption = None,
    measured_deg: MeasuredOption = None,
    sheet: Annotated[
        Path | None,
        typer.Option(
            "--sheet",
            parser=path_of("--sheet"),
            metavar="FILE.html",
            help="Write all that was found, to be printed.",
        ),
    ] = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Tell how far the bring-up of a joint is, what comes next and what must be known before it.

    Each step that is done is kept at once: break off whenever you like. After a swap of its
    controller, its firmware or figures of the arm file, those steps are asked for again that depend
    on it. Where the controller alone was changed, and motor, gear and housing are those of before,
    say so once: --done controller-only. Where those were changed and the controller was not, no
    figure shows it: --done other-body. An answer that something is not so takes its step back.
    Nothing moves by this command.
    """
    require_writable("--sheet", sheet, ".html")
    if done is None and (answer, commanded_deg, measured_deg) != (None, None, None):
        raise Failure(ExitCode.WRONG_INPUT, "say by --done of which step that is")
    with client_at(url) as client, of_joint(client, joint):
        if done is None:
            told = client.bring_up(joint)
        else:
            told = client.brought_up(
                joint, done, answer=answer, commanded_deg=commanded_deg, measured_deg=measured_deg
            )
        raw = client.answers["bring-up"]
        if sheet is not None:
            write_file(sheet, client.bring_up_sheet(joint))
    if as_json:
        show_json(raw if sheet is None else raw | {"sheet": str(sheet)})
        return ExitCode.DONE
    _show(told)
    if sheet is not None:
        out().print(f"{sheet} has all that was found")
    return ExitCode.DONE


def _show(told: "BringUp") -> None:
    out().print(
        f"{told.joint}, number {told.place} from the base: controller {told.controller}, firmware "
        f"{told.firmware or 'not known'}"
    )
    for step in told.steps:
        out().print(f"  {_line(step)}")
        for because in step.because:
            out().print(f"      counts no more: {because}")
    if told.exchanged is not None:
        out().print(
            f"{told.exchanged} was identified with the controller {told.controller} before: two "
            "joints may have changed places, or their ids in the arm file. See which one stands "
            "there before anything moves"
        )
    if told.other_controller is not None:
        out().print(
            f"The controller before was {told.other_controller}. If it alone was changed, say so "
            f"first: unisono bring-up {told.joint} --done controller-only"
        )
    following = next((step for step in told.steps if step.step == told.next), None)
    if following is None:
        out().print("every step is done")
        return
    out().print(f"Next, {following.title}: {following.todo}")
    out().print(f"Caution: {following.caution}")
    if following.step in COMMANDS:
        out().print(f"By: {COMMANDS[following.step].format(told.joint)}")
    out().print(f"Then: unisono bring-up {told.joint} --done {following.step}{_options(following)}")


def _line(step: "BringUpStep") -> str:
    state = {"done": "done", "next": "NEXT", "waits": "to be done"}.get(step.state, step.state)
    when = "" if step.done_utc is None else f", last {step.done_utc[:16].replace('T', ' ')} UTC"
    return f"{step.title} ({step.step}): {state}{when}"


def _options(step: "BringUpStep") -> str:
    said = " --commanded-deg DEG --measured-deg DEG" if step.measures else ""
    if step.answers:
        said += f" --answer WORDS ({', '.join(repr(one) for one in step.answers)})"
    return said
