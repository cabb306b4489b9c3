"""The pure packages compiled, for what plays them in virtual time: far faster, and to the last bit
the same.

`make fast` compiles them (`fast/`) into a folder named for what it was built from: sources, Python
and compiler. So a build that does not fit what stands here is never found, let alone used. Nothing
uses one by accident either: a process asks for it once, before anything else, and one that does
not ask, such as whatever moves an arm or replaces code to test it, runs from source.
"""

import copyreg
import dataclasses
import hashlib
import importlib
import importlib.metadata
import platform
import sys
import sysconfig
from collections.abc import Sequence
from functools import cache
from importlib.abc import MetaPathFinder
from importlib.machinery import ExtensionFileLoader, ModuleSpec
from importlib.util import spec_from_file_location
from pathlib import Path
from types import ModuleType
from typing import Any, Final

ROOT: Final = Path(__file__).resolve().parents[1]
BUILDS: Final = ROOT / "build" / "fast"
SUFFIX: Final = str(sysconfig.get_config_var("EXT_SUFFIX"))
LEFT_ALONE: Final = frozenset(
    {
        # Models: pydantic makes them, and compiled code cannot.
        "protocol/configuration.py",
        "protocol/messages.py",
        "protocol/largest.py",
        # Text and pictures, once a rehearsal.
        "coordinator/rehearsal/plot.py",
        "coordinator/rehearsal/summary.py",
        # Structures and calls of a library in C: ctypes makes those.
        "tests/campaign/joints_in_c/core.py",
        "tests/campaign/joints_in_c/library.py",
    }
)
COMPILED: Final = (
    "protocol/*.py",
    "simulator/joint/*.py",
    "simulator/physics/*.py",
    "simulator/edges.py",
    "simulator/network.py",
    "simulator/settings.py",
    "simulator/unit.py",
    "coordinator/timing/*.py",
    "coordinator/health/*.py",
    "coordinator/motion/*.py",
    "coordinator/core/**/*.py",
    "coordinator/links/peer.py",
    "coordinator/rehearsal/*.py",
    "tests/campaign/invariants/*.py",
    "tests/campaign/joints_in_c/*.py",
    "tests/campaign/filling.py",
    "tests/campaign/judge.py",
    "tests/campaign/truth.py",
)
"""What is compiled, but for packages' `__init__.py` and LEFT_ALONE."""
READ: Final = ("coordinator/config/*.py", "coordinator/programs/*.py", "fast/*.py")
"""What compiled code is built against, and what builds it."""


def modules() -> list[Path]:
    """Sources of the modules that are compiled, relative to ROOT."""
    return [
        path
        for path in _found(COMPILED)
        if path.name != "__init__.py" and path.as_posix() not in LEFT_ALONE
    ]


def _found(patterns: Sequence[str]) -> list[Path]:
    return sorted({path.relative_to(ROOT) for pattern in patterns for path in ROOT.glob(pattern)})


def build_folder() -> Path:
    """Where a build of what stands here now is, or would be."""
    try:
        compiler = importlib.metadata.version("mypy")
    except importlib.metadata.PackageNotFoundError:
        compiler = "none"
    what = hashlib.sha256(f"{platform.python_version()} {SUFFIX} {compiler}".encode())
    for path in _found(COMPILED + READ):
        what.update(f"\0{path.as_posix()}\0".encode())
        what.update((ROOT / path).read_bytes())
    return BUILDS / what.hexdigest()[:16]


@cache
def use() -> bool:
    """From now on this process imports compiled modules; False where there is no build that fits.

    To be asked first of all: what was imported from source by then is forgotten, and must not be
    in use. Meant for a program's first lines and for processes that are started to do work. What
    was found out once holds for the process.
    """
    if not is_built():
        return False
    folder = build_folder()
    files = {
        ".".join(path.relative_to(folder).parts).removesuffix(SUFFIX): path
        for path in folder.rglob(f"*{SUFFIX}")
    }
    packages = {name.partition(".")[0] for name in files}
    for name in list(sys.modules):
        if name != __name__ and name.partition(".")[0] in packages:
            del sys.modules[name]
    sys.meta_path.insert(0, _Finder(files))
    return True


def work(place: str, *arguments: Any) -> None:
    """What a process of its own begins with: use what is compiled, and call `module:function`."""
    use()
    module, _, function = place.partition(":")
    getattr(importlib.import_module(module), function)(*arguments)


def is_built() -> bool:
    """Whether there is a build of what stands here now."""
    return build_folder().is_dir()


def hint() -> str:
    """How to get the speed, for those who run from source where they could have it."""
    if is_built() or not (ROOT / "Makefile").is_file():
        return ""
    return "It ran from source: 'make fast' compiles it, which makes it several times as fast."


class _Finder(MetaPathFinder):
    def __init__(self, files: dict[str, Path]) -> None:
        self._files = files

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        file = self._files.get(fullname)
        if file is None:
            return None
        return spec_from_file_location(
            fullname, file, loader=ExtensionFileLoader(fullname, str(file))
        )


def pickled_by_constructor(*kinds: type[Any]) -> None:
    """Tell pickle how to take objects of dataclasses apart that are compiled: they have no
    `__dict__` and no `__slots__`. Each compiled module says it of its own, as compiled modules
    also import each other past every finder.
    """
    for kind in kinds:
        copyreg.pickle(kind, _taken_apart)


def _taken_apart(thing: Any) -> tuple[type, tuple[Any, ...]]:
    """For pickle: a dataclass's object by its constructor, which compiled and source share."""
    return type(thing), tuple(getattr(thing, field.name) for field in dataclasses.fields(thing))
