"""What mypyc is given in place of a module means the same, line by line."""

import dataclasses
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from coordinator import compiled
from fast.rewrite import rewrite

MODULE = '''"""A module."""

from dataclasses import dataclass, field
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Value:
    """A value."""

    kind: ClassVar[str] = "value"
    number: int
    text: str = "none"
    many: tuple[int, ...] = (1, 2)

    @property
    def twice(self) -> int:
        """Its double."""
        return 2 * self.number


@dataclass(slots=True)
class State:
    """It changes."""

    seen: list[int] = field(default_factory=list)


class NoSuchError(ValueError):
    """It has Python's own base."""


def broken() -> None:
    raise NoSuchError("here")
'''


def executed(text: str) -> dict[str, Any]:
    # Only compiled code may assign to what is frozen, by not asking.
    text = text.replace("(frozen=True, slots=True)", "(slots=True)")
    names: dict[str, Any] = {"__name__": "a_module"}
    exec(compile(text, "a_module.py", "exec", dont_inherit=True), names)
    return names


@pytest.fixture(autouse=True)
def _known(monkeypatch: pytest.MonkeyPatch) -> None:
    # Dataclasses look their module up.
    monkeypatch.setitem(sys.modules, "a_module", ModuleType("a_module"))


def test_constructor_is_written_out_and_takes_and_gives_the_same() -> None:
    before, after = executed(MODULE), executed(rewrite(MODULE))
    assert rewrite(MODULE).count("def __init__") == 2
    for arguments in ((1,), (2, "two"), (3, "three", (4,))):
        assert repr(after["Value"](*arguments)) == repr(before["Value"](*arguments))
        assert after["Value"](*arguments) == after["Value"](*arguments)
    assert after["Value"](1).twice == 2
    assert after["Value"](1).kind == "value"
    names = [one.name for one in dataclasses.fields(before["Value"])]
    assert [one.name for one in dataclasses.fields(after["Value"])] == names
    with pytest.raises(TypeError):
        after["Value"]()


def test_objects_do_not_share_what_a_factory_makes() -> None:
    after = executed(rewrite(MODULE))
    one, other = after["State"](), after["State"]()
    one.seen.append(1)
    assert other.seen == []
    assert after["State"]([7]).seen == [7]


IN_LINE = [path for path in compiled.modules() if path.name != "turns.py"]
"""Where a property takes the place of what a class's objects share, lines are more."""


@pytest.mark.parametrize("path", IN_LINE, ids=str)
def test_tracebacks_name_the_lines_of_the_source(path: Path) -> None:
    source = (compiled.ROOT / path).read_text().splitlines()
    compiled_lines = rewrite((compiled.ROOT / path).read_text()).splitlines()
    for number, line in enumerate(source):
        assert not line or compiled_lines[number] == line, f"{path}:{number + 1}"


@pytest.mark.parametrize(
    ("lines", "what"),
    [
        ("@dataclass\nclass One(Other):\n    number: int\n", "One has a base"),
        ("@dataclass\nclass One:\n    number: int = field(compare=False)\n", "field number of One"),
    ],
)
def test_dataclass_that_is_not_understood_is_an_error(lines: str, what: str) -> None:
    with pytest.raises(ValueError, match=what):
        rewrite(lines)
