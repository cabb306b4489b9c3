"""A shift of all that was taught: its programs are rewritten by the process that reads programs."""

from typing import Final

from coordinator.answers.taught import ProgramPreview
from coordinator.service import Service
from coordinator.teaching.correction import Correction, Shift, ShiftedProgram
from coordinator.teaching.taught import TaughtError

MAX_TEXTS: Final = 20_000_000
"""Characters of all programs of one shift: both their texts stand in memory until it is made."""


async def corrected(service: Service, shift: Shift) -> Correction:
    """A shift with the programs that it is about, as they are now. Raises TaughtError."""
    shift.require_sound(service.arm)
    found, size = [], 0
    for program in shift.programs_of((await service.taught.now()).taught):
        text = await service.taught.program_text(program)
        size += len(text)
        if size > MAX_TEXTS:
            raise TaughtError(
                f"the programs to shift have over {MAX_TEXTS} characters: name some at a time"
            )
        after = await service.runs.shifted(text, shift.offsets_deg)
        found.append(ShiftedProgram(program, after))
    return Correction(shift, tuple(found))


def program_preview(shifted: ShiftedProgram) -> ProgramPreview:
    """What people see of a program before it is shifted."""
    after = shifted.after
    return ProgramPreview(shifted.program, after.changed, after.lines, shifted.obstacles)
