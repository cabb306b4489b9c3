"""The program as it was played: numbered lines, and the hash by which its text is known."""

import hashlib

from coordinator.programs.size import MAX_PROGRAM_BYTES
from coordinator.programs.words import count_lines, lines_of
from coordinator.run_record.markup import Html, element, paragraph, section, text


def digest(program: str) -> str:
    """SHA-256 of its bytes in UTF-8."""
    return hashlib.sha256(program.encode("utf-8", "surrogatepass")).hexdigest()


def program_part(program: str | None, run: int | None) -> Html:
    """All of it; of a long one where it is to be had, as nobody prints a million lines."""
    if program is None:
        return section("The program", paragraph("Its text is not known."))
    count, size = count_lines(program), len(program.encode("utf-8", "surrogatepass"))
    if size > MAX_PROGRAM_BYTES:
        place = "the text is" if run is None else f"the text is at GET /runs/{run}/program, and is"
        told = (
            f"{count} lines, too long to be printed here; {place} known by its SHA-256, "
            f"{digest(program)}."
        )
        return section("The program", paragraph(told))
    lines = list(lines_of(program))[:count]
    told = (
        f"{count} line{'' if count == 1 else 's'}, {size} bytes in UTF-8, {_ends(program)}. A "
        "character that cannot be seen is shown by its number, such as ⟨U+202E⟩."
    )
    listing = element("ol", *(element("li", text(one)) for one in lines), kind="program")
    return section("The program", paragraph(told), listing)


def _ends(program: str) -> str:
    """How its lines end: the hash counts that, and a listing does not show it."""
    found = [
        name
        for name, is_there in (
            ("CR LF", "\r\n" in program),
            ("LF", "\n" in program.replace("\r\n", "")),
            ("CR", "\r" in program.replace("\r\n", "")),
        )
        if is_there
    ]
    return f"lines end with {' and '.join(found)}" if found else "without a line end"
