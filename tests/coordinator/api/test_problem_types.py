"""The list of problem types against the source: neither changes unseen."""

import ast
from collections.abc import Iterator
from pathlib import Path

from coordinator.api.problem_types import PROBLEM_TYPES
from coordinator.api.problems import _HTTP_CODES
from coordinator.codes.refusal import RefusalCode

SOURCE = Path(__file__).parents[3] / "coordinator"
PASSED_ON = {"error.code", "refused.code", "code"}
"""What stands for the code where one is only handed on."""
CODE_AT = {"Refused": 0, "Obstacle": 0, "later": 0, "problem": 1}
"""ServedAt of the code among the arguments of what makes a refusal or a problem."""


def calls(path: Path) -> Iterator[tuple[str, ast.expr]]:
    """What makes a refusal or a problem in a file, and its code."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func).rpartition(".")[2]
            if name in CODE_AT and len(node.args) > CODE_AT[name]:
                yield name, node.args[CODE_AT[name]]


def used() -> set[str]:
    """All codes in the source. What is no literal must only be handed on."""
    found = {*_HTTP_CODES.values(), "http"}
    for path in sorted(SOURCE.rglob("*.py")):
        # The client and its commands only repeat what they were told.
        if {"cli", "client"} & set(path.relative_to(SOURCE).parts):
            continue
        for name, code in calls(path):
            if isinstance(code, ast.Constant) and isinstance(code.value, str):
                found.add(code.value)
            elif ast.unparse(code).startswith("RefusalCode."):
                found.add(RefusalCode[ast.unparse(code).removeprefix("RefusalCode.")])
            else:
                assert ast.unparse(code) in PASSED_ON, (path, name, ast.unparse(code))
    return found


def test_the_list_has_every_code_of_the_source_and_no_other() -> None:
    assert used() == PROBLEM_TYPES.keys()


def test_every_code_has_a_sentence() -> None:
    assert all(says.endswith((".", ")")) for says in PROBLEM_TYPES.values())
