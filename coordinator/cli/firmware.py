"""`unisono joint sign`, `image` and `update`: firmware that a joint takes over the air."""

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from coordinator.cli.common import (
    EXIT_CODES,
    DataOption,
    ExitCode,
    Failure,
    JsonOption,
    UrlOption,
    client_at,
    err,
    out,
    path_of,
    show_json,
)
from coordinator.codes.update_phase import UpdatePhase, by_itself
from coordinator.config.regular_file import read_regular
from coordinator.config.settings import DEFAULT_URL

if TYPE_CHECKING:
    from coordinator.cli.watch import Interrupts, Progress
    from coordinator.client import Client
    from coordinator.client.values import UpdateSnapshot
    from coordinator.core.updating.signed import SignedImage
    from protocol.image import ImageHeader

UPDATE_CAUTION: Final = (
    "The joint restarts with its motor off, which holds nothing then: support a raised arm. What a "
    "gripper of this joint holds may fall. Keep its supply on until it is over."
)
LOOK_S: Final = 0.1
"""Between two looks at how it goes."""
FileArgument = Annotated[
    Path,
    typer.Argument(
        metavar="FILE", parser=path_of("FILE"), help="A signed image, as 'joint sign' makes it."
    ),
]


def add_to(joint: typer.Typer) -> None:
    """Add the commands to those of `unisono joint`."""
    joint.command("sign", epilog=EXIT_CODES)(sign)
    joint.command("image", epilog=EXIT_CODES)(image)
    joint.command("update", epilog=EXIT_CODES)(update)


def sign(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="IMAGE",
            parser=path_of("IMAGE"),
            help="The program alone, without bootloader and table.",
        ),
    ],
    board: Annotated[
        str, typer.Option("--board", metavar="NAME", help="For which board it was built.")
    ],
    firmware: Annotated[
        str, typer.Option("--firmware", metavar="VERSION", help="The version that it says it is.")
    ],
    data: DataOption,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            parser=path_of("--output"),
            metavar="FILE",
            help="Where to; beside IMAGE, with .signed behind its name, if not given. What is "
            "there already is written over only where it is a signed image.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> ExitCode:
    """Sign an image with the data folder's key, so that joints that trust it take it.

    What is signed changes what joints do: sign only what you built yourself, or trust.
    """
    from coordinator.config.update_key import sign as signature_of
    from coordinator.core.updating.signed import MAX_SIGNED_BYTES
    from protocol.image import HEADER_BYTES, SIGNATURE_BYTES, describe, encode_header

    held = _read(file, MAX_SIGNED_BYTES - HEADER_BYTES - SIGNATURE_BYTES)
    if (has := _header_in(held)) is not None:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"{file} is signed already, as {has.firmware} for {has.board}: sign the program alone",
        )
    made = describe(board, firmware, held)
    try:
        header = encode_header(made)
    except ValueError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"{file} is not signed: {error}") from error
    signature = signature_of(data, header)
    to = output or file.with_name(f"{file.name}.signed")
    _require_free(to, file)
    try:
        to.write_bytes(header + signature + held)
    except OSError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"{to} cannot be written: {error.strerror}") from error
    if as_json:
        show_json({"file": str(to), **_image_value(made)})
    else:
        out().print(f"{to} holds {firmware} for {board}, {len(held)} bytes, signed")
    return ExitCode.DONE


def image(file: FileArgument, data: DataOption, as_json: JsonOption = False) -> ExitCode:
    """Show what a signed image is, and whether it was signed with the data folder's key."""
    from coordinator.config.update_key import public_update_key
    from protocol.image import is_signed

    found, public = _signed(file), public_update_key(data)
    is_own = None if public is None else is_signed(found.signed, found.signature, public)
    header = found.header
    if as_json:
        show_json({**_image_value(header), "signed_by_this_key": is_own})
        return ExitCode.DONE
    out().print(f"board {header.board}, firmware {header.firmware}")
    out().print(f"{header.size_bytes} bytes, SHA-256 {found.digest}")
    whose = {
        True: f"signed with the key of {data}",
        False: f"NOT signed with the key of {data}, or its header was changed since: joints that "
        "trust that key refuse it",
        None: f"whether it is signed is not known: {data} has no firmware.pub",
    }
    out().print(whose[is_own])
    return ExitCode.DONE


def update(
    name: Annotated[str, typer.Argument(metavar="JOINT", help="Which joint.")],
    file: FileArgument,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
) -> ExitCode:
    """Give a joint new firmware over the air, and show how that goes. Ctrl-C cancels.

    Nothing may move meanwhile, and its motor must be off. Once the joint is to install it, Ctrl-C
    changes nothing any more: it restarts, and goes back to its old firmware where the new one
    does not answer.
    """
    from coordinator.cli.remote import giving_back, of_joint
    from coordinator.cli.watch import Interrupts, Progress

    found = _signed(file)
    with client_at(url) as client, Interrupts.counted() as pressed:
        with of_joint(client, name):
            begun = client.update(name, found.file)
        with giving_back(client):
            err().print(UPDATE_CAUTION)  # beside how it goes, also where JSON comes
            ended = _follow(client, begun, Progress(quiet=as_json), pressed)
    if as_json:
        show_json(client.answers["update"])
    if ended.phase is not UpdatePhase.DONE:
        raise Failure(ExitCode.NOT_FINISHED, ended.message)
    if not as_json:
        out().print(ended.message)
    return ExitCode.DONE


def _follow(
    client: "Client", update: "UpdateSnapshot", progress: "Progress", pressed: "Interrupts"
) -> "UpdateSnapshot":
    """Follow an update until it is over; Ctrl-C cancels it as long as that can be."""
    from coordinator.client import Refused, Unreachable, WrongInput

    with progress.shown():
        answered = 0
        while not update.phase.is_over:
            words = update.message.partition(",")[0]
            progress.tell(words, f"{update.message[len(words) :]}{_share(update)}")
            try:
                if pressed.count > answered:
                    answered = pressed.count
                    try:
                        client.cancel_update(update.joint)
                    except Refused as refused:
                        err().print(str(refused))
                else:
                    time.sleep(LOOK_S)
                update = client.updating(update.joint)
            except Unreachable as error:
                raise Failure(ExitCode.UNREACHABLE, str(error), *_left(update)) from error
            except WrongInput as error:  # a coordinator that was started anew knows of none
                raise Failure(ExitCode.NOT_FINISHED, str(error), *_left(update)) from error
    return update


def _left(update: "UpdateSnapshot") -> tuple[str, str]:
    """What becomes of an update whose coordinator says no more of it, and what to do then."""
    then = by_itself(update.phase)
    if update.phase.may_be_cancelled:  # when it was heard last
        then += f"; if it was to install since, {by_itself(UpdatePhase.INSTALLING)}"
    told = f"when it answered last: {update.message}; {then}"
    way = (
        f"once the coordinator runs again, 'unisono joints' tells which firmware {update.joint} has"
    )
    return told, f"{way}; then update it again if it is not the new one"


def _share(update: "UpdateSnapshot") -> str:
    if update.phase is not UpdatePhase.SENDING:
        return ""
    return f" ({100 * update.sent_bytes // update.size_bytes} %); Ctrl-C cancels"


def _require_free(to: Path, program: Path) -> None:
    """Raise Failure where a signed image would be written over anything but an older one."""
    from protocol.image import HEADER_BYTES

    try:
        is_program = to.samefile(program)
        held, _ = read_regular(to, HEADER_BYTES)
    except FileNotFoundError:
        return
    except OSError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"{to} cannot be written: {error.strerror}") from error
    if is_program:
        raise Failure(ExitCode.WRONG_INPUT, f"{to} is the program itself, and is not written over")
    if _header_in(held) is None:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"{to} is there already, and is no signed image: it is not written over",
        )


def _header_in(held: bytes) -> "ImageHeader | None":
    """The header with which a signed image begins; None for anything else."""
    from protocol.errors import FrameError
    from protocol.image import HEADER_BYTES, decode_header

    if len(held) < HEADER_BYTES:
        return None
    try:
        return decode_header(held[:HEADER_BYTES])
    except FrameError:
        return None


def _signed(file: Path) -> "SignedImage":
    from coordinator.core.updating.signed import MAX_SIGNED_BYTES, ImageMistake, read_signed

    try:
        return read_signed(str(file), _read(file, MAX_SIGNED_BYTES))
    except ImageMistake as error:
        raise Failure(ExitCode.WRONG_INPUT, str(error)) from error


def _read(file: Path, limit: int) -> bytes:
    try:
        held, size = read_regular(file, limit)
    except OSError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"{file} cannot be read: {error.strerror}") from error
    if size > limit:
        raise Failure(ExitCode.WRONG_INPUT, f"{file} has {size} bytes, at most {limit} are taken")
    return held


def _image_value(header: "ImageHeader") -> dict[str, str | int]:
    return {
        "board": header.board,
        "firmware": header.firmware,
        "size_bytes": header.size_bytes,
        "sha256": header.sha256.hex(),
    }
