"""How a program is to be played: all that is asked of a play beside the program itself."""

from dataclasses import dataclass
from typing import Final

from coordinator.programs.loops import Loops, loops_wanted
from coordinator.programs.size import MAX_PROGRAM_BYTES
from coordinator.programs.steps import Switches


@dataclass(frozen=True, slots=True)
class PlayOptions:
    """One value from whoever asks to whoever plays: command line, client, API and queue.

    Raises ValueError with a sentence for what cannot be asked.
    """

    loops: int | None = None
    """How often, 1 to MAX_LOOPS; None for once, or where a time is given."""
    for_s: float | None = None
    """Seconds in which whole loops are begun, above 0 and up to MAX_FOR_S; in place of `loops`."""
    check_edges: bool = False
    """Each joint passes the edge of its home sensor between two loops, to find lost steps."""
    block_delete: bool = False
    """As of `Switches`, like all that follows."""
    optional_stop: bool = False
    """See there."""
    step_by_line: bool = False
    """See there."""
    from_line: int | None = None
    """See there; 1 to MAX_PROGRAM_BYTES."""

    def __post_init__(self) -> None:
        _ = self.often
        if self.from_line is not None and not 1 <= self.from_line <= MAX_PROGRAM_BYTES:
            raise ValueError(
                f"the line to begin from is {self.from_line}, but must be from 1 to "
                f"{MAX_PROGRAM_BYTES}"
            )

    @property
    def often(self) -> Loops:
        """How often, or for how long."""
        return loops_wanted(self.loops, self.for_s, check_edges=self.check_edges)

    @property
    def switches(self) -> Switches:
        """What the operator has set."""
        return Switches(self.block_delete, self.optional_stop, self.step_by_line, self.from_line)


AS_WRITTEN: Final = PlayOptions()
"""Once, as it is written, from its beginning."""
