"""`unisono accuracy edges`: play at most, by what homings met, and its step into the arm file."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from coordinator.answers.joint_homings import JointHomings
from coordinator.api.responses.base import plain
from coordinator.api.responses.joint_homings import HOMINGS
from coordinator.cli.command import run as unisono
from coordinator.config.arm import load_arm, parse_arm
from coordinator.config.arm_edit import UPPER_BOUND, with_joint_figures
from coordinator.core.homing import figures_in_words
from tests.coordinator.cli.elbow import TEXT, ElbowAlone

ELBOW = parse_arm(TEXT, Path("arm.toml")).joint("elbow")
FOUND = (0.21, 0.20, 0.22, 0.19, 0.21)


def homings(*found: float, **values: Any) -> JointHomings:
    """What these homings of the elbow found."""
    (one, *_) = HOMINGS.homings
    mine: dict[str, Any] = {"controller": ELBOW.id, "figures": figures_in_words(ELBOW)} | values
    places = tuple(
        replace(one, homing=k, hysteresis_deg=value, **mine) for k, value in enumerate(found, 1)
    )
    return replace(HOMINGS, joint="elbow", homings=places)


class Coordinator(ElbowAlone):
    """One that knows the elbow, and homes it at once."""

    def __init__(self) -> None:
        super().__init__()
        self.told = homings(*FOUND)
        self.wandered_deg: float | None = None

    def found(self) -> dict[str, Any]:
        return {"wandered_deg": self.wandered_deg}

    def more(self) -> dict[str, object]:
        return {"/joints/elbow/homings": plain(self.told)}


@pytest.fixture(name="coordinator")
def coordinator_of_the_elbow() -> Coordinator:
    return Coordinator()


def run(url: str, *arguments: str | Path) -> int:
    return unisono(["accuracy", "edges", "elbow", "--url", url, *map(str, arguments)])


def test_bound_is_told_with_its_uncertainty_its_homings_and_what_is_in_it(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url) == 0
    told = capsys.readouterr()
    # Computed: s 0.011402, u 0.0050990; Student's t of four degrees of freedom is 2.78.
    assert "0.2060° later in either direction, in the mean of its newest 5 homings (s 0.0114°" in (
        told.out
    )
    assert "standard uncertainty 0.0051°" in told.out
    assert "play at most 0.2202° (mean and 2.78 standard uncertainties), at least 0" in told.out
    # 100 us (protocol) at 40 and 10 deg/s.
    assert "up to 0.0050° of it is that edges are noticed late" in told.out
    assert "the home sensor's own hysteresis is in it" in told.err
    assert "gravity or a spring" in told.err


def test_json_has_every_figure_and_what_it_does_not_tell_apart(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["joint"], told["unit"], told["count"]) == ("elbow", "deg", 5)
    assert told["bound"] == pytest.approx(0.220175, abs=1e-6)
    assert told["is_seen"] is True
    assert "hysteresis" in told["remarks"][0]


def test_picture_has_every_homing(url: str, tmp_path: Path) -> None:
    picture = tmp_path / "elbow.svg"
    assert run(url, "--plot", picture) == 0
    root = ElementTree.fromstring(picture.read_text(encoding="utf-8"))
    tips = [one.text for one in root.iter("{http://www.w3.org/2000/svg}title")]
    assert sum("homing" in (tip or "") and "of these" in (tip or "") for tip in tips) == 5


def test_what_was_found_goes_into_the_arm_file_marked_as_a_bound(
    url: str, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url, "--arm", arm_file, "--yes") == 0
    line = f"reversal_error_deg = 0.221 # {UPPER_BOUND}"
    assert f"+{line}" in capsys.readouterr().err
    after = arm_file.read_text(encoding="utf-8")
    assert [one for one in after.splitlines() if one not in TEXT.splitlines()] == [line]
    assert load_arm(arm_file).joint("elbow").reversal_error_deg == 0.221


def test_a_gauge_s_figure_takes_the_mark_off_and_the_owner_s_words_stay() -> None:
    arm = parse_arm(TEXT, Path("arm.toml"))
    bound = with_joint_figures(arm, "elbow", {"reversal_error_deg": 0.221}, is_bound=True)
    owned = bound.replace("0.221 #", "0.221 # since spring;")
    again = with_joint_figures(
        parse_arm(owned, Path("arm.toml")), "elbow", {"reversal_error_deg": 0.3}, is_bound=True
    )
    assert f"reversal_error_deg = 0.3 # since spring; {UPPER_BOUND}\n" in again
    gauged = with_joint_figures(
        parse_arm(again, Path("arm.toml")), "elbow", {"reversal_error_deg": 0.19}
    )
    assert "reversal_error_deg = 0.19 # since spring\n" in gauged
    plain = with_joint_figures(
        parse_arm(bound, Path("arm.toml")), "elbow", {"reversal_error_deg": 1}
    )
    assert "reversal_error_deg = 1\n" in plain


def test_without_a_yes_nothing_is_written(
    url: str, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url, "--arm", arm_file) == 2
    assert "without one give --yes" in capsys.readouterr().err
    assert arm_file.read_text(encoding="utf-8") == TEXT


@pytest.mark.parametrize(
    ("told", "why"),
    [
        (homings(*FOUND[:4]), "4 homings met an edge both ways, and it takes 5"),
        (homings(), "no homings met an edge both ways"),
        (homings(*FOUND, controller="ffffffffffff"), "by another controller or with other figures"),
        (homings(*FOUND, figures="another gear"), "by another controller or with other figures"),
        (homings(*(-one for one in FOUND)), "sooner in the direction of travel"),
    ],
    ids=["too few", "none", "another controller", "another gear", "too soon"],
)
def test_where_no_bound_can_be_made_none_is_told_and_nothing_is_written(
    coordinator: Coordinator,
    url: str,
    told: JointHomings,
    why: str,
    arm_file: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    coordinator.told = told
    assert run(url, "--arm", arm_file, "--yes") == 1
    said = capsys.readouterr()
    assert why in said.err
    assert said.out == ""
    assert arm_file.read_text(encoding="utf-8") == TEXT


def test_play_that_does_not_show_is_not_told_as_none_and_not_written(
    coordinator: Coordinator, url: str, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.told = homings(*(0.0,) * 6)
    assert run(url) == 0
    assert "no play is seen: it is less than" in capsys.readouterr().out
    assert run(url, "--arm", arm_file, "--yes") == 1
    assert "which does not say that it has none: nothing is written" in capsys.readouterr().err
    assert arm_file.read_text(encoding="utf-8") == TEXT


def test_a_file_with_another_gear_than_the_joint_that_was_homed_is_refused(
    url: str, arm_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = TEXT.replace("gear_ratio = 20.0", "gear_ratio = 25.0")
    arm_file.write_text(other, encoding="utf-8")
    assert run(url, "--arm", arm_file, "--yes") == 2
    assert "other figures in" in capsys.readouterr().err
    assert arm_file.read_text(encoding="utf-8") == other


def test_it_is_homed_only_where_that_is_asked_and_allowed(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(url) == 0
    assert run(url, "--home", "6") == 2
    assert coordinator.homed == 0
    capsys.readouterr()
    assert run(url, "--home", "6", "--yes") == 0
    assert coordinator.homed == 6
    assert "Caution: moving joints pinch" in capsys.readouterr().out


def test_joint_whose_angle_is_not_known_is_not_homed_by_it(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.is_homed = False
    assert run(url, "--home", "6", "--yes") == 3
    assert "home it first by unisono home elbow" in capsys.readouterr().err
    assert coordinator.homed == 0


def test_home_that_wanders_ends_it(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.wandered_deg = 0.4
    assert run(url, "--home", "6", "--yes") == 1
    assert "does not count as homed" in capsys.readouterr().err
    assert coordinator.homed == 1


def test_unknown_joint_is_told_with_those_there_are(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert unisono(["accuracy", "edges", "thumb", "--url", url]) == 2
    assert (
        "there is no joint 'thumb'; quick arm has turntable shoulder elbow"
        in capsys.readouterr().err
    )


@pytest.mark.parametrize("options", [(), ("--home", "6", "--yes")])
def test_play_that_came_of_late_is_not_hidden_by_old_homings(
    coordinator: Coordinator, url: str, options: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.told = homings(*(0.05, 0.051) * 100, *(0.40, 0.41) * 3)
    assert run(url, "--json", *options) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["bound"] > 0.405
    assert told["count"] == (6 if options else 5)
    assert any("GREW" in one for one in told["remarks"])


def test_change_that_may_be_chance_is_not_told(
    coordinator: Coordinator, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.told = homings(*FOUND, *reversed(FOUND))
    assert run(url, "--json") == 0
    assert not [one for one in json.loads(capsys.readouterr().out)["remarks"] if "GREW" in one]
