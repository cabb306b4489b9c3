"""`unisono backup` and `unisono restore`: all that an arm has here, in one file and back again.

What does it takes a while to import, which the other commands need not wait for.
"""

import sys
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from coordinator.cli.common import (
    EXIT_CODES,
    DataOption,
    ExitCode,
    Failure,
    JsonOption,
    err,
    out,
    path_of,
    read_arm,
    show_json,
)
from coordinator.cli.secret import ask_secret
from coordinator.config.arm import ArmFileError, load_arm
from coordinator.config.data_folder import KEY_FILE

if TYPE_CHECKING:
    from coordinator.backup.contents import Manifest
    from coordinator.backup.restore import Restored

ARM_IN_DATA: Final = "arm.toml"
KEYS_CAUTION: Final = (
    "Whoever has this file and the passphrase can move the arm: keep them apart. Without the "
    "passphrase the keys in it are lost."
)
ONE_CAUTION: Final = (
    "Let only one computer command the arm: end the coordinator of the old one before you start "
    "this one. What was done since the backup is known to nobody here, a home that wandered "
    "neither: look at the arm, and home every joint before it plays."
)


def add_to(app: typer.Typer) -> None:
    """Add the commands."""
    app.command(epilog=EXIT_CODES)(backup)
    app.command(epilog=EXIT_CODES)(restore)


def backup(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", parser=path_of("FILE"), help="Where to. Nothing is written over."
        ),
    ],
    data: DataOption,
    arm: Annotated[
        Path | None,
        typer.Option(
            "--arm",
            parser=path_of("--arm"),
            metavar="FILE",
            help="The arm file.",
            show_default="arm.toml in the data folder",
        ),
    ] = None,
    with_key: Annotated[
        bool,
        typer.Option(
            "--with-key",
            help="Put in the arm's key, the one that signs firmware and the page's certificate "
            "too, encrypted by a passphrase that is asked for.",
        ),
    ] = False,
    as_json: JsonOption = False,
) -> ExitCode:
    """Put arm file, programs, sequences, records and settings into one file.

    A coordinator may go on meanwhile. With --with-key a passphrase of at least 15 letters is asked
    for, twice and without being shown; where the input is no terminal, its first line is it.
    """
    from coordinator.backup.make import back_up, require_place
    from coordinator.store.utc import utc_now

    described = arm or data / ARM_IN_DATA
    if arm is None and not described.exists():
        raise Failure(
            ExitCode.WRONG_INPUT, f"there is no {described}: name the arm file by --arm FILE"
        )
    require_place(data, file)
    name = read_arm(described).name
    passphrase = _new_passphrase() if with_key else None
    made = back_up(data, described, file, passphrase, datetime.fromisoformat(utc_now()))
    if as_json:
        show_json(
            {
                "ok": True,
                "file": str(file),
                "arm": name,
                "size_bytes": made.size_bytes,
                **_manifest_value(made.manifest),
                "left_out": list(made.left_out),
            }
        )
        return ExitCode.DONE
    out().print(f"{file} has {_arm(name)}{_contents(made.manifest)}: {made.size_bytes} bytes")
    if made.left_out:
        out().print(f"not in it: {', '.join(map(_printable, made.left_out))}")
    if not with_key:
        out().print(
            f"the arm's key is not in it: without {KEY_FILE} nobody moves the arm, so keep that "
            "too, or make a backup --with-key"
        )
    else:
        out().print(KEYS_CAUTION)
    return ExitCode.DONE


def restore(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", parser=path_of("FILE"), help="What 'unisono backup' has made."
        ),
    ],
    data: DataOption,
    replace: Annotated[
        bool,
        typer.Option(
            "--replace",
            help="Where the data folder has something in it: put that aside, and delete nothing.",
        ),
    ] = False,
    without_key: Annotated[
        bool,
        typer.Option(
            "--without-key", help="Leave the keys in the file alone, and ask for no passphrase."
        ),
    ] = False,
    as_json: JsonOption = False,
) -> ExitCode:
    """Make a data folder of a backup, with the arm file in it; as a whole or not at all.

    No coordinator may use the folder. Where the file has keys their passphrase is asked for; where
    the input is no terminal, its first line is it.
    """
    from coordinator.backup.restore import restore as put_back
    from coordinator.store.utc import utc_now

    done = put_back(
        file,
        data,
        None if without_key else lambda: ask_secret("passphrase of the keys: ", "passphrase"),
        datetime.fromisoformat(utc_now()),
        replace=replace,
    )
    name, unread = _name_of(data / ARM_IN_DATA)
    if as_json:
        show_json(
            {
                "ok": True,
                "file": str(file),
                "arm": name,
                "data": str(data),
                **_manifest_value(done.manifest),
                "keys": list(done.keys),
                "put_aside": _name(done.put_aside),
                "left_behind": _name(done.left_behind),
            }
        )
        return ExitCode.DONE
    out().print(f"{data} has {_arm(name)}{_contents(done.manifest, keys=done.keys)}")
    _tell_asides(done, data, name)
    if KEY_FILE not in done.keys:
        out().print(_no_key(done, data))
    out().print(
        f"next: unisono serve --arm {data / ARM_IN_DATA} --data {data} --interface ADDR, with this "
        "computer's address on the joints' network"
    )
    if unread:
        err().print(f"Caution: its arm file is none that this Unisono reads: {unread}")
    err().print(ONE_CAUTION)
    return ExitCode.DONE


def _name_of(arm: Path) -> tuple[str | None, str]:
    """What the arm in a file is called; None where this program does not read it, and why."""
    try:
        return load_arm(arm).name, ""
    except ArmFileError as error:
        return None, error.mistakes[0].sentence


def _arm(name: str | None) -> str:
    return "" if name is None else f"the arm {name!r}: "


def _printable(name: str) -> str:
    """A file's name as a terminal may have it, whatever somebody called it."""
    return "".join(
        one if one.isprintable() else one.encode("unicode_escape").decode() for one in name
    )


def _new_passphrase() -> str:
    """One that is long enough, typed twice where somebody types."""
    from coordinator.backup.sealed import PASSPHRASE_LETTERS_MIN

    passphrase = ask_secret("new passphrase for the keys: ", "passphrase")
    if len(passphrase) < PASSPHRASE_LETTERS_MIN:
        raise Failure(
            ExitCode.WRONG_INPUT,
            f"the passphrase has {len(passphrase)} letters, but must have at least "
            f"{PASSPHRASE_LETTERS_MIN}: some words that nobody would guess",
        )
    if sys.stdin.isatty() and passphrase != ask_secret("once more: ", "passphrase"):
        raise Failure(ExitCode.WRONG_INPUT, "the two passphrases differ; nothing was written")
    return passphrase


def _contents(manifest: "Manifest", keys: tuple[str, ...] | None = None) -> str:
    """What is in it, in words."""
    from coordinator.backup.contents import REPORTS, SEALED

    names = [one.name for one in manifest.members if one.name != SEALED]
    plain = [name for name in names if not name.startswith(REPORTS)]
    reports = len(names) - len(plain)
    old = [f"{reports} old report{'' if reports == 1 else 's'}"] if reports else []
    secrets = manifest.sealed if keys is None else keys
    encrypted = f", encrypted {', '.join(secrets)}" if secrets and keys is None else ""
    there = list(secrets) if keys else []
    made = f"as of {manifest.made_utc}, by Unisono {manifest.project}"
    return f"{', '.join([*plain, *there, *old])}{encrypted}, {made}"


def _tell_asides(done: "Restored", data: Path, name: str | None) -> None:
    if done.put_aside is not None:
        out().print(f"what {data} had before is in {done.put_aside}")
        before, _ = _name_of(done.put_aside / ARM_IN_DATA)
        if before is not None and before != name:
            err().print(f"Caution: what {data} had before is another arm's, {before!r}")
    if done.left_behind is not None:
        out().print(f"what an earlier restore that was cut short had left is in {done.left_behind}")


def _no_key(done: "Restored", data: Path) -> str:
    told = f"the arm's key is not in {data}: put {KEY_FILE} there before you start"
    if done.put_aside is not None and (before := done.put_aside / KEY_FILE).exists():
        return f"{told}; that of before is {before}, if it is the same arm"
    return f"{told}; a new one would have to go over its cable to every joint"


def _manifest_value(manifest: "Manifest") -> dict[str, Any]:
    return {
        "made_utc": manifest.made_utc,
        "project": manifest.project,
        "revision": manifest.revision,
        "sealed": list(manifest.sealed),
        "members": [asdict(one) for one in manifest.members],
    }


def _name(path: Path | None) -> str | None:
    return None if path is None else str(path)
