"""What every command of `unisono accuracy` does with a figure: remarks on it, its picture, and the
confirmed step that takes it into an arm file.
"""

import contextlib
import difflib
import stat
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from coordinator.accuracy.no_figure import NoFigure
from coordinator.cli.common import ExitCode, Failure, err, out, require_yes, show_json
from coordinator.cli.written import write_file
from coordinator.config.arm import Arm, Joint
from coordinator.config.arm_edit import with_joint_figures
from coordinator.config.data_folder import write_whole

DECIMALS: Final = 3
"""Of a reversal error in an arm file: thousandths of a degree, rounded up, since a joint has that
much play at least."""


def play_deg(reversal_deg: float) -> float:
    """What stands in an arm file for a reversal value."""
    scale = 10**DECIMALS
    # A figure that is round already stays, whatever binary fractions make of it.
    return -(-round(abs(reversal_deg) * scale, 6) // 1) / scale


def take_into(
    arm: Arm,
    joint: Joint,
    figures: Mapping[str, float],
    *,
    given: bool,
    as_json: bool,
    is_bound: bool = False,
) -> dict[str, Any]:
    """Write figures into the arm file, by key, once somebody has seen the difference; what JSON
    tells.

    `given`: the yes is given already. Raises Failure, and ArmFileError for a figure that cannot be.
    """
    path = arm.path
    text = with_joint_figures(arm, joint.name, figures, is_bound=is_bound)
    if text == arm.text:
        err().print(f"{path} has it already: nothing is written")
        return {**figures, "written": False}
    lines = difflib.unified_diff(
        arm.text.splitlines(), text.splitlines(), str(path), str(path), lineterm="", n=2
    )
    for line in lines:
        err().print(line)
    require_yes(
        f"Write this into {path}?", "changing an arm file", "nothing was written",
        given=given, as_json=as_json,
    )  # fmt: skip
    file = path.resolve()
    write_whole(file, text, stat.S_IMODE(file.stat().st_mode))
    if not as_json:
        out().print(f"{path} has it; a coordinator that runs takes it at its next start")
    return {**figures, "written": True}


def remark(remarks: Iterable[str]) -> None:
    """Tell them on standard error."""
    for one in remarks:
        err().print(f"Remark: {one}")


@contextlib.contextmanager
def or_no_figure(what: str) -> Iterator[None]:
    """Raise Failure, a sentence that begins so, where no figure can be made."""
    try:
        yield
    except NoFigure as error:
        raise Failure(ExitCode.NOT_FINISHED, f"{what}: {error}") from error


def show_figure(
    figures: Mapping[str, Any],
    remarks: Iterable[str],
    tell: Callable[[], None],
    *,
    picture: Path | None,
    draw: Callable[[], str],
    take: Callable[[], Mapping[str, Any]] = dict,
    as_json: bool,
) -> ExitCode:
    """Show what was found: drawn where a picture is asked for, with its remarks, and in words by
    `tell` or as JSON. `take` then writes what goes into an arm file, and gives what JSON tells of
    that. Raises what it raises.
    """
    drawn = {}
    if picture is not None:
        write_file(picture, draw())
        drawn = {"plot": str(picture)}
    remark(remarks)
    if not as_json:
        tell()
        if picture is not None:
            out().print(f"{picture} shows the readings")
    written = take()
    if as_json:
        show_json({**figures, **drawn, **written})
    return ExitCode.DONE
