"""`make fast`: compile what `coordinator.compiled` names, if no build of it is there yet.

It ends with 1, and one line, where that cannot be: all works without, only slower.
"""

import contextlib
import os
import re
import shutil
import sys
import sysconfig
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from mypyc.build import mypycify
from setuptools import Distribution, Extension
from setuptools.command.build_ext import build_ext

from coordinator import compiled
from fast.rewrite import rewrite

PACKAGES = ("protocol", "simulator", "coordinator", "tests/campaign")
"""What the compiler reads."""
OPTIONS = ("--explicit-package-bases", "--ignore-missing-imports", "--follow-imports=silent")


def main() -> int:
    """Build, unless it is built; say what became of it."""
    folder = compiled.build_folder()
    if folder.is_dir():
        return _tell(f"{folder.relative_to(compiled.ROOT)} is what stands here: nothing to build.")
    if missing := lacking():
        return _tell(f"Not compiled, for want of {missing}: all works, but slower.", 1)
    began_s = time.monotonic()
    compiled.BUILDS.mkdir(parents=True, exist_ok=True)
    _tell(f"Compiling {len(compiled.modules())} modules; this takes some minutes.")
    with tempfile.TemporaryDirectory(dir=compiled.BUILDS, prefix="new-") as place:
        _compile(Path(place))
        # Whole or not at all, for whoever looks meanwhile.
        (Path(place) / "lib").rename(folder)
    for old in compiled.BUILDS.iterdir():
        if old != folder:
            shutil.rmtree(old, ignore_errors=True)
    return _tell(f"Compiled in {time.monotonic() - began_s:.0f} s.")


def _tell(line: str, code: int = 0) -> int:
    print(line, file=sys.stderr if code else sys.stdout, flush=True)
    return code


def lacking() -> str:
    """What a build needs and is not here."""
    compiler = (os.environ.get("CC") or str(sysconfig.get_config_var("CC"))).split()[0]
    if shutil.which(compiler) is None:
        return f"a C compiler ({compiler})"
    if not (Path(sysconfig.get_path("include")) / "Python.h").is_file():
        return "Python's header files (Python.h)"
    return ""


def _compile(place: Path) -> None:
    """Build into `place`/lib."""
    for package in PACKAGES:
        source = compiled.ROOT / package
        ignored = shutil.ignore_patterns("__pycache__")
        shutil.copytree(source, place / "src" / package, ignore=ignored)
    modules = [path.as_posix() for path in compiled.modules()]
    for module in modules:
        (place / "src" / module).write_text(rewrite((compiled.ROOT / module).read_text()))
    with contextlib.chdir(place / "src"):
        extensions = mypycify([*OPTIONS, *modules], multi_file=True, debug_level="0")
        for extension in extensions:
            # Python rounds after every operation; fused ones, as on some processors, round once.
            extension.extra_compile_args.append("-ffp-contract=off")
        _require_sound()
        build = _Build(Distribution({"name": "unisono-fast", "ext_modules": extensions}))
        build.build_lib, build.build_temp = str(place / "lib"), str(place / "temp")
        build.ensure_finalized()
        build.run()


def _require_sound() -> None:
    """Raise for a constant of module level that mypyc 2.4 cannot read: a tuple that begins with a
    float, marked `Final`.
    """
    for path in Path().rglob("*.c"):
        if re.search(r"likely\(\S+ != -113\.0 && PyErr_Occurred", path.read_text()):
            raise ValueError(f"{path}: give each float of a Final tuple a name of its own")


class _Build(build_ext):  # type: ignore[misc]
    """Compiles an extension's files at the same time, one on each processor."""

    def build_extension(self, ext: Extension) -> None:
        if len(ext.sources) > 1:
            whole = self.compiler.compile

            def compile_all(sources: list[str], **options: Any) -> list[str]:
                with ThreadPoolExecutor(os.cpu_count()) as pool:
                    found = pool.map(lambda source: whole([source], **options), sources)
                    return [one for objects in found for one in objects]

            self.compiler.compile = compile_all
        super().build_extension(ext)


if __name__ == "__main__":
    sys.exit(main())
