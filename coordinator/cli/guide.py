"""`unisono accuracy guide`: to each angle while a key is held, what is read there typed in, and the
figure. It is broken off at any time, and goes on where it was by the same command.
"""

import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from coordinator.accuracy.guide import (
    Guided,
    GuideError,
    Visit,
    cells_of,
    head_of,
    limit_of,
    note_of,
    require_same_table,
    usual_repeats,
    visits_of,
)
from coordinator.accuracy.readings import LENGTHS
from coordinator.accuracy.table import ReadingsError, Table
from coordinator.cli import measuring
from coordinator.cli.common import ExitCode, Failure, client_at, err, out, read_arm
from coordinator.cli.guided import require_homed, tested_joint
from coordinator.cli.held_way import go_while_held
from coordinator.cli.holding import GOES
from coordinator.cli.written import require_writable
from coordinator.config.data_folder import write_whole
from coordinator.config.joint import Joint
from coordinator.config.mistake import Mistake


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked for."""

    test: Guided
    joint: str
    file: Path
    targets: Sequence[float]
    repeats: int | None
    """None for as often as is usual."""
    unit: str
    radius_mm: float | None
    arm: Path | None
    picture: Path | None
    url: str


def show(asked: Asked) -> ExitCode:
    """Go through what is left of the test, then tell its figure. Raises Failure."""
    require_writable("FILE.csv", asked.file, ".csv")
    require_writable("--plot", asked.picture, ".svg")
    _require_options(asked)
    arm = None if asked.arm is None else read_arm(asked.arm)
    with client_at(asked.url) as client:
        joint = tested_joint(client, asked.joint, arm)
        head, plan, above, rows = _begun(asked, joint)
        if len(rows) < len(plan):
            require_homed(client, joint.name)
    _require_terminal()
    if rows:
        err().print(f"{asked.file} has {len(rows)} of {len(plan)} readings: it goes on there")
    limit = limit_of(asked.test, asked.unit, asked.radius_mm)
    for number, visit in enumerate(plan[len(rows) :], len(rows) + 1):
        where = f"reading {number} of {len(plan)}: {visit.target_deg:g}° from {visit.side}"
        err().print(where)
        _visit(asked.url, joint, visit)
        read = _read(head[-1], limit)
        if read is None:
            raise Failure(
                ExitCode.NOT_FINISHED,
                f"broken off with {number - 1} of {len(plan)} readings in {asked.file}: the same "
                "command goes on",
            )
        rows.append(",".join([*visit.cells, read]))
        write_whole(asked.file, "\n".join([*above, *rows, ""]))
    return _figure(asked, joint)


def _require_options(asked: Asked) -> None:
    """Raise Failure for what would come out only once all is read."""
    at_radius = asked.test is Guided.REVERSAL and asked.unit in LENGTHS
    if at_radius and asked.radius_mm is None:
        why = f"--unit is {asked.unit}: --radius-mm must say how far from the axis that is read"
    elif not at_radius and asked.radius_mm is not None:
        why = "--radius-mm is for a reversal value that is read in mm or um"
    elif asked.test is Guided.REPEATABILITY and asked.arm is not None:
        why = "--arm: repeatability is no figure of an arm file"
    else:
        return
    raise Failure(ExitCode.WRONG_INPUT, why)


def _begun(asked: Asked, joint: Joint) -> tuple[tuple[str, ...], list[Visit], list[str], list[str]]:
    """Head, plan, the lines with which the file begins, and those of readings that it has, all of
    them such as the figure can be made of. Raises Failure.
    """
    try:
        head = head_of(asked.test, asked.unit)
        repeats = usual_repeats(asked.test) if asked.repeats is None else asked.repeats
        plan = visits_of(asked.test, asked.targets, repeats, joint.range_deg)
    except GuideError as error:
        raise Failure(ExitCode.WRONG_INPUT, f"{joint.name}: {error}") from error
    note = note_of(asked.test, joint.name, asked.targets, asked.radius_mm)
    above = [f"# {note}", ",".join(head)]
    if not asked.file.exists():
        return head, plan, above, []
    limit = limit_of(asked.test, asked.unit, asked.radius_mm)
    try:
        table = Table(asked.file)
        table.require_right()
        require_same_table(table, head, plan, note)
        for row in table.rows:
            table.bounded(row, head[-1], 1.0, limit, asked.unit)
        table.require_right()
    except ReadingsError as error:
        raise Failure(ExitCode.WRONG_INPUT, *error.mistakes) from error
    except GuideError as error:
        sentence = f"{asked.file} is no table of this test: {error}"
        raise Failure(ExitCode.WRONG_INPUT, Mistake(sentence, str(asked.file))) from error
    return head, plan, above, [",".join(cells_of(table, row, head)) for row in table.rows]


def _require_terminal() -> None:
    if not (sys.stdin.isatty() and out().file.isatty()):
        raise Failure(
            ExitCode.WRONG_INPUT,
            "a key is held to move the joint, and what is read is typed: that needs a terminal for "
            "input and output",
        )


def _visit(url: str, joint: Joint, visit: Visit) -> None:
    """First to where it is come from, then to it, each while a key is held; again where it was let
    go beside its target. Raises Failure.
    """
    while True:
        for at_deg in (visit.before_deg, visit.target_deg):
            angles_deg = {joint.name: at_deg}
            title = f"{at_deg:g}° of {joint.name}"
            go_while_held(url, title, {"angles_deg": angles_deg}, angles_deg)
        with client_at(url) as client:
            position_deg = client.joints()[joint.name].position_deg
        if position_deg is None:
            raise Failure(ExitCode.NOT_FINISHED, f"where {joint.name} is, is not known any more")
        if abs(position_deg - visit.target_deg) <= joint.microstep_deg:
            return
        err().print(f"{joint.name} rests at {position_deg:.4f}°, beside its target: once more")


def _read(column: str, limit: float) -> str | None:
    """What was typed, once it is a number that can be; None where it is to be broken off."""
    while True:
        err().print(f"Hands off, let it settle. {column} (q breaks off): ", end="")
        line = sys.stdin.readline()
        typed = line.strip().lstrip(GOES)  # the key repeats a little longer than it is needed
        if not line or typed == "q":
            return None
        try:
            value = float(typed)
        except ValueError:
            value = math.nan
        if math.isfinite(value) and abs(value) <= limit:
            return typed
        why = "is no number, with a point before its decimals"
        if math.isfinite(value):
            why = f"is more than the {limit:g} that can be: is it in {column.rpartition('_')[2]}?"
        err().print(f"{typed!r} {why}")


def _figure(asked: Asked, joint: Joint) -> ExitCode:
    """Of the whole table, as the command of that test tells it; for a gear with the step that takes
    it into the arm file, for which it needs that.
    """
    if asked.test is Guided.REPEATABILITY:
        return measuring.show_repeatability(asked.file, asked.picture, as_json=False)
    taken = None if asked.arm is None else joint.name
    if asked.test is Guided.REVERSAL:
        reversal = measuring.Asked(
            asked.file, asked.radius_mm, taken, asked.arm, False, asked.picture
        )
        return measuring.show_reversal(reversal, as_json=False)
    from coordinator.cli import gear

    if asked.arm is None:
        out().print(
            f"{asked.file} is whole. Its gear: unisono accuracy ratio {asked.file} --joint "
            f"{joint.name} --arm FILE"
        )
        return ExitCode.DONE
    ratio = gear.Asked(asked.file, joint.name, asked.arm, False, asked.picture)
    return gear.show_ratio(ratio, as_json=False)
