"""What is wrong with something that people gave, and where."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake. `dataclasses.asdict` makes it fit for JSON; what is not known is None."""

    message: str
    file: str | None = None
    line: int | None = None
    """From 1."""
    column: int | None = None
    """In characters, from 1."""

    @property
    def sentence(self) -> str:
        """For people: `file:line:column: message`, as far as there is a line."""
        if self.line is None:
            return self.message
        place = [str(part) for part in (self.file, self.line, self.column) if part is not None]
        return f"{':'.join(place)}: {self.message}"
