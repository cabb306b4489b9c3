"""Somebody's project, copied elsewhere, with Unisono installed from a wheel: its tests pass there.

What Unisono depends on comes from the environment that runs this: nothing is downloaded.
"""

import subprocess
import sys
import sysconfig
import venv
from pathlib import Path
from shutil import copytree, ignore_patterns

import pytest

from tests.coordinator.testing.projects import project, pytest_in
from tests.coordinator.testing.test_page import blocks
from tests.quick_arm import arm_text

ROOT = Path(__file__).parents[2]
PROJECT = ROOT / "tests" / "example_project"
WHERE = """
import coordinator, protocol, simulator
def pytest_report_header():
    return [f"runs {package.__file__}" for package in (coordinator, protocol, simulator)]
"""


def run(*command: str | Path, cwd: Path) -> str:
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(name="python")
def python_with_the_wheel(tmp_path: Path) -> Path:
    """The interpreter of a fresh environment that has Unisono from a wheel, and not from here."""
    source = tmp_path / "source"
    kept = ("coordinator", "protocol", "simulator")
    source.mkdir()
    for name in kept:
        copytree(ROOT / name, source / name, ignore=ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        (source / name).write_bytes((ROOT / name).read_bytes())
    pip = (sys.executable, "-m", "pip", "--disable-pip-version-check")
    run(*pip, "wheel", ".", "--no-deps", "--no-build-isolation", "-w", tmp_path, cwd=source)
    (wheel,) = tmp_path.glob("*.whl")
    home = tmp_path / "venv"
    venv.create(home, with_pip=False, symlinks=True)
    python = home / "bin" / "python"
    run(*pip, "--python", python, "install", "-q", "--no-deps", "--no-index", wheel, cwd=tmp_path)
    site = run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=tmp_path)
    # A plain path: what is editable there is not looked at, and the wheel comes before it.
    (Path(site.strip()) / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return python


def test_the_example_projects_tests_pass_with_an_installed_wheel(
    python: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "project"
    copytree(PROJECT, folder, ignore=ignore_patterns("__pycache__", ".pytest_cache"))
    (folder / "conftest.py").write_text(WHERE)
    said = run(python, "-m", "pytest", "-v", "-W", "error", "-p", "no:asyncio", cwd=folder)
    ran = {
        Path(line.split()[1]).parents[1] for line in said.splitlines() if line.startswith("runs")
    }
    assert ran == {Path(run(python, "-c", "import coordinator; print(coordinator.__path__[0])",
                            cwd=folder).strip()).parent}  # fmt: skip
    assert all(path.is_relative_to(tmp_path / "venv") for path in ran)
    assert "test_the_script_does_it_with_a_real_service PASSED" in said
    assert "failed" not in said
    assert "skipped" not in said


def test_the_pages_blocks_with_a_real_service_do_what_it_says(tmp_path: Path) -> None:
    found = blocks(live=True)
    assert len(found) == 1
    project(tmp_path, arm_text(2), **found)
    done = pytest_in(tmp_path, "-q")
    assert done.returncode == 0, done.stdout
    assert "1 passed" in done.stdout
