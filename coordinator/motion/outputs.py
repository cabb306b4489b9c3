"""Which output a program word switches, on which joint, and what is awaited behind it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from coordinator.config.arm import Arm, ToolOutput, Wait
from coordinator.programs import Output, Problem, Step
from protocol.points import Point


@dataclass(frozen=True, slots=True)
class Switch:
    """An output and what it is switched to."""

    output: ToolOutput
    joint: int
    """Index of the joint that carries it, base to tool."""
    on: bool

    @property
    def mask(self) -> int:
        """The output's bit in points and drives of its joint."""
        return 1 << self.output.bit

    def at(self, column: Sequence[Point]) -> tuple[Point, ...]:
        """The points of all joints at one path time, with the switch in the one of its joint."""
        points = list(column)
        points[self.joint] = replace(
            points[self.joint],
            output_mask=self.mask,
            output_values=self.mask if self.on else 0,
        )
        return tuple(points)


@dataclass(frozen=True, slots=True)
class Awaited:
    """An input that must come before a program goes on behind a switch."""

    line: int
    """Of the word that switched."""
    switch: Switch
    wait: Wait
    joint: int
    """Index of the joint that has the input, base to tool."""

    def there(self, inputs: int) -> bool:
        """Whether that joint's inputs, one bit each, are as they should be."""
        return bool(inputs >> self.wait.bit & 1) is self.wait.level

    @property
    def waits(self) -> str:
        """What is awaited, a clause for people."""
        return f"waits for {self.wait.wanted} (line {self.line}, {self.wait.within_s:g} s at most)"

    @property
    def missing(self) -> str:
        """That it did not come, a clause for people."""
        switched = f"{self.switch.output.output} {'on' if self.switch.on else 'off'}"
        wait, level = self.wait, "on" if self.wait.level else "off"
        return (
            f"{wait.input} of {wait.joint} was not {level} within {wait.within_s:g} s of "
            f"{switched} (line {self.line})"
        )


@dataclass(frozen=True, slots=True)
class ToolNeed:
    """An output or an input of a joint that a program needs."""

    joint: int
    """Index, base to tool."""
    kind: str
    """`output` or `input`."""
    name: str
    bit: int
    line: int
    """Of the program, where it is needed."""


def switch_need(step: Output, arm: Arm) -> Iterator[ToolNeed]:
    """The output that a word needs, if this arm has one for it."""
    switch = switch_of(step.word, arm)
    if switch is not None:
        output = switch.output
        yield ToolNeed(switch.joint, "output", output.output, output.bit, step.line)


def wait_need(one: Awaited) -> ToolNeed:
    """The input that is awaited."""
    return ToolNeed(one.joint, "input", one.wait.input, one.wait.bit, one.line)


def awaited(step: Output, arm: Arm) -> Awaited | None:
    """What the arm file wants to be awaited behind a word; None for nothing."""
    switch = switch_of(step.word, arm)
    if switch is None:
        return None
    wait = switch.output.wait_on if switch.on else switch.output.wait_off
    if wait is None:
        return None
    names = [joint.name for joint in arm.joints]
    return Awaited(step.line, switch, wait, names.index(wait.joint))


def switch_of(word: str, arm: Arm) -> Switch | None:
    """What a program word switches; None where the arm has no output for it."""
    names = [joint.name for joint in arm.joints]
    for output in arm.tool_outputs:
        if word in (output.on, output.off):
            return Switch(output, names.index(output.joint), word == output.on)
    return None


def output_problems(steps: Sequence[Step], arm: Arm) -> Iterator[Problem]:
    """Every word that switches an output that this arm does not have."""
    for step in steps:
        if isinstance(step, Output) and switch_of(step.word, arm) is None:
            known = " ".join(f"{one.on} {one.off}" for one in arm.tool_outputs)
            has = f"it has {known}" if known else "it has none"
            message = f"{step.word} switches no output of this arm; {has}"
            yield Problem(step.line, step.column, message)
