"""What pytest loads in other people's projects: light, and clear about what is wrong."""

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.coordinator.testing.projects import PLUGIN, project, pytest_in
from tests.quick_arm import arm_text

ROOT = Path(__file__).parents[3]
HEAVY = ("pydantic", "ruckig", "httpx2", "fastapi", "coordinator.core", "coordinator.client")
"""Of what the fixtures need, all that takes time to import."""
USES_ARM = "def test_it(arm):\n    arm.home()\n"


def test_a_project_without_the_fixtures_imports_nothing_heavy(tmp_path: Path) -> None:
    look = f"import sys\ndef test_it():\n    assert not {set(HEAVY)!r} & set(sys.modules)\n"
    project(tmp_path, "", test_a=look)
    done = pytest_in(tmp_path, "-q")
    assert done.returncode == 0, done.stdout


def test_the_arm_does_not_import_what_only_a_service_needs(tmp_path: Path) -> None:
    look = "import sys\n" + USES_ARM + "    assert not {'fastapi', 'uvicorn'} & set(sys.modules)\n"
    look += "    assert 'pydantic' in sys.modules\n"
    project(tmp_path, arm_text(2, "00000000ac"), test_a=look)
    done = pytest_in(tmp_path, "-q")
    assert done.returncode == 0, done.stdout


def test_the_installed_package_needs_no_pytest() -> None:
    parsed = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert not [one for one in parsed["project"]["dependencies"] if one.startswith("pytest")]
    assert parsed["project"]["entry-points"]["pytest11"] == {"unisono": PLUGIN}
    # All that the fixtures give works where no pytest can be imported.
    code = "import sys; sys.modules['pytest'] = None; import coordinator.testing.virtual_arm, "
    code += "coordinator.testing.live_arm"
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT)


@pytest.mark.parametrize(
    ("mark", "sentence"),
    [
        (
            "network='wifi'",
            "network is 'wifi', but must be one of none, quiet, home, busy, host",
        ),
        ("seed='x'", "seed is 'x', but must be a whole number"),
        ("netwrk='busy'", "unisono_arm has no netwrk; it takes file, network and seed"),
        ("'arm.toml'", "unisono_arm takes names"),
        ("file='no.toml'", "no.toml cannot be read: No such file"),
    ],
)
def test_a_wrong_mark_is_told(tmp_path: Path, mark: str, sentence: str) -> None:
    text = f"import pytest\n@pytest.mark.unisono_arm({mark})\n{USES_ARM}"
    project(tmp_path, arm_text(2, "00000000ac"), test_a=text)
    done = pytest_in(tmp_path, "-q")
    assert done.returncode == 1
    assert sentence in done.stdout


def test_a_wrong_arm_file_is_told_with_its_lines(tmp_path: Path) -> None:
    wrong = arm_text(2, "00000000ac").replace("velocity_deg_s = 60.0", "velocity_deg_s = -1", 1)
    project(tmp_path, wrong, test_a=USES_ARM)
    done = pytest_in(tmp_path, "-q")
    assert done.returncode == 1
    assert "arm.toml:15: joint turntable: velocity_deg_s" in done.stdout
    assert "named by" not in done.stdout  # nobody did
    assert "During handling" not in done.stdout


@pytest.mark.parametrize(
    ("mark", "configured", "sentence"),
    [
        ("", (), "(looked for in pytest's root folder: neither unisono_arm_file nor a mark names "),
        ("", ("-o", "unisono_arm_file=no.toml"), "(named by unisono_arm_file)"),
        ("file='no.toml'", (), "(named by @pytest.mark.unisono_arm)"),
        ("file='no.toml'", ("-o", "unisono_arm_file=x.toml"), "(named by @pytest.mark.unisono_arm"),
    ],
)
def test_an_arm_file_that_is_not_there_is_told_with_who_named_it(
    tmp_path: Path, mark: str, configured: tuple[str, ...], sentence: str
) -> None:
    text = f"import pytest\n@pytest.mark.unisono_arm({mark})\n{USES_ARM}"
    project(tmp_path, "", test_a=text)
    (tmp_path / "arm.toml").unlink()
    done = pytest_in(tmp_path, "-q", *configured)
    assert done.returncode == 1
    assert sentence in done.stdout
    assert "During handling" not in done.stdout


def test_marks_and_configuration_say_which_arm(tmp_path: Path) -> None:
    text = (
        "import pytest\n"
        "pytestmark = pytest.mark.unisono_arm(network='home', seed=9)\n"
        "def test_one(arm):\n"
        "    assert len(arm.state.joints) == 1\n"
        "    assert arm._world.profile.outages_per_minute == 0\n"
        "@pytest.mark.unisono_arm(network='none', file='two.toml')\n"
        "def test_two(arm):\n"
        "    assert len(arm.state.joints) == 2\n"
        "    assert arm._world.profile.base_forward_ms == 0\n"
    )
    project(tmp_path, "", test_a=text)
    (tmp_path / "one.toml").write_text(arm_text(1, "00000000ac"))
    (tmp_path / "two.toml").write_text(arm_text(2, "00000000ac"))
    done = pytest_in(tmp_path, "-q", "-o", "unisono_arm_file=one.toml")
    assert done.returncode == 0, done.stdout


def test_the_failure_of_a_test_is_a_sentence_at_the_tests_own_line(tmp_path: Path) -> None:
    text = USES_ARM + "    arm.truth.require_angle_deg('shoulder', 5, within_deg=1)\n"
    project(tmp_path, arm_text(2, "00000000ac"), test_a=text)
    done = pytest_in(tmp_path, "-q")
    assert done.returncode == 1
    assert "AssertionError: shoulder is at -1" in done.stdout
    assert "test_a.py:3: AssertionError" in done.stdout
    assert "truth.py" not in done.stdout
