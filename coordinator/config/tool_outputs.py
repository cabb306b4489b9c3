"""The tool's outputs: the words that switch them, what is awaited, and what ends them by itself."""

from dataclasses import dataclass
from typing import Final

from coordinator.config.joint import NAME, NAME_MEANING, Joint
from coordinator.config.toml_table import Complaints, Table

TOOL_WORDS: Final = (("M3", "M5"), ("M8", "M9"))
"""Pairs of program words that may switch a tool output on and off."""
MAX_WAIT_S: Final = 60.0
"""For an input. What takes longer needs somebody to look at it: M0."""
KEEP_OR_OFF: Final = ("keep", "off")


@dataclass(frozen=True, slots=True)
class Wait:
    """What a program waits for behind a switch: an input, and for how long."""

    input: str
    joint: str
    """That carries it."""
    bit: int
    """Its place in the joint's inputs."""
    level: bool
    """`is` in the arm file."""
    within_s: float

    @property
    def wanted(self) -> str:
        """What is awaited, for people."""
        return f"{self.input} to be {'on' if self.level else 'off'}"


@dataclass(frozen=True, slots=True)
class ToolOutput:
    """An output that programs switch, and the words that switch it.

    What happens to it when things go wrong is done by its joint: `off` switches it off, else it
    stays. It stays unless the arm file says otherwise: what a gripper lets go of falls.
    """

    output: str
    joint: str
    bit: int
    """Its place in the joint's output mask."""
    on: str
    off: str
    wait_on: Wait | None = None
    """What a program waits for once it was switched on; None for nothing."""
    wait_off: Wait | None = None
    off_on_hold: bool = False
    """Whether it goes off when its joint holds on the path."""
    off_on_stop: bool = False
    """Whether it goes off with a stop of any level."""
    off_on_lost: bool = False
    """Whether it goes off when the coordinator is not heard any more, or the link is lost: a
    joint cannot tell which."""


def read_tool_outputs(
    arm: Table, joints: tuple[Joint, ...], complaints: Complaints
) -> tuple[ToolOutput, ...]:
    """The rows `tool_outputs` of an arm file; none where they are not there."""
    if not arm.has("tool_outputs"):
        return ()
    carriers = {
        output: (joint.name, bit) for joint in joints for bit, output in enumerate(joint.outputs)
    }
    found: list[ToolOutput] = []
    for index, row in enumerate(arm.items("tool_outputs")):
        table = Table(row, ("tool_outputs", index), f"tool output {index + 1}:", complaints)
        output = table.text("output", NAME, NAME_MEANING)
        on = table.text("on", r"M\d", "a program word")
        off = table.text("off", r"M\d", "a program word")
        if output and output not in carriers:
            table.complain("output", f"output is {output}, which no joint carries")
        _check_words(table, output, on, off, found)
        joint, bit = carriers.get(output, ("", 0))
        found.append(
            ToolOutput(
                output,
                joint,
                bit,
                on,
                off,
                wait_on=_read_wait(table, "wait_on", joints),
                wait_off=_read_wait(table, "wait_off", joints),
                off_on_hold=_goes_off(table, "on_hold"),
                off_on_stop=_goes_off(table, "on_stop"),
                off_on_lost=_goes_off(table, "on_lost"),
            )
        )
        table.finish()
    return tuple(found)


def _check_words(table: Table, output: str, on: str, off: str, found: list[ToolOutput]) -> None:
    if on and off and (on, off) not in TOOL_WORDS:
        allowed = " or ".join("/".join(words) for words in TOOL_WORDS)
        table.complain("on", f"on and off are {on}/{off}, but must be {allowed}")
    for other in found:
        if output and other.output == output:
            table.complain("output", f"output {output} has words already")
        if on and off and (other.on, other.off) == (on, off):
            table.complain("on", f"{on}/{off} switch {other.output} already")


def _goes_off(table: Table, key: str) -> bool:
    return table.has(key) and table.text(key, "keep|off", " or ".join(KEEP_OR_OFF)) == "off"


def _read_wait(table: Table, key: str, joints: tuple[Joint, ...]) -> Wait | None:
    row = table.table(key, f"{table.label} {key}:") if table.has(key) else None
    if row is None:
        return None
    name = row.text("input", NAME, NAME_MEANING)
    level = row.boolean("is")
    within_s = row.number("within_s", 0.0, MAX_WAIT_S, "s", above=True)
    row.finish()
    carriers = {one: (joint.name, bit) for joint in joints for bit, one in enumerate(joint.inputs)}
    if name and name not in carriers:
        row.complain("input", f"input is {name}, which no joint has")
    joint, bit = carriers.get(name, ("", 0))
    return Wait(name, joint, bit, level, within_s)
