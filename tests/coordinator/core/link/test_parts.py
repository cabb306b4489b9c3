"""The parts of a link change by their own methods: nobody else writes their attributes."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

CORE = Path(__file__).parents[4] / "coordinator" / "core"
PARTS = ("connection", "sync", "requests", "orders")


def writes(source: str) -> Iterator[str]:
    """Where an attribute of a part is written, as in `link.orders.sequence = 0`."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Attribute) or not isinstance(node.ctx, ast.Store | ast.Del):
            continue
        owner = node.value
        name = owner.attr if isinstance(owner, ast.Attribute) else getattr(owner, "id", None)
        if name in PARTS:
            yield ast.unparse(node)


def test_no_attribute_of_a_part_is_written_from_outside_it() -> None:
    for path in CORE.rglob("*.py"):
        assert list(writes(path.read_text())) == [], path


@pytest.mark.parametrize(
    "source", ["link.orders.sequence += 1", "connection.message = ''", "a.sync.x, b = 1, 2"]
)
def test_a_write_from_outside_would_be_seen(source: str) -> None:
    assert len(list(writes(source))) == 1
