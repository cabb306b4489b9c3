"""Power that goes while firmware comes: at every step on the disk, and at random instants."""

import random
import shutil
from pathlib import Path

import pytest

from tests.joint_c.update_cuts import EXIT_CUT, PUT_STEPS, Cut, Found, Phase, cut_at_random
from tests.joint_c.updated import NEW, Updated
from tests.joint_c.updating import Signed, signed

BEGIN_STEPS = 2 + PUT_STEPS
FRAME_STEPS = 2
INSTALL_STEPS = 1 + PUT_STEPS
BRING_STEPS = BEGIN_STEPS + FRAME_STEPS + INSTALL_STEPS
CUTS = 30
GROUPS = 6


@pytest.fixture(scope="module", name="installed")
def memory_of_a_board_that_is_about_to_try(
    joint_build: Path, memory: Path, short: Signed, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    folder = tmp_path_factory.mktemp("installed")
    cut = Cut(Updated.copy_of(memory, joint_build, folder / "bench"), short)
    assert cut.play("--cut-boot", "1") == EXIT_CUT
    assert cut.update.phase is Phase.INSTALLED
    return cut.board.bench.memory


@pytest.mark.parametrize("part", range(4))
def test_power_that_goes_at_any_step_of_bringing_it_leaves_the_old_or_the_new_firmware(
    joint_build: Path, memory: Path, short: Signed, tmp_path: Path, part: int
) -> None:
    seen = {}
    for step in range(1 + part, BRING_STEPS + 2, 4):
        board = Updated.copy_of(memory, joint_build, tmp_path / str(step))
        cut = Cut(board, short)
        code = cut.play("--cut-joint", str(step))
        seen[step] = (code, cut.require_recovers())
    # What is noted is noted from one step on, that of the rename; beyond the last nothing is cut.
    noted = BRING_STEPS - 1
    for step, (code, found) in seen.items():
        assert code == (EXIT_CUT if step <= BRING_STEPS else None), step
        wanted = Found.OLD if step < noted else Found.TRIAL
        assert found is (wanted if step <= BRING_STEPS else Found.NEW), step


@pytest.mark.parametrize("part", range(2))
def test_power_that_goes_at_any_step_of_the_boot_that_tries_it_leaves_one_of_both(
    joint_build: Path, memory: Path, short: Signed, tmp_path: Path, part: int
) -> None:
    for step in range(1 + part, PUT_STEPS + 2, 2):
        cut = Cut(Updated.copy_of(memory, joint_build, tmp_path / str(step)), short)
        code = cut.play("--cut-boot", str(step))
        found = cut.require_recovers()
        assert code == (EXIT_CUT if step <= PUT_STEPS else None), step
        # From the rename on it has had its one trial.
        wanted = Found.TRIAL if step < PUT_STEPS - 1 else Found.OLD
        assert found is (wanted if step <= PUT_STEPS else Found.NEW), step


@pytest.mark.parametrize("part", range(2))
def test_power_that_goes_at_any_step_of_the_confirmation_leaves_one_of_both(
    joint_build: Path, installed: Path, short: Signed, tmp_path: Path, part: int
) -> None:
    for step in range(1 + part, PUT_STEPS + 2, 2):
        cut = Cut(Updated.copy_of(installed, joint_build, tmp_path / str(step)), short)
        code = cut.play("--cut-joint", str(step))
        found = cut.require_recovers()
        assert code == (EXIT_CUT if step <= PUT_STEPS else None), step
        assert found is (Found.OLD if step < PUT_STEPS - 1 else Found.NEW), step


@pytest.mark.parametrize("part", range(2))
def test_power_that_goes_at_any_step_of_giving_up_leaves_the_old_firmware(
    joint_build: Path, installed: Path, short: Signed, tmp_path: Path, part: int
) -> None:
    for step in range(1 + part, PUT_STEPS + 1, 2):
        cut = Cut(Updated.copy_of(installed, joint_build, tmp_path / str(step)), short)
        with cut.board.power() as (one, _):
            one.pull()  # it has begun to try
        with pytest.raises(AssertionError), cut.board.power("--cut-boot", str(step)):
            pass  # it never says its port
        assert cut.require_recovers() is Found.OLD, step


@pytest.mark.parametrize("group", range(GROUPS))
def test_power_that_goes_at_any_instant_leaves_the_old_or_the_new_firmware(
    joint_build: Path, memory: Path, tmp_path: Path, group: int
) -> None:
    image = signed((joint_build / "joint-next").read_bytes(), NEW)
    draw = random.Random(group)
    whole = Cut(Updated.copy_of(memory, joint_build, tmp_path / "whole"), image)
    assert whole.play() is None
    for k in range(CUTS // GROUPS):
        cut_at_random(memory, joint_build, tmp_path / str(k), image, draw, whole.update.took_s)
        shutil.rmtree(tmp_path / str(k))
