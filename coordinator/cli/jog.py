"""`unisono jog`: turn one joint by an angle, or joints by the keys of a terminal."""

import contextlib
import time
from typing import TYPE_CHECKING, Annotated, Final

import typer

from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    JsonOption,
    UrlOption,
    caution,
    client_at,
    out,
    show_json,
)
from coordinator.cli.condition import headline, unconfirmed, watching
from coordinator.cli.remote import beware, giving_back, require_known
from coordinator.cli.watch import LOOK_S, USUAL_S, Interrupts, Progress, is_settled
from coordinator.client import Client, Refused
from coordinator.codes.arm_phase import ArmPhase
from coordinator.config.jog_speeds import SpeedWord
from coordinator.config.settings import DEFAULT_URL

if TYPE_CHECKING:
    from coordinator.client.values import ArmSnapshot, JointSnapshot

STEP_MOST_DEG: Final = 360.0


def add_to(app: typer.Typer) -> None:
    """Add this command."""
    # So that an angle below zero is an angle and no option.
    app.command(epilog=EXIT_CODES, context_settings={"ignore_unknown_options": True})(jog)


def jog(
    joint: Annotated[
        str | None, typer.Argument(metavar="[JOINT]", help="Its name; without, keys turn joints.")
    ] = None,
    degrees: Annotated[
        float | None,
        typer.Argument(
            metavar="[DEGREES]",
            min=-STEP_MOST_DEG,
            max=STEP_MOST_DEG,
            help="By how much, to larger or, if negative, smaller angles; up to 360.",
        ),
    ] = None,
    speed: Annotated[
        SpeedWord,
        typer.Option(help="Of the arm file's jog_speeds; slow while the joint is not homed."),
    ] = "normal",
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Turn one joint by an angle, exactly; Ctrl-C holds. Without both, keys turn joints.

    Exit code 0 means that the joint is where the step ends. Control is given back. Keys need a
    terminal, which shows them: a joint turns while its key repeats, and any other key holds.
    """
    if joint is None or degrees is None:
        if joint is not None:
            raise Failure(ExitCode.WRONG_INPUT, f"by how many DEGREES is {joint} to be turned?")
        if as_json:
            raise Failure(ExitCode.WRONG_INPUT, "--json is for a jog of one JOINT by DEGREES")
        from coordinator.cli.jog_live import live  # with a WebSocket, which no other command needs

        return live(url, speed)
    with client_at(url) as client, Interrupts.counted() as pressed:
        arm = client.arm()
        require_known([joint], arm)
        beware(arm)
        speed_deg_s = _joint(arm, joint).jog_speeds_deg_s.named(speed)
        newest_us = max((note.at_us for note in arm.notes), default=-1)
        client.step(joint, degrees, speed_deg_s)
        with giving_back(client):
            caution(as_json=as_json)
            arm = follow_jog(client, Progress(quiet=as_json), pressed)
    found = _joint(arm, joint)
    if as_json:
        told = client.answers["arm"]
        (as_told,) = (one for one in told["joints"] if one["name"] == joint)
        show_json({"condition": told["condition"], "joint": as_told})
    short = [
        note.message
        for note in arm.notes
        if note.code == "steps-short" and note.joint == joint and note.at_us > newest_us
    ]
    if short:
        raise Failure(ExitCode.NOT_FINISHED, *unconfirmed(arm), *short, headline(arm))
    if not as_json:
        out().print(_told(found, degrees))
    return ExitCode.DONE


def _told(joint: "JointSnapshot", degrees: float) -> str:
    """What became of a step that was carried out whole."""
    at_deg, least_deg = joint.position_deg, joint.microstep_deg
    where = "it is not homed" if at_deg is None else f"it is at {at_deg:.3f}°"
    if abs(degrees) >= least_deg:
        return f"{joint.name} was turned by {degrees:g}°: {where}"
    return (
        f"{joint.name} is to be {degrees:g}° further: {where}; that is less than the smallest step "
        f"of its motor, {least_deg:.3g}°: it may not have turned"
    )


def _joint(arm: "ArmSnapshot", name: str) -> "JointSnapshot":
    return next(one for one in arm.joints if one.name == name)


def follow_jog(client: Client, progress: Progress, pressed: Interrupts) -> "ArmSnapshot":
    """Wait until nothing is jogged and the arm has said that it rests, or some moments, as others
    may move it; the arm's state then. Ctrl-C asks for a hold.
    """
    with progress.shown(), watching(client) as look:
        answered, over_s = 0, 0.0
        while not _is_over(arm := look()):
            if arm.phase != ArmPhase.JOGGING:
                over_s = over_s or time.monotonic()
                if time.monotonic() - over_s >= USUAL_S:
                    break
            progress.tell(headline(arm))
            if pressed.count > answered:
                answered = pressed.count
                with contextlib.suppress(Refused):  # it rests already
                    client.hold()
            time.sleep(LOOK_S)
    return arm


def _is_over(arm: "ArmSnapshot") -> bool:
    return arm.phase != ArmPhase.JOGGING and is_settled(arm)
