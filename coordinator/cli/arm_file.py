"""`unisono arm`: an arm file begun from the joints that are there, and held to its own rules."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from coordinator.cli.common import (
    EXIT_CODES,
    ExitCode,
    Failure,
    InterfaceOption,
    JsonOption,
    err,
    out,
    path_of,
    read_arm,
    show_json,
)
from coordinator.cli.joint import beware_of_port, cable_told
from coordinator.config.arm import MAX_JOINTS
from coordinator.config.data_folder import write_new
from coordinator.config.settings import LOOPBACK, service_type

if TYPE_CHECKING:
    from coordinator.config.arm_draft import FoundJoint
    from coordinator.core.events import Found

USUAL_FILE: Final = Path("arm.toml")
ArmFileArgument = Annotated[
    Path, typer.Argument(metavar="[FILE]", parser=path_of("FILE"), help="The arm file.")
]


@dataclass(frozen=True, slots=True)
class _Board:
    """What a board told over its cable."""

    port: Path
    id: str
    name: str
    firmware: str


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    arm = typer.Typer(
        help="The arm file: begin one, check one.",
        no_args_is_help=True,
        rich_markup_mode=None,
        epilog=EXIT_CODES,
    )
    arm.command("new", epilog=EXIT_CODES)(new)
    arm.command("check", epilog=EXIT_CODES)(check)
    app.add_typer(arm, name="arm")


def new(
    file: ArmFileArgument = USUAL_FILE,
    interface: InterfaceOption = LOOPBACK,
    ports: Annotated[
        list[Path] | None,
        typer.Option(
            "--port",
            metavar="PORT",
            parser=path_of("--port"),
            help="A serial port with a board; may be repeated, base to tool.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> ExitCode:
    """Begin an arm file from the joints that are there: those that announce themselves, and those
    on a cable.

    What no joint can tell of itself is left for you to fill in, and is named by its line; until
    then the file is refused. All else in it is cautious. A file that is there is left as it is.
    """
    from coordinator.cli.host import check_interface

    address = check_interface(interface)
    _require_new(file)
    boards = _boards(ports or (), as_json=as_json)
    announced = _announced(address)
    remarks = _not_found(boards, announced, address)
    joints = _joined(boards, announced)
    for remark in remarks:
        err().print(f"Remark: {remark}")
    if not joints:
        raise Failure(
            ExitCode.NOT_FINISHED,
            f"no joint was found, so {file} is not begun: is --interface this computer's address "
            "on the joints' network, and were they set up ('unisono joint set-up')? Where a "
            "network passes no multicast, name each board's cable by --port",
        )
    if len(joints) > MAX_JOINTS:
        raise Failure(
            ExitCode.NOT_FINISHED,
            f"{len(joints)} joints were found, and an arm has at most {MAX_JOINTS}: switch off "
            f"those of other arms first: {' '.join(one.id for one in joints)}",
        )
    _write(file, joints, remarks, as_json=as_json)
    return ExitCode.DONE


def check(file: ArmFileArgument = USUAL_FILE, as_json: JsonOption = False) -> ExitCode:
    """Tell what is wrong with an arm file, line by line, or that it can be used."""
    arm = read_arm(file)
    names = [joint.name for joint in arm.joints]
    if as_json:
        show_json({"ok": True, "arm": arm.name, "joints": names, "remarks": list(arm.remarks)})
    else:
        out().print(f"{file}: {arm.name} with {', '.join(names)}; nothing in it is wrong")
    return ExitCode.DONE


def _require_new(file: Path) -> None:
    """Raise Failure where no file can be begun, before anybody is asked anything."""
    if file.exists() or file.is_symlink():
        raise Failure(ExitCode.WRONG_INPUT, _there(file))
    if not file.absolute().parent.is_dir():
        raise Failure(ExitCode.WRONG_INPUT, f"{file} cannot be written: there is no such folder")


def _there(file: Path) -> str:
    return f"{file} is there already, and is left as it is: give another name"


def _boards(ports: Sequence[Path], *, as_json: bool) -> list[_Board]:
    """Who is on these cables, in this order."""
    if not ports:
        return []
    from coordinator.cable.conversation import Conversation
    from coordinator.cable.port import Port

    beware_of_port(as_json=as_json)
    found: list[_Board] = []
    for port in ports:
        with cable_told(), Port(port) as opened:
            who = Conversation(opened).who()
        twice = next((one.port for one in found if one.id == who.id), None)
        if twice is not None:
            raise Failure(
                ExitCode.WRONG_INPUT, f"the boards at {twice} and {port} have one id, {who.id}"
            )
        found.append(_Board(port, who.id, who.name, who.firmware))
    return found


def _announced(address: str) -> "tuple[Found, ...]":
    import asyncio

    from coordinator.links.looking import joints_there

    return asyncio.run(joints_there(address, service_type()))


def _joined(boards: Sequence[_Board], announced: "Sequence[Found]") -> "list[FoundJoint]":
    """Each joint once: those on cables in their order, then the others by id."""
    from coordinator.config.arm_draft import FoundJoint

    places: dict[str, str] = {}
    for one in announced:
        firmware = f"with firmware {one.announcement.firmware}"
        places.setdefault(one.announcement.id, f"announced at {one.address} {firmware}")
    joints = []
    for board in boards:
        place = places.pop(board.id, "")
        told = f"told by its cable{', ' if place else f', firmware {board.firmware}'}{place}"
        joints.append(FoundJoint(board.id, told, board.name))
    return joints + [FoundJoint(joint_id, told) for joint_id, told in places.items()]


def _not_found(
    boards: Sequence[_Board], announced: "Sequence[Found]", address: str
) -> tuple[str, ...]:
    """What somebody may have expected to be found, and what is found twice."""
    hosts: dict[str, list[str]] = {}
    for one in announced:
        hosts.setdefault(one.announcement.id, []).append(str(one.address))
    found = []
    if not hosts:
        found.append(f"nobody announces a joint on {address}")
    found += [
        f"{one.id}, at {one.port}, does not announce itself on {address}: is it set up, and its "
        "network this one?"
        for one in boards
        if hosts and one.id not in hosts
    ]
    found += [
        f"{joint_id} is announced at {' and '.join(places)}: two with one id cannot be told apart"
        for joint_id, places in hosts.items()
        if len(places) > 1
    ]
    return tuple(found)


def _write(
    file: Path, joints: "Sequence[FoundJoint]", remarks: Sequence[str], *, as_json: bool
) -> None:
    from coordinator.config.arm_draft import CHECK, arm_draft, to_fill_in

    text = arm_draft(joints)
    write_new(file, text, 0o644, _there(file))
    lacking = to_fill_in(text, file)
    if as_json:
        show_json(
            {
                "file": str(file),
                "joints": [asdict(one) for one in joints],
                "to_fill_in": [asdict(one) for one in lacking],
                "remarks": list(remarks),
            }
        )
        return
    for one in joints:
        out().print(f"{one.id}  {one.told}")
    count = f"{len(joints)} joint{'' if len(joints) == 1 else 's'}"
    out().print(f"{file} is begun with {count}; their order, base to tool, is yours to set")
    for mistake in lacking:
        out().print(f"fill in {mistake.sentence}")
    out().print(
        f"These are for you to measure and write. Look at each {CHECK} too. Then: "
        f"unisono arm check {file}"
    )
