"""`unisono accuracy turn`: what is refused before anything moves, and what ends it."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from coordinator.cli.command import run as unisono
from tests.coordinator.cli.servers import ARM, HOMED, Answer, joint, served
from tests.quick_arm import arm_text

RANGED = arm_text(3, "00000000ab")
ENDLESS = RANGED.replace("range_deg = [-170, 170]", 'range_deg = "continuous"')
JSON = {"Content-Type": "application/json"}


class Coordinator:
    """One whose elbow believes that each turn was so long, and finds its edge or does not."""

    def __init__(self) -> None:
        self.text = ENDLESS
        self.moved_deg = [0.0, -360.0, 360.02, -359.98]
        self.faults: tuple[str, ...] = ()
        self.is_homed = True
        self.homed = self.turned = 0

    def __call__(self, path: str, _body: bytes) -> Answer:
        where = urlsplit(path).path.removeprefix("/api/v1")
        if where == "/arm/file":
            return 200, {"Content-Type": "text/plain; charset=utf-8"}, self.text.encode()
        if where == "/home":
            self.homed += 1
        if where == "/step":
            self.turned += 1
        moved = [*self.moved_deg, *[0.0] * 20][max(0, self.homed - 1)]
        found = {"edges": [], "middle": 0, "home_offset_deg": moved}
        elbow: dict[str, Any] = joint(
            "elbow", homed=self.is_homed, faults=self.faults if self.turned else (),
            velocity_deg_s=0.0,
        )  # fmt: skip
        answers: dict[str, object] = {
            "/arm": ARM | {"joints": [elbow]},
            "/home": {"homing": self.homed},
            "/step": ARM,
            "/control/release": {"holder": None, "you": "me", "watchers": 0},
        }
        done = HOMED | {"asked": ["elbow"], "joints": {"elbow": found}}
        return 200, JSON, json.dumps(answers.get(where, done)).encode()


@pytest.fixture(name="coordinator")
def coordinator_of_the_elbow() -> Coordinator:
    return Coordinator()


@pytest.fixture(name="url")
def where_it_is(coordinator: Coordinator) -> Iterator[str]:
    with served(coordinator) as url:
        yield url


def run(url: str, *options: str | Path) -> int:
    return unisono(["accuracy", "turn", "elbow", "--turns", "3", "--url", url, *map(str, options)])


def test_gear_is_told_with_its_uncertainty_and_that_no_edge_tells_the_direction(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url, "--yes") == 0
    told = capsys.readouterr()
    assert "believed to turn by 360.0000° in a whole turn, mean of 3 turns (s 0.02°)" in told.out
    assert "gear ratio 20, standard uncertainty 0.00064; the arm file has 20: they agree" in (
        told.out
    )
    assert "which way it turned no home edge tells" in told.err
    assert "Caution: moving joints pinch" in told.out
    assert (coordinator.turned, coordinator.homed) == (3, 4)


def test_without_a_yes_nothing_moves(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url) == 2
    assert "turning a joint by whole turns asks for a yes" in capsys.readouterr().err
    assert (coordinator.turned, coordinator.homed) == (0, 0)


def test_joint_with_a_range_is_refused_as_its_scale_would_be_a_turn_off(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.text = RANGED
    assert run(url, "--yes") == 2
    assert "has a range of -170 to 170°" in capsys.readouterr().err
    assert (coordinator.turned, coordinator.homed) == (0, 0)


def test_joint_whose_angle_is_not_known_is_not_turned(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.is_homed = False
    assert run(url, "--yes") == 3
    assert "home it first" in capsys.readouterr().err
    assert (coordinator.turned, coordinator.homed) == (0, 0)


def test_edge_that_never_comes_again_ends_it_without_a_figure(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.moved_deg = []
    assert run(url, "--yes") == 1
    told = capsys.readouterr()
    assert "did not come to its home edge again within 3 turns" in told.err
    assert "gear ratio" not in told.out
    assert coordinator.turned == 1 + 2 + 3


def test_other_faults_than_steps_that_seem_lost_end_it(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.faults = ("driver",)
    assert run(url, "--yes") == 1
    assert "elbow was not turned to the end: it has driver" in capsys.readouterr().err
    assert coordinator.turned == 1
