"""Nothing that has to do with motion knows what time of day it is: the wall clock may be set."""

import ast
from pathlib import Path

import pytest

from tests.test_purity import imported, parse, sources

RECORDS = {
    Path("coordinator/store/utc.py"),
    Path("coordinator/api/certificate.py"),
    Path("coordinator/cli/condition.py"),
}
"""Written for people to read, and never read back for anything, as by when a joint rests; and the
dates of a certificate, which a browser judges by the time of day."""
WALL_CLOCKS = {
    "time.time",
    "time.time_ns",
    "time.localtime",
    "time.gmtime",
    "time.ctime",
    "time.strftime",
    "time.CLOCK_REALTIME",
    "datetime.datetime.now",
    "datetime.datetime.utcnow",
    "datetime.datetime.today",
    "datetime.date.today",
}


def wall_clocks(tree: ast.Module) -> set[str]:
    """Names in a module that stand for the wall clock, whatever alias they go by."""
    bound = {name: target for _, name, target in imported(tree)}

    def qualified(node: ast.AST) -> str:
        if isinstance(node, ast.Name):
            return bound.get(node.id, "")
        if isinstance(node, ast.Attribute) and (owner := qualified(node.value)):
            return f"{owner}.{node.attr}"
        return ""

    return {name for node in ast.walk(tree) if (name := qualified(node)) in WALL_CLOCKS}


@pytest.mark.parametrize("path", sources("protocol", "simulator", "coordinator"), ids=str)
def test_only_records_carry_the_time_of_day(path: Path) -> None:
    found = wall_clocks(parse(path))
    assert found == set() or path in RECORDS


def test_the_record_keeper_is_found_by_the_same_check() -> None:
    assert all(wall_clocks(parse(path)) for path in RECORDS)


def test_checker_finds_aliases() -> None:
    source = "import time as t\nfrom datetime import datetime as D\nt.time()\nD.now()\nt.sleep(1)"
    assert wall_clocks(ast.parse(source)) == {"time.time", "datetime.datetime.now"}
