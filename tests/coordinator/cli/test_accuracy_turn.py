"""`unisono accuracy turn`: what is refused before anything moves, and what ends it."""

from pathlib import Path
from typing import Any

import pytest

from coordinator.cli.command import run as unisono
from tests.coordinator.cli.elbow import TEXT, ElbowAlone

ENDLESS = TEXT.replace("range_deg = [-170, 170]", 'range_deg = "continuous"')


class Coordinator(ElbowAlone):
    """One whose elbow believes that each turn was so long, and finds its edge or does not."""

    def __init__(self) -> None:
        super().__init__()
        self.text = ENDLESS
        self.moved_deg = [0.0, -360.0, 360.02, -359.98]
        self.faults: tuple[str, ...] = ()
        self.turns = 0

    def turned(self, asked: dict[str, Any]) -> None:
        self.turns += 1

    def found(self) -> dict[str, Any]:
        return {"home_offset_deg": [*self.moved_deg, *[0.0] * 20][max(0, self.homed - 1)]}

    def elbow(self) -> dict[str, Any]:
        return {"faults": self.faults if self.turns else ()}


@pytest.fixture(name="coordinator")
def coordinator_of_the_elbow() -> Coordinator:
    return Coordinator()


def run(url: str, *options: str | Path) -> int:
    return unisono(["accuracy", "turn", "elbow", "--turns", "3", "--url", url, *map(str, options)])


def test_gear_is_told_with_its_uncertainty_and_that_no_edge_tells_the_direction(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url, "--yes") == 0
    told = capsys.readouterr()
    # Homings at 0, 360, -0.02 and 359.96 degrees (computed).
    assert "believed to turn by 359.9900° in a whole turn, of 3 turns to and fro (s 0.022°" in (
        told.out
    )
    assert "gear ratio 19.999, standard uncertainty 0.0012; the arm file has 20: they agree" in (
        told.out
    )
    assert "which way it turned no home edge tells" in told.err
    assert "Caution: moving joints pinch" in told.out
    assert (coordinator.turns, coordinator.homed) == (3, 4)


def test_without_a_yes_nothing_moves(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url) == 2
    assert "turning a joint by whole turns asks for a yes" in capsys.readouterr().err
    assert (coordinator.turns, coordinator.homed) == (0, 0)


def test_joint_with_a_range_is_refused_as_its_scale_would_be_a_turn_off(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.text = TEXT
    assert run(url, "--yes") == 2
    assert "has a range of -170 to 170°" in capsys.readouterr().err
    assert (coordinator.turns, coordinator.homed) == (0, 0)


def test_joint_whose_angle_is_not_known_is_not_turned(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.is_homed = False
    assert run(url, "--yes") == 3
    assert "home it first" in capsys.readouterr().err
    assert (coordinator.turns, coordinator.homed) == (0, 0)


def test_edge_that_never_comes_again_ends_it_without_a_figure(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.moved_deg = []
    assert run(url, "--yes") == 1
    told = capsys.readouterr()
    assert "did not come to its home edge again within 3 turns" in told.err
    assert "gear ratio" not in told.out
    assert coordinator.turns == 1 + 2 + 3


def test_other_faults_than_steps_that_seem_lost_end_it(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.faults = ("driver",)
    assert run(url, "--yes") == 1
    assert "elbow was not turned to the end: it has driver" in capsys.readouterr().err
    assert coordinator.turns == 1


def test_stop_or_hold_by_anybody_else_ends_it_and_nothing_homes_after_it(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.stopped_in = 2
    assert run(url, "--yes") == 1
    assert "elbow is stopped, so this test moves nothing more" in capsys.readouterr().err
    assert (coordinator.turns, coordinator.homed) == (2, 2)
    coordinator.stopped_in, coordinator.held_in, coordinator.is_stopped = None, 4, False
    assert run(url, "--yes") == 1
    assert "elbow was not turned to the end: it was to be at" in capsys.readouterr().err
    assert (coordinator.turns, coordinator.homed) == (4, 4)


def test_file_that_comes_to_the_same_counts_by_another_gear_is_refused(
    coordinator: Coordinator, url: str, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = ENDLESS.replace("microsteps = 16", "microsteps = 32").replace(
        "gear_ratio = 20.0", "gear_ratio = 10.0"
    )
    arm_file.write_text(other, encoding="utf-8")
    assert run(url, "--yes", "--arm", arm_file) == 2
    assert "has another id or other figures in" in capsys.readouterr().err
    assert coordinator.turns == 0
