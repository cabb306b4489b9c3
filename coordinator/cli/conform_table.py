"""What came of checks, for people: by the headings of the page, and summed up in a sentence."""

from collections.abc import Iterator, Mapping, Sequence

from coordinator.conform.check import Outcome, Result


def counts(results: Sequence[Result]) -> dict[str, int]:
    """How many of each outcome."""
    return {one.value: sum(found.outcome is one for found in results) for one in Outcome}


def table(results: Sequence[Result], titles: Mapping[str, str]) -> Iterator[str]:
    """Lines, by section in the titles' order."""
    width = max(len(one.id) for one in results)
    for section, title in titles.items():
        found = [one for one in results if one.section == section]
        if found:
            yield title
            for one in found:
                yield from _lines(one, width)


def _lines(found: Result, width: int) -> Iterator[str]:
    word = found.outcome.value if found.outcome is not Outcome.FAIL else "FAIL"
    yield f"  {word:8}  {found.id:{width}}  {found.sentence}"
    indent = " " * (width + 14)
    if found.outcome is Outcome.FAIL:
        yield f"{indent}expected: {found.expected}"
        yield f"{indent}came:     {found.came}"
    elif found.why:
        yield f"{indent}{found.why}"


def summary(results: Sequence[Result]) -> str:
    """What it comes to, no better than it is."""
    found = counts(results)
    text = f"{len(results)} checks: {found['pass']} pass, {found['fail']} fail"
    if not found["not made"]:
        return text
    blocked = sum(one.is_blocked for one in results)
    text += f", {found['not made']} not made, of which nothing is known"
    if blocked:
        text += f" ({blocked} because it did not get so far)"
    return text
