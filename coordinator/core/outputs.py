"""Tool outputs at the joints that carry them: what programs need, hands ask, and joints tell."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.codes.level import Level
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused, Switch
from coordinator.core.link.link import JointLink
from coordinator.core.outbox import Outbox
from coordinator.core.readiness import require_ready
from coordinator.motion.outputs import ToolNeed

PATIENCE_US: Final = 1_000_000
"""A switch by hand is asked for no longer: what is obeyed later would surprise whoever is there."""


def require_tool(needs: Iterable[ToolNeed], links: Sequence[JointLink]) -> None:
    """The joints have the outputs and inputs that a program needs. Raises Refused."""
    for need in needs:
        _require(links[need.joint], need.kind, need.name, need.bit, f"line {need.line}: ")


def _require(link: JointLink, kind: str, name: str, bit: int, where: str = "") -> None:
    if link.welcome is None:
        return  # a joint that is not connected is refused as such
    capabilities = link.welcome.capabilities
    count = capabilities.outputs if kind == "output" else capabilities.inputs
    if bit >= count:
        raise Refused(
            RefusalCode.OUTPUT_UNKNOWN,
            f"{where}{name} is {kind} {bit + 1} of {link.name} by the arm file, but {link.name} "
            f"has {count or 'none'}",
        )


@dataclass(slots=True)
class _Asked:
    """A switch by hand that its joint has not confirmed yet."""

    link: JointLink
    bit: int
    on: bool
    sequence: int
    """Of the last drive before it."""
    until_us: int

    def done(self) -> bool:
        """Whether the joint says so, in answer to a drive that asked for it."""
        status = self.link.status
        return (
            status is not None
            and status.sequence > self.sequence
            and bool(status.outputs >> self.bit & 1) is self.on
        )


class ToolOutputs:
    """Switches by hand under way, and what outputs were when joints last told."""

    def __init__(self, links: Sequence[JointLink], outbox: Outbox) -> None:
        self._links = links
        self._outbox = outbox
        self._asked: dict[str, _Asked] = {}
        """By the output's name."""
        self._seen: dict[str, int] = {}
        """By the joint's name."""

    def ask(self, command: Switch, now: int) -> None:
        """Switch an output by hand: its joint rests, and nothing else moves. Raises Refused."""
        link, bit = self._carrier(command.output)
        require_ready(link, now)
        if not link.rests(now):
            raise Refused(RefusalCode.NOT_AT_REST, f"{link.name} has not confirmed to be at rest")
        _require(link, "output", command.output, bit)
        self._asked[command.output] = _Asked(
            link, bit, command.on, link.orders.sequence, now + PATIENCE_US
        )

    def forget(self) -> None:
        """Something else was commanded, or happened: a switch not obeyed yet is wanted no more."""
        self._asked.clear()

    def of(self, link: JointLink) -> tuple[int, int]:
        """Mask and values for the next drive to a joint, in another mode than path."""
        mask = values = 0
        for asked in self._asked.values():
            if asked.link is link:
                mask |= 1 << asked.bit
                values |= asked.on << asked.bit
        return mask, values

    def observe(self, link: JointLink, now: int, *, plays: bool) -> None:
        """A status came. `plays`: a program that switches outputs is under way."""
        status = link.status
        if status is None:
            return
        before, self._seen[link.name] = self._seen.get(link.name), status.outputs
        asked = [name for name, one in self._asked.items() if one.link is link and one.done()]
        if before is not None and before != status.outputs:
            for bit, name in enumerate(link.joint.outputs):
                if (before ^ status.outputs) >> bit & 1:
                    level = "on" if status.outputs >> bit & 1 else "off"
                    message = f"{name} of {link.name} is {level}"
                    self._outbox.note(
                        now, Level.INFO, f"output-{level}", message, link.name,
                        # The command has its own line, with who it was; a program has its text.
                        detail=plays or name in asked,
                    )  # fmt: skip
        for name in asked:
            del self._asked[name]

    def step(self, now: int) -> None:
        """Give up what no joint confirmed in time, and say so."""
        late = {name: one for name, one in self._asked.items() if now > one.until_us}
        for name, one in late.items():
            del self._asked[name]
            level = "on" if one.on else "off"
            message = f"{one.link.name} has not confirmed that {name} is {level}; it is not known"
            self._outbox.note(now, Level.ATTENTION, "output-unconfirmed", message, one.link.name)

    def _carrier(self, output: str) -> tuple[JointLink, int]:
        for link in self._links:
            if output in link.joint.outputs:
                return link, link.joint.outputs.index(output)
        known = " ".join(name for link in self._links for name in link.joint.outputs)
        raise Refused(
            RefusalCode.OUTPUT_UNKNOWN,
            f"there is no output {output!r}; this arm has {known or 'none'}",
        )
