"""Which arm `check` and `rehearse` are for: a file's, the one that is served, or the demo arm.

A program that is right for one arm may be beyond another's limits: so it is always said which arm
it was held against, and the demo arm is nobody's unless no coordinator is there at all.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Final, Literal

import typer

from coordinator.cli.common import client_at, err, path_of, tell_remarks
from coordinator.client import Client, NobodyThere, Unreachable
from coordinator.config.arm import Arm, ArmFileError, load_arm, parse_arm
from coordinator.config.settings import DEMO_ARM

ArmChoiceOption = Annotated[
    Path | None,
    typer.Option(
        "--arm",
        parser=path_of("--arm"),
        metavar="FILE",
        help="The arm file.",
        show_default="that of the coordinator that answers, else the demo arm",
    ),
]
SERVED: Final = Path("served arm")
"""What its file is called in remarks and mistakes."""


@dataclass(frozen=True, slots=True)
class ChosenArm:
    """An arm, and where it is from."""

    arm: Arm
    kind: Literal["file", "coordinator", "demo"]
    place: str
    """Its file, or the address of its coordinator."""

    def to_json(self) -> dict[str, object]:
        """What every JSON about it says."""
        return {"arm": self.arm.name, "arm_source": {"kind": self.kind, "place": self.place}}


def choose_arm(file: Path | None, url: str, *, as_json: bool) -> ChosenArm:
    """The arm of a file if one is named, else of the coordinator at an address, else the demo arm.

    It is told on standard error, with remarks on it, but where JSON says it. Raises ArmFileError,
    and ClientError unless nobody is there at all.
    """
    if file is not None:
        chosen = ChosenArm(load_arm(file), "file", str(file))
        sentence = f"from {file}"
    else:
        with client_at(url) as client:
            served = _served(client)
            if served is not None:
                chosen = ChosenArm(served, "coordinator", client.url)
                sentence = f"served at {client.url}"
            else:
                chosen = ChosenArm(load_arm(DEMO_ARM), "demo", str(DEMO_ARM))
                sentence = (
                    f"the demo arm, as no coordinator answers at {client.url}; --arm names another"
                )
    if not as_json:
        err().print(f"Arm: {chosen.arm.name}, {sentence}")
    tell_remarks(chosen.arm)
    return chosen


def served_arm(client: Client) -> Arm:
    """The arm of the coordinator that answers. Raises ClientError."""
    try:
        return parse_arm(client.arm_file(), SERVED)
    except ArmFileError as error:
        raise Unreachable(
            f"the arm file from {client.url} cannot be used: {error.sentences[0]}; name the arm "
            "by --arm"
        ) from error


def _served(client: Client) -> Arm | None:
    """The same, None if nobody is there."""
    try:
        return served_arm(client)
    except NobodyThere:
        return None
