"""Reads the tables of protocol/README.md and the golden vectors. Imports nothing of protocol."""

import json
import re
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parents[2] / "protocol"
README = (FOLDER / "README.md").read_text(encoding="utf-8")


def vectors(name: str) -> dict[str, Any]:
    """One file of golden vectors."""
    found: dict[str, Any] = json.loads((FOLDER / "vectors" / f"{name}.json").read_text("utf-8"))
    return found


def block(name: str) -> str:
    """A generated part of README.md."""
    found = re.search(f"<!-- begin: {name} -->\n(.*?)\n<!-- end: {name} -->", README, re.S)
    assert found, f"README.md has no block {name}"
    return found[1]


def rows(text: str) -> list[list[str]]:
    """The cells of a Markdown table without its head, up to the first line that is none."""
    lines = []
    for line in text.splitlines():
        if not line.startswith("|"):
            break
        lines.append([cell.strip() for cell in line.strip("|").split("|")])
    return lines[2:]


def table(name: str) -> list[list[str]]:
    """A table of README.md that has a marker before it."""
    _, found, rest = README.partition(f"<!-- table: {name} -->\n")
    assert found, f"README.md has no table {name}"
    return rows(rest)


def read(name: str, data: bytes) -> dict[str, Any]:
    """The fields in bytes, by a table with offset, size, type and field in its first columns.

    Unsigned 64-bit numbers and bytes come as hex, as in the vectors, texts without what fills them.
    The table must cover the
    bytes without gap or overlap.
    """
    fields: dict[str, Any] = {}
    end = 0
    for offset, size, kind, field, *_ in table(name):
        assert int(offset) == end, f"{name}: {field} stands at {offset}, not {end}"
        value = data[end:] if size == "–" else data[end : end + int(size)]
        end += len(value)
        if kind == "bytes" or kind == "u64":
            fields[field] = value.hex()
        elif kind == "text":
            fields[field] = value.rstrip(b"\0").decode("ascii")
        else:
            assert kind[0] in "ui"
            assert int(kind[1:]) == 8 * len(value), f"{name}: {field}"
            fields[field] = int.from_bytes(value, "big", signed=kind[0] == "i")
        if field == "reserved":
            assert fields.pop(field) == 0
    assert end == len(data), f"{name}: {len(data)} bytes, the table covers {end}"
    return fields
