"""The pure packages read no clock and draw no unseeded randomness; ruckig stays in one place.

What those packages may *import* is said in pyproject.toml and checked by import-linter. This is
the rest: names that innocent modules offer too, such as `datetime.now`, found in the syntax tree.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PRODUCT = ("protocol", "simulator", "coordinator")
PURE = (
    "protocol",
    "simulator/joint",
    "simulator/physics",
    "simulator/network.py",
    "simulator/edges.py",
    "simulator/settings.py",
    "simulator/unit.py",
    "coordinator/timing",
    "coordinator/health",
    "coordinator/history",
    "coordinator/programs",
    "coordinator/motion",
    "coordinator/core",
    "coordinator/pictures",
    "coordinator/run_record",
    "coordinator/playing/queue.py",
    "coordinator/cable/image.py",
    "coordinator/rehearsal",
)

# Every function of these modules is out: the clocks, sleeping, and what draws from the system.
FORBIDDEN_MODULES = ("time.", "secrets.")
FORBIDDEN_NAMES = {
    "datetime.datetime.now",
    "datetime.datetime.utcnow",
    "datetime.datetime.today",
    "datetime.date.today",
    "os.urandom",
    "os.getrandom",
    "uuid.uuid1",
    "uuid.uuid4",
    "uuid.uuid6",
    "uuid.uuid7",
}
# Fine with a seed, and only then. All else in these two modules draws from a shared generator.
RANDOM_MODULES = ("random.", "numpy.random.")
SEEDABLE = {
    "random.Random",
    "numpy.random.MT19937",
    "numpy.random.PCG64",
    "numpy.random.PCG64DXSM",
    "numpy.random.Philox",
    "numpy.random.RandomState",
    "numpy.random.SFC64",
    "numpy.random.SeedSequence",
    "numpy.random.default_rng",
}
NEED_NO_SEED = {"numpy.random.Generator", "numpy.random.BitGenerator"}
# Arguments whose value is called later, with nothing.
FACTORIES = {"default_factory", "factory"}


def sources(*areas: str) -> list[Path]:
    """All Python files in these files and folders, relative to the project."""
    found: list[Path] = []
    for area in areas:
        paths = [ROOT / area] if area.endswith(".py") else list((ROOT / area).rglob("*.py"))
        if not paths or not all(path.exists() for path in paths):
            raise FileNotFoundError(f"{area} holds no Python, so nothing there would be checked")
        found += paths
    return sorted(path.relative_to(ROOT) for path in found)


def parse(path: Path) -> ast.Module:
    return ast.parse((ROOT / path).read_text(encoding="utf-8"), str(path))


def imported(tree: ast.Module) -> Iterator[tuple[int, str, str]]:
    """Every absolute import as (line, name bound, what it stands for)."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                top = alias.name.partition(".")[0]
                yield node.lineno, alias.asname or top, alias.name if alias.asname else top
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            for alias in node.names:
                yield node.lineno, alias.asname or alias.name, f"{node.module}.{alias.name}"


def is_impure(name: str) -> bool:
    """Whether this fully qualified name must not appear at all."""
    if name.startswith(RANDOM_MODULES):
        return name not in SEEDABLE | NEED_NO_SEED
    return name.startswith(FORBIDDEN_MODULES) or name in FORBIDDEN_NAMES


def is_unseeded(call: ast.Call) -> bool:
    arguments = [*call.args, *(keyword.value for keyword in call.keywords)]
    return all(isinstance(value, ast.Constant) and value.value is None for value in arguments)


def impurities(tree: ast.Module) -> list[str]:
    """Each forbidden name with its line, whatever alias it goes by and called or not."""
    bound = {name: target for _, name, target in imported(tree)}

    def qualified(node: ast.AST) -> str:
        if isinstance(node, ast.Name):
            return bound.get(node.id, "")
        if isinstance(node, ast.Attribute) and (owner := qualified(node.value)):
            return f"{owner}.{node.attr}"
        return ""

    found = {(line, target) for line, _, target in imported(tree) if is_impure(target)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Name | ast.Attribute) and is_impure(name := qualified(node)):
            found.add((node.lineno, name))
        elif isinstance(node, ast.Call):
            makers = [keyword.value for keyword in node.keywords if keyword.arg in FACTORIES]
            if is_unseeded(node):
                makers.append(node.func)
            unseeded = {qualified(maker) for maker in makers} & SEEDABLE
            found |= {(node.lineno, f"{name} without a seed") for name in unseeded}
    return [f"line {line}: {name}" for line, name in sorted(found)]


@pytest.mark.parametrize("path", sources(*PURE), ids=str)
def test_pure_package_reads_no_clock_and_draws_no_unseeded_randomness(path: Path) -> None:
    assert impurities(parse(path)) == []


@pytest.mark.parametrize(
    ("source", "name"),
    [
        ("import time\ntime.time()", "time.time"),
        ("import time\ntime.time_ns()", "time.time_ns"),
        ("import time\ntime.monotonic()", "time.monotonic"),
        ("import time\ntime.perf_counter()", "time.perf_counter"),
        ("import time\ntime.clock_gettime(time.CLOCK_BOOTTIME)", "time.clock_gettime"),
        ("import time as t\nt.monotonic_ns()", "time.monotonic_ns"),
        ("import time\nclock = time.monotonic", "time.monotonic"),
        ("from time import monotonic as now\nnow()", "time.monotonic"),
        ("def f():\n    from time import perf_counter\n    perf_counter()", "time.perf_counter"),
        ("from time import *", "time.*"),
        ("import datetime\ndatetime.datetime.now(datetime.UTC)", "datetime.datetime.now"),
        ("from datetime import datetime\ndatetime.now()", "datetime.datetime.now"),
        ("from datetime import datetime as D\nD.utcnow()", "datetime.datetime.utcnow"),
        ("from datetime import date\ndate.today()", "datetime.date.today"),
        ("import random\nrandom.random()", "random.random"),
        ("import random\nrandom.seed(1)", "random.seed"),
        ("import random\nrandom.SystemRandom(1)", "random.SystemRandom"),
        ("from random import uniform\nuniform(0, 1)", "random.uniform"),
        ("import random\nrandom.Random()", "random.Random without a seed"),
        ("import random\nrandom.Random(None)", "random.Random without a seed"),
        ("from random import Random\nRandom()", "random.Random without a seed"),
        (
            "import dataclasses, random\ndataclasses.field(default_factory=random.Random)",
            "random.Random without a seed",
        ),
        ("import numpy\nnumpy.random.default_rng()", "numpy.random.default_rng without a seed"),
        (
            "import numpy as np\nnp.random.default_rng(seed=None)",
            "numpy.random.default_rng without a seed",
        ),
        (
            "from numpy.random import default_rng\ndefault_rng()",
            "numpy.random.default_rng without a seed",
        ),
        ("import numpy as np\nnp.random.uniform()", "numpy.random.uniform"),
        ("import numpy.random\nnumpy.random.normal()", "numpy.random.normal"),
        ("import secrets\nsecrets.token_bytes(16)", "secrets.token_bytes"),
        ("from secrets import token_hex", "secrets.token_hex"),
        ("import os\nos.urandom(16)", "os.urandom"),
        ("from os import urandom\nurandom(16)", "os.urandom"),
        ("import uuid\nuuid.uuid4()", "uuid.uuid4"),
        ("from uuid import uuid4\nuuid4()", "uuid.uuid4"),
    ],
)
def test_checker_finds_each_way_to_read_a_clock_or_draw_randomness(source: str, name: str) -> None:
    found = impurities(ast.parse(source))
    assert name in {line.partition(": ")[2] for line in found}


@pytest.mark.parametrize(
    "source",
    [
        "import random\nrandom.Random(7).uniform(0, 1)",
        "import random\ndef draw(rng: random.Random) -> float:\n    return rng.random()",
        "import numpy as np\nnp.random.default_rng(7).normal()",
        "import numpy as np\ndef draw(rng: np.random.Generator) -> float:\n    return rng.normal()",
        "from datetime import UTC, datetime\ndatetime.fromtimestamp(0, UTC)",
        "from uuid import UUID\nUUID(int=1)",
        "import os\nos.fspath('a')",
        "def at(time: float, random: list[float]) -> float:\n    return time.real + random.pop()",
        "from .clockmap import time\ntime.monotonic()",
    ],
)
def test_checker_leaves_seeded_generators_and_given_times_alone(source: str) -> None:
    assert impurities(ast.parse(source)) == []


def ruckig_importers(trees: dict[Path, ast.Module]) -> set[Path]:
    return {
        path
        for path, tree in trees.items()
        for _, _, target in imported(tree)
        if target.split(".")[0] == "ruckig"
    }


def waypoint_requests(tree: ast.Module) -> list[int]:
    """Lines that name ruckig's `intermediate_positions`, also as a keyword or for `setattr`."""
    return [
        node.lineno if isinstance(node, ast.expr) else node.value.lineno
        for node in ast.walk(tree)
        if (isinstance(node, ast.Attribute) and node.attr == "intermediate_positions")
        or (isinstance(node, ast.keyword) and node.arg == "intermediate_positions")
        or (isinstance(node, ast.Constant) and node.value == "intermediate_positions")
    ]


def test_ruckig_is_imported_by_one_module_of_motion_only() -> None:
    importers = ruckig_importers({path: parse(path) for path in sources(*PRODUCT)})
    assert len(importers) <= 1, f"ruckig is wrapped once, but {sorted(importers)} import it"
    assert all(path.is_relative_to("coordinator/motion") for path in importers)


# With intermediate positions the published wheel sends the task to a remote service, which an
# arm must not depend on (found by trying ruckig 0.19.4).
@pytest.mark.parametrize("path", sources(*PRODUCT), ids=str)
def test_no_module_asks_ruckig_for_intermediate_positions(path: Path) -> None:
    assert waypoint_requests(parse(path)) == []


@pytest.mark.parametrize("source", ["import ruckig", "from ruckig import Ruckig as R"])
def test_checker_finds_who_imports_ruckig(source: str) -> None:
    trees = {Path("a.py"): ast.parse(source), Path("b.py"): ast.parse("from .ruckig import R")}
    assert ruckig_importers(trees) == {Path("a.py")}


@pytest.mark.parametrize(
    "source",
    [
        "task.intermediate_positions = [[0.0]]",
        "make(intermediate_positions=[[0.0]])",
        "setattr(task, 'intermediate_positions', [[0.0]])",
    ],
)
def test_checker_finds_a_request_for_intermediate_positions(source: str) -> None:
    assert waypoint_requests(ast.parse(source)) == [1]


@pytest.mark.parametrize("area", ["simulator/no_such.py", "coordinator/no_such_folder"])
def test_area_that_is_not_there_is_an_error_and_not_a_pass(area: str) -> None:
    with pytest.raises(FileNotFoundError, match=area):
        sources("protocol", area)
