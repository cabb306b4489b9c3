"""`unisono joint`: from a bare board to a joint of the arm, over its serial cable."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from coordinator.cable.errors import CableError, Trouble
from coordinator.cli import firmware
from coordinator.cli.common import (
    EXIT_CODES,
    DataOption,
    ExitCode,
    Failure,
    JsonOption,
    caution,
    err,
    out,
    path_of,
    read_arm,
    show_json,
)
from coordinator.cli.secret import ask_secret
from coordinator.config.arm import Arm
from coordinator.config.data_folder import coordinator_id, read_key
from coordinator.config.regular_file import read_regular
from coordinator.config.settings import service_type
from coordinator.config.update_key import public_update_key
from protocol.cable.requests import Who, Wifi
from protocol.errors import WireError

CABLE_CAUTION: Final = (
    "Before you go on: support a raised arm, cut the supply of the joint's motor and leave the "
    "board on its cable alone. Some boards start anew when their port is opened. One that does, or "
    "is flashed, may switch its driver in any way: keep fingers out of the joint. Never plug a "
    "cable while mains wiring is open."
)
_CODES: Final = {
    Trouble.NO_PORT: ExitCode.WRONG_INPUT,
    Trouble.IMAGE: ExitCode.WRONG_INPUT,
    Trouble.LACKING: ExitCode.WRONG_INPUT,
    Trouble.BUSY: ExitCode.REFUSED,
    Trouble.REFUSED: ExitCode.REFUSED,
    Trouble.UNKNOWN: ExitCode.REFUSED,
    Trouble.OTHER_KEY: ExitCode.REFUSED,
    Trouble.GONE: ExitCode.UNREACHABLE,
    Trouble.SILENT: ExitCode.UNREACHABLE,
    Trouble.STRANGER: ExitCode.UNREACHABLE,
    Trouble.WIFI: ExitCode.NOT_FINISHED,
    Trouble.NOT_ANNOUNCED: ExitCode.NOT_FINISHED,
    Trouble.NOT_PROVED: ExitCode.NOT_FINISHED,
    Trouble.NOT_FLASHED: ExitCode.NOT_FINISHED,
}
PortArgument = Annotated[
    Path,
    typer.Argument(
        metavar="PORT", parser=path_of("PORT"), help="The serial port, such as /dev/ttyACM0."
    ),
]


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    joint = typer.Typer(
        help="Set up a joint over its serial cable, and give it new firmware.",
        no_args_is_help=True,
        rich_markup_mode=None,
    )
    joint.command("list", epilog=EXIT_CODES)(list_ports)
    joint.command("show", epilog=EXIT_CODES)(show)
    joint.command("set-up", epilog=EXIT_CODES)(set_up)
    joint.command("forget", epilog=EXIT_CODES)(forget)
    joint.command("flash", epilog=EXIT_CODES)(flash)
    firmware.add_to(joint)
    app.add_typer(joint, name="joint")


def list_ports(as_json: JsonOption = False) -> ExitCode:
    """List this computer's serial ports that may have a board."""
    from coordinator.cable.ports import find_ports

    found = find_ports()
    if as_json:
        show_json({"ports": [asdict(one) for one in found]})
        return ExitCode.DONE
    for one in found:
        out().print("  ".join(filter(None, (one.port, one.usb, one.product, one.serial))))
    if not found:
        out().print("no serial port with a device: does the cable carry data, and is it plugged?")
    return ExitCode.DONE


def show(port: PortArgument, as_json: JsonOption = False) -> ExitCode:
    """Ask the board at a port who it is, what it was told, and how its network is."""
    beware_of_port(as_json=as_json)
    with cable_told():
        from coordinator.cable.conversation import Conversation
        from coordinator.cable.port import Port

        with Port(port) as opened:
            board = Conversation(opened)
            who, wifi = board.who(), board.wifi()
    if as_json:
        show_json({"joint": _who_value(who), "network": _wifi_value(wifi)})
        return ExitCode.DONE
    value = _who_value(who)
    out().print(f"id {who.id}, firmware {who.firmware}")
    out().print(f"key: {'set' if who.has_key else 'none'}")
    out().print(f"key that signs updates: {'set' if who.has_update_key else 'none'}")
    out().print(f"name: {who.name or 'none'}")
    out().print(f"network: {value['ssid'] or 'none'}, {_wifi_words(wifi)}")
    return ExitCode.DONE


def set_up(
    port: PortArgument,
    arm: Annotated[
        Path,
        typer.Option(
            "--arm", parser=path_of("--arm"), metavar="FILE", help="The arm file with its id."
        ),
    ],
    data: DataOption,
    interface: Annotated[
        str,
        typer.Option(
            "--interface",
            metavar="ADDR",
            help="IPv4 address of this computer on the joints' network.",
        ),
    ],
    ssid: Annotated[
        str, typer.Option("--ssid", metavar="NAME", help="The network; it is asked for without.")
    ] = "",
    as_json: JsonOption = False,
) -> ExitCode:
    """Give the board at a port the arm's key, the network and its name, and see that it comes up.

    Where DIR has firmware.pub it gets that too, and takes firmware by it over the air from then on.
    The network's password is asked for without being shown; where the input is no terminal, its
    first line is the password. Neither it nor the key can be given on a command line.
    """
    from coordinator.cable import set_up as steps
    from coordinator.cable.conversation import Conversation
    from coordinator.cable.port import Port
    from coordinator.cli.host import check_interface

    described, address = read_arm(arm), check_interface(interface)
    key, update_key = read_key(data), public_update_key(data)
    _beware(as_json=as_json)
    with cable_told():
        with Port(port) as opened:
            who = Conversation(opened).who()
        name = _name_in(described, who, port)
        network = ssid or _ask("network: ", "--ssid is missing")
        password = ask_secret(f"password of {network} (empty for an open network): ", "password")
        wanted = steps.Wanted(os.fsencode(network), password, key, name, update_key)
        wifi = steps.set_up(port, wanted, _teller(as_json=as_json))
        at = _came_up(who.id, wifi, key, data, address)
    if as_json:
        told = {"id": who.id, "name": name, "ssid": network, "stream": at}
        show_json({"ok": True, "joint": told, "network": _wifi_value(wifi)})
    else:
        out().print(f"{name} announces itself and proves the arm's key at {at}: it is set up")
    return ExitCode.DONE


def forget(
    port: PortArgument,
    joint_id: Annotated[
        str, typer.Option("--id", metavar="ID", help="Of the board, as 'unisono joint show' tells.")
    ],
    as_json: JsonOption = False,
) -> ExitCode:
    """Have the board at a port forget keys, network, name. Its id says that you mean this one."""
    beware_of_port(as_json=as_json)
    with cable_told():
        from coordinator.cable.conversation import Conversation
        from coordinator.cable.port import Port

        with Port(port) as opened:
            board = Conversation(opened)
            who = board.who()
            if who.id != joint_id:
                raise Failure(
                    ExitCode.WRONG_INPUT,
                    f"--id is {joint_id!r}, but the board at {port} has the id {who.id}",
                )
            board.forget()
    if as_json:
        show_json({"ok": True, "id": who.id})
    else:
        out().print(f"{who.id} has forgotten keys, network and name")
    return ExitCode.DONE


def flash(
    port: PortArgument,
    image: Annotated[
        Path,
        typer.Argument(
            metavar="IMAGE", parser=path_of("IMAGE"), help="Bootloader, table and program in one."
        ),
    ],
    supply_off: Annotated[
        bool, typer.Option("--supply-off", help="Say that the motor's supply is cut.")
    ] = False,
    as_json: JsonOption = False,
) -> ExitCode:
    """Write firmware onto the board at a port; it then knows nothing that it was told before."""
    from coordinator.cable.flash import flash as write
    from coordinator.cable.flash import require_library
    from coordinator.cable.image import MAX_IMAGE_BYTES, read_image
    from coordinator.cable.port import Port

    try:
        held, size = read_regular(image, MAX_IMAGE_BYTES)
    except OSError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"{image} cannot be read: {error.strerror}") from error
    if size > MAX_IMAGE_BYTES:
        raise Failure(
            ExitCode.WRONG_INPUT, f"{image} has {size} bytes, an image at most {MAX_IMAGE_BYTES}"
        )
    with cable_told():
        merged = read_image(held)
        _beware(as_json=as_json)
        if not supply_off:
            raise Failure(
                ExitCode.WRONG_INPUT,
                "cut the motor's supply first, then say so by --supply-off: while it is flashed, "
                "nobody commands the board's driver",
            )
        require_library()
        with Port(port):
            pass  # is it one, and free?
        chip = write(port, merged, _percent(as_json=as_json))
    if as_json:
        show_json({"ok": True, "chip": chip, "bytes": len(held)})
    else:
        out().print(f"{len(held)} bytes are on the {chip} at {port}, whose digest of them is right")
    return ExitCode.DONE


@contextmanager
def cable_told() -> Iterator[None]:
    """Trouble at the cable as a failure with its exit code."""
    try:
        yield
    except CableError as error:
        raise Failure(_CODES[error.trouble], str(error)) from error
    except WireError as error:  # of what was typed
        raise Failure(ExitCode.WRONG_INPUT, error.message) from error


def _beware(*, as_json: bool) -> None:
    caution(as_json=as_json)
    if not as_json:
        out().print(CABLE_CAUTION)


def beware_of_port(*, as_json: bool) -> None:
    """Of what opening a port may do."""
    if not as_json:
        err().print(CABLE_CAUTION)


def _teller(*, as_json: bool) -> Callable[[str], None]:
    """Progress: with the result where people read, else beside it."""
    console = err() if as_json else out()
    return lambda line: console.print(line)


def _percent(*, as_json: bool) -> Callable[[int, int], None]:
    told = -1

    def progress(done: int, of: int) -> None:
        nonlocal told
        tenth = 10 * done // max(of, 1)
        if tenth > told:
            told = tenth
            _teller(as_json=as_json)(f"{10 * tenth} % written")

    return progress


def _name_in(arm: Arm, who: Who, port: Path) -> str:
    for joint in arm.joints:
        if joint.id == who.id:
            return joint.name
    raise Failure(
        ExitCode.WRONG_INPUT,
        f"the board at {port} has the id {who.id}, which no joint of {arm.path} has: write "
        f'id = "{who.id}" into the joint that it is to be',
    )


def _came_up(joint_id: str, wifi: Wifi, key: bytes, data: Path, interface: str) -> str:
    import asyncio

    from coordinator.cable.came_up import a_session, came_up
    from coordinator.links.opening import Opening

    opening = Opening(key, coordinator_id(data), a_session())
    return asyncio.run(came_up(joint_id, wifi.address, opening, interface, service_type()))


def _ask(prompt: str, missing: str) -> str:
    if not sys.stdin.isatty():
        raise Failure(ExitCode.WRONG_INPUT, missing)
    err().print(prompt, end="")
    return sys.stdin.readline().rstrip("\n")


def _who_value(who: Who) -> dict[str, Any]:
    return {**asdict(who), "ssid": who.ssid.decode("utf-8", errors="backslashreplace")}


def _wifi_value(wifi: Wifi) -> dict[str, Any]:
    return {
        "state": wifi.state.name.lower(),
        "reason": wifi.reason.name.lower().replace("_", "-"),
        "address": str(wifi.address),
        "rssi_dbm": wifi.rssi_dbm,
    }


def _wifi_words(wifi: Wifi) -> str:
    value = _wifi_value(wifi)
    match value["state"]:
        case "connected":
            return f"connected at {wifi.address}, {wifi.rssi_dbm} dBm"
        case "failed":
            return f"not connected: {value['reason']}"
        case "trying":
            return "not connected yet"
    return "not tried"
