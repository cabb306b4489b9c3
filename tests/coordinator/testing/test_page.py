"""docs/testing.md: every block of code is run, and no fixture, method or unit is left out."""

import re
from pathlib import Path

from coordinator.config.settings import DEMO_ARM
from coordinator.testing.truth import Truth
from coordinator.testing.virtual_arm import VirtualArm
from tests.coordinator.testing.projects import project, pytest_in

PAGE = Path(__file__).parents[3] / "docs" / "testing.md"
_BLOCK = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(*, live: bool) -> dict[str, str]:
    """The blocks of code that need a real service, or all others; each a test file."""
    found = [block[1] for block in _BLOCK.finditer(PAGE.read_text(encoding="utf-8"))]
    return {f"test_{k}": text for k, text in enumerate(found) if ("live_arm" in text) is live}


def test_every_block_of_code_does_what_the_page_says(tmp_path: Path) -> None:
    found = blocks(live=False)
    project(tmp_path, DEMO_ARM.read_text(encoding="utf-8"), **found)
    done = pytest_in(tmp_path, "-q")
    tests = sum(text.count("def test_") for text in found.values()) + 1  # one has two seeds
    assert done.returncode == 0, done.stdout
    assert f"\n{tests} passed" in done.stdout


def test_every_method_is_in_the_tables() -> None:
    rows = re.findall(r"^\| `(\w+)", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    assert sorted(rows) == sorted(_public(VirtualArm) | _public(Truth) | {"truth"})


def _public(kind: type) -> set[str]:
    return {name for name in dir(kind) if not name.startswith("_")}
