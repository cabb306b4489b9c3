"""Somebody's project, whose tests run in a process of their own with Unisono's plugin."""

import os
import subprocess
import sys
from pathlib import Path

PLUGIN = "coordinator.testing.plugin"


def pytest_in(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a project's tests with the plugin and no other, whether or not it is installed."""
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-p", PLUGIN, "-p", "no:cacheprovider", *arguments],
        cwd=folder,
        env={**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},
        capture_output=True,
        text=True,
        check=False,
        timeout=240,
    )


def project(folder: Path, arm: str, **tests: str) -> None:
    """Write an arm file and test files, by their names without `.py`."""
    (folder / "pytest.ini").write_text("[pytest]\naddopts = --strict-markers\n")
    (folder / "arm.toml").write_text(arm)
    for name, text in tests.items():
        (folder / f"{name}.py").write_text(text)
