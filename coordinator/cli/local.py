"""Commands that need no running coordinator, and those that start one.

What serves or plans takes long to import, which `stop` and `joints` must not wait for: the commands
that need it import it themselves.
"""

import logging
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from coordinator.cli import show
from coordinator.cli.common import (
    DEFAULT_ARM,
    EXIT_CODES,
    ArmOption,
    BlockDeleteOption,
    DataOption,
    ExitCode,
    Failure,
    FromLineOption,
    InterfaceOption,
    JsonOption,
    OptionalStopOption,
    ProgramArgument,
    StepByLineOption,
    UrlOption,
    caution,
    client_at,
    named_joint,
    out,
    path_of,
    read_arm,
    read_program,
    show_json,
)
from coordinator.cli.starting import collecting_nothing
from coordinator.cli.watch import work_shown
from coordinator.cli.which_arm import ArmChoiceOption, ChosenArm, choose_arm
from coordinator.cli.written import require_writable, write_file
from coordinator.config.data_folder import make_key, read_key
from coordinator.config.settings import (
    DEFAULT_PORT,
    DEFAULT_URL,
    LOOPBACK,
    ServiceSettings,
    database_url,
)
from coordinator.config.update_key import make_update_key
from coordinator.programs.size import MAX_LONG_BYTES

if TYPE_CHECKING:
    from coordinator.cli.serving import Served
    from coordinator.programs import Switches
    from simulator.port import JointPort
    from simulator.programs import JointProgram

NetworkOption = Annotated[
    Literal["quiet", "home", "busy", "hostile"],
    typer.Option("--network", help="How bad the software joints' network is."),
]
AnyNetworkOption = Annotated[
    Literal["none", "quiet", "home", "busy", "hostile", "power-save"] | None,
    typer.Option(
        "--network",
        help="How bad the software joints' network is, quiet if not given; none adds nothing, for "
        "joints that reach the coordinator by a network of yours; power-save is quiet, but that "
        "radios sleep between beacons.",
    ),
]
JointsOption = Annotated[
    Literal["python", "c", "mixed"],
    typer.Option(
        "--joints",
        help="Which software joints: those in Python; the programs in C of deploy/joint, which "
        "simulate no network; or both, turn and turn about.",
    ),
]
SeedOption = Annotated[
    int, typer.Option("--seed", metavar="N", help="Of clocks, places and network.")
]
TruthOption = Annotated[
    Path | None,
    typer.Option(
        "--truth",
        parser=path_of("--truth"),
        metavar="FILE",
        help="Write what truly happens, as JSON lines.",
    ),
]
PortOption = Annotated[
    int, typer.Option("--port", metavar="N", min=0, max=65535, help="Of page and API.")
]
ListenOption = Annotated[
    str, typer.Option("--listen", metavar="ADDR", help="This computer's IPv4 address for the page.")
]
DatabaseOption = Annotated[
    str | None,
    typer.Option(
        "--database",
        metavar="URL",
        help="A PostgreSQL database in place of the data folder's own file, such as "
        "postgresql://unisono@db.local/arm. A URL with a password is taken from UNISONO_DATABASE "
        "only.",
        show_default="UNISONO_DATABASE, else the file",
    ),
]
NameOption = Annotated[
    list[str] | None,
    typer.Option(
        "--name",
        metavar="NAME",
        help="What this computer is called there, such as bench.local; may be repeated.",
    ),
]


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    for command in (simulate, serve, demonstrate, check):
        name = "demo" if command is demonstrate else None
        app.command(name, epilog=EXIT_CODES)(command)
    keys = typer.Typer(
        rich_markup_mode=None,
        help="The arm's key, and the one that signs firmware.",
        epilog=EXIT_CODES,
    )
    keys.command("new", epilog=EXIT_CODES)(new_key)
    keys.command("firmware", epilog=EXIT_CODES)(new_firmware_key)
    app.add_typer(keys, name="key")
    tokens = typer.Typer(rich_markup_mode=None, help="Tokens for the page.", epilog=EXIT_CODES)
    tokens.command("new", epilog=EXIT_CODES)(new_token)
    tokens.callback()(_token)
    app.add_typer(tokens, name="token")


def new_key(data: DataOption, as_json: JsonOption = False) -> ExitCode:
    """Make the arm's key. It reaches the joints over their cables, never over the air."""
    path = make_key(data)
    if as_json:
        show_json({"key": str(path)})
    else:
        out().print(f"the arm's key is in {path}, readable by you only")
    return ExitCode.DONE


def new_firmware_key(data: DataOption, as_json: JsonOption = False) -> ExitCode:
    """Make the key that signs firmware: the joints' firmware is changed by whoever has it.

    Its public half reaches the joints over their cables, by 'unisono joint set-up'.
    """
    secret, public = make_update_key(data)
    if as_json:
        show_json({"key": str(secret), "public": str(public)})
    else:
        out().print(f"the key that signs firmware is in {secret}, readable by you only")
        out().print(f"its public half is in {public}; keep a copy of both where no one else comes")
    return ExitCode.DONE


def _token() -> None:
    """Who may watch the arm, and who may operate it, from another computer or a phone."""


def new_token(
    data: DataOption,
    role: Annotated[
        Literal["watch", "operate"] | None,
        typer.Option("--role", help="Only this one; both, if none is named."),
    ] = None,
    as_json: JsonOption = False,
) -> ExitCode:
    """Make new tokens, and the old ones void at once, also for pages that are open.

    They are shown once and kept as hashes.
    """
    from coordinator.api.tokens import Role, Tokens

    read_key(data)  # a folder of no coordinator gets no tokens
    made = Tokens(data).make([Role(role)] if role else list(Role))
    if as_json:
        show_json(made)
        return ExitCode.DONE
    for made_for, token in made.items():
        out().print(f"token to {made_for}, shown this once: {token}")
    return ExitCode.DONE


def check(
    file: ProgramArgument,
    arm: ArmChoiceOption = None,
    block_delete: BlockDeleteOption = False,
    optional_stop: OptionalStopOption = False,
    step_by_line: StepByLineOption = False,
    from_line: FromLineOption = None,
    url: UrlOption = DEFAULT_URL,
    as_json: JsonOption = False,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--plot",
            parser=path_of("--plot"),
            metavar="FILE.svg",
            help="Draw angle, speed and acceleration of each joint against its limits.",
        ),
    ] = None,
) -> ExitCode:
    """Check a program whole, before anything moves.

    Without --arm it is for the arm of the coordinator that answers, or else for the demo arm; which
    it was is always said. It begins where the arm of that coordinator stands, if that is known, and
    else at the pose park. Ctrl-C cancels it, also in the coordinator.
    """
    require_writable("--plot", picture, ".svg")
    text = read_program(file, MAX_LONG_BYTES)
    chosen = choose_arm(arm, url, as_json=as_json)
    from coordinator.programs import Switches

    switches = Switches(block_delete, optional_stop, step_by_line, from_line)
    if chosen.kind == "coordinator":
        with client_at(url) as client, work_shown() as tell:
            result = client.check(text, switches, tell=tell)
            told = client.answers["check"]
    else:
        from coordinator.motion import check_program

        with work_shown() as tell:
            result = check_program(text, chosen.arm, switches=switches, tell=tell)
        told = asdict(result)
    mistakes = show.mistakes(str(file), result.errors)
    drawn = {}
    if picture is not None and not mistakes:
        write_file(picture, _picture_of(file, text, chosen, url, switches))
        drawn = {"plot": str(picture)}
    if as_json:
        show_json({**told, "errors": list(map(asdict, mistakes)), **chosen.to_json(), **drawn})
    if mistakes:
        raise Failure(ExitCode.WRONG_INPUT, *mistakes)
    if not as_json:
        for sentence in show.check_sentences(str(file), result):
            out().print(sentence)
        if picture is not None:
            out().print(f"{picture} shows what each joint does")
    return ExitCode.DONE


def _picture_of(file: Path, text: str, chosen: ChosenArm, url: str, switches: "Switches") -> str:
    """What a program without mistakes would do, as SVG."""
    from coordinator.motion.curves import curves
    from coordinator.pictures.program import program_picture

    if chosen.kind == "coordinator":
        with client_at(url) as client, work_shown() as tell:
            found = client.curves(text, switches, tell=tell)
    else:
        with work_shown() as tell:
            found = curves(text, chosen.arm, switches=switches, tell=tell)
    return program_picture(file.name, chosen.arm.name, found)


def simulate(
    data: DataOption,
    arm: ArmOption = DEFAULT_ARM,
    interface: InterfaceOption = LOOPBACK,
    joints: JointsOption = "python",
    network: AnyNetworkOption = None,
    seed: SeedOption = 0,
    only: Annotated[
        list[str] | None,
        typer.Option("--only", metavar="JOINT", help="Only this joint; may be repeated."),
    ] = None,
    slips: Annotated[
        list[str] | None,
        typer.Option(
            "--slips",
            metavar="JOINT=DEG_S",
            help="Have this joint lose steps above that speed; may be repeated.",
        ),
    ] = None,
    truth: TruthOption = None,
    as_json: JsonOption = False,
) -> ExitCode:
    """Run software joints on real sockets until Ctrl-C.

    Those in Python are all in this one process, each of those in C in one of its own. With --only
    some of them, so that one that runs in a process of its own can be killed alone. Where the data
    folder has firmware.pub they take firmware over the air, and forget it when this ends.
    """
    with collecting_nothing():
        from coordinator.cli import host
        from coordinator.cli.simulating import SimulateSettings, network_for, shared_out, slipping
        from coordinator.cli.simulating import simulate as serve_joints
        from coordinator.rehearsal.software_joints import joint_settings

    described = read_arm(arm)
    wanted = [named_joint(described, name).name for name in only or ()]
    asked = {joint.id for joint in joint_settings(described, seed, wanted)}
    in_python, in_c = (
        tuple(joint for joint in some if joint.id in asked)
        for some in shared_out(joint_settings(described, seed), joints)
    )
    in_python = slipping(in_python, described, slips or ())
    network_name = network_for(joints, network, "quiet")
    settings = SimulateSettings(
        in_python, data, host.check_interface(interface), network_name, seed, truth, in_c=in_c
    )
    host.set_up_logging(logging.WARNING)

    def ready(ports: "list[JointPort]", programs: "list[JointProgram]") -> None:
        served = {port.unit.settings.id: (port.stream_port, port.udp_port) for port in ports}
        served |= {one.settings.id: (one.stream_port, one.udp_port) for one in programs}
        found = [
            {
                "name": joint.name,
                "id": joint.id,
                "stream_port": served[joint.id][0],
                "udp_port": served[joint.id][1],
            }
            for joint in described.joints
            if joint.id in served
        ]
        if as_json:
            show_json({"interface": interface, "network": network_name, "joints": found})
            return
        for joint in found:
            out().print(
                "{name} {id}: stream on port {stream_port}, datagrams on {udp_port}".format(**joint)
            )
        out().print(f"{len(found)} joints on {interface}, network {network_name}; Ctrl-C ends")

    return serve_joints(settings, ready)


def serve(
    data: DataOption,
    arm: ArmOption = DEFAULT_ARM,
    interface: InterfaceOption = LOOPBACK,
    port: PortOption = DEFAULT_PORT,
    listen: ListenOption = LOOPBACK,
    name: NameOption = None,
    database: DatabaseOption = None,
    as_json: JsonOption = False,
) -> ExitCode:
    """Coordinate an arm until Ctrl-C; a run is held first.

    Page and API are on loopback, for this computer alone. With --listen they are on one of its
    addresses for others too, by HTTPS, and ask for a token.
    """
    from coordinator.cli import host

    described = read_arm(arm)
    settings = ServiceSettings(
        arm,
        data,
        host.check_interface(interface),
        port,
        host.check_listen(listen),
        tuple(host.check_name(one, listen) for one in name or ()),
        database_url(database),
    )
    with collecting_nothing():
        from coordinator.cli.serving import serve as coordinate
    host.set_up_logging(logging.INFO)

    def ready(served: "Served") -> None:
        caution(as_json=as_json)
        if as_json:
            show_json({"arm": described.name, **asdict(served)})
            return
        out().print(f"{described.name}: the coordinator answers at {served.url}; Ctrl-C ends")
        if served.fingerprint:
            out().print(f"its certificate's fingerprint (SHA-256): {served.fingerprint}")
        for role, token in served.tokens.items():
            out().print(f"token to {role}, shown this once: {token}")

    return coordinate(settings, described, ready)


def demonstrate(
    data: Annotated[
        Path | None,
        typer.Option(
            "--data",
            parser=path_of("--data", "folder"),
            metavar="DIR",
            help="The data folder; a temporary one if not given.",
        ),
    ] = None,
    port: PortOption = DEFAULT_PORT,
    joints: JointsOption = "python",
    network: Annotated[
        Literal["quiet", "home", "busy", "hostile"] | None,
        typer.Option(
            "--network", help="How bad the software joints' network is; home if not given."
        ),
    ] = None,
    seed: SeedOption = 0,
    truth: TruthOption = None,
    stay: Annotated[
        bool, typer.Option("--stay", help="Keep all running, and neither home nor play.")
    ] = False,
    as_json: JsonOption = False,
) -> ExitCode:
    """Run the demo arm on this computer alone: one process for all joints, one for the coordinator.

    It is homed and plays a program, whose report is printed. In a terminal it tells the address of
    its page, which a browser shows, and stays until Ctrl-C.
    """
    from coordinator.cli import demo

    settings = demo.DemoSettings(port, joints, network, seed, truth, stay, as_json)
    return demo.demonstrate(settings, data)
