"""`unisono survey`: figures and findings in words, as JSON, as a picture."""

import json
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from coordinator.api.responses.base import plain
from coordinator.api.responses.survey import CANCELLED_SURVEY, SURVEY, SURVEYING
from coordinator.cli.command import run
from coordinator.cli.common import ExitCode, Failure
from coordinator.codes.survey_word import LinkVerdict
from coordinator.health.link_survey.clock_figures import ClockFigures, Stability
from coordinator.pictures.survey import survey_picture
from tests.coordinator.cli.servers import served
from tests.coordinator.client.asked import Coordinator

PLACE = "/survey"


@pytest.fixture(autouse=True)
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing waits as long as people do."""
    monkeypatch.setattr("coordinator.cli.survey.LOOK_S", 0.0)


@pytest.fixture(name="coordinator")
def coordinator_that_surveys() -> Coordinator:
    return Coordinator({PLACE: [plain(one) for one in (SURVEYING, SURVEYING, SURVEY)]})


def rows(told: str) -> dict[str, list[str]]:
    """The table's lines by their first words."""
    cells = [re.split(r"\s{2,}", line.strip()) for line in told.splitlines()]
    return {first: others for first, *others in cells}


def test_figures_are_a_table_and_each_finding_says_what_to_do(
    url: str, coordinator: Coordinator, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["survey", "elbow", "wrist", "--for", "60", "--url", url]) == 0
    told = capsys.readouterr().out
    table = rows(told)
    assert table["exchanges"] == ["1500"]
    assert table["lost, % (95 % interval)"] == ["0.14% to 0.78%"]
    assert table["round trip p99, ms"] == ["91.8"]
    assert table["way there longer than back, ms"] == ["+40.0 ± 1.3"]
    assert table["clock rate, ppm"] == ["+30.3 ± 22.9"]
    assert table["clock, Allan deviation over 10 s, ppm"] == ["< 41.5"]
    assert "\n<: less than that; it is not to be seen over this link's delays\n" in told
    assert "elbow: usable\n  power save is on in this joint's firmware: " in told
    assert "(1495 exchanges): switch power save of its radio off in the firmware" in told
    assert "wrist: 0 of 0 exchanges were answered, too few to tell anything" in told
    assert coordinator.asked[0] == (PLACE, {"joints": ["elbow", "wrist"], "for_s": 60.0})


def test_a_stability_that_can_be_seen_is_told_with_how_far_off_it_may_be(
    capsys: pytest.CaptureFixture[str],
) -> None:
    (elbow, wrist) = SURVEY.results
    assert elbow.figures is not None
    clock = ClockFigures(0.5, 0.1, (Stability(1, 12.5, 1.25), Stability(10, None, None)))
    seen = replace(elbow, figures=replace(elbow.figures, clock=clock))
    unknown = replace(elbow, joint="tip", figures=replace(elbow.figures, clock=None))
    survey = replace(SURVEY, results=(seen, unknown, wrist))
    with served(Coordinator({PLACE: [plain(survey)]})) as url:
        assert run(["survey", "--url", url]) == 0
    table = rows(capsys.readouterr().out)
    assert table["clock, Allan deviation over 1 s, ppm"] == ["12.5 ± 1.2", "not known"]
    assert table["clock, Allan deviation over 10 s, ppm"] == ["not known", "not known"]


def test_json_is_what_the_coordinator_said_and_the_picture_is_drawn(
    url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "links.svg"
    assert run(["survey", "--plot", str(file), "--json", "--url", url]) == 0
    assert json.loads(capsys.readouterr().out) == {**plain(SURVEY), "plot": str(file)}
    assert file.read_text() == survey_picture(SURVEY.results)


def test_figures_are_told_although_the_disk_takes_no_picture(
    url: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def full(file: Path, _text: str) -> None:
        raise Failure(ExitCode.WRONG_INPUT, f"{file} cannot be written: No space left on device")

    monkeypatch.setattr("coordinator.cli.survey.write_file", full)
    assert run(["survey", "--plot", str(tmp_path / "links.svg"), "--url", url]) == 2
    said = capsys.readouterr()
    assert "links.svg cannot be written" in said.err
    assert "elbow: usable" in said.out
    assert "shows the round trips" not in said.out


def test_a_good_link_says_what_was_not_looked_for(capsys: pytest.CaptureFixture[str]) -> None:
    (elbow, _) = SURVEY.results
    said = "elbow: its link is good: nothing has to be done about it; too few exchanges"
    good = replace(elbow, verdict=LinkVerdict.GOOD, findings=(), message=said)
    with served(Coordinator({PLACE: [plain(replace(SURVEY, results=(good,)))]})) as url:
        assert run(["survey", "--url", url]) == 0
    assert said in capsys.readouterr().out


def test_a_survey_that_came_to_nothing_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "links.svg"
    coordinator = Coordinator({PLACE: [plain(SURVEYING), plain(CANCELLED_SURVEY)]})
    with served(coordinator) as url:
        assert run(["survey", "--plot", str(file), "--url", url]) == 1
    assert CANCELLED_SURVEY.message in capsys.readouterr().err
    assert not file.exists()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--for", "9"], "--for"),
        (["--for", "601"], "--for"),
        (["--plot", "links.png"], "must end in .svg"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    url: str, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    assert run(["survey", *arguments, "--url", url]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert len(said.splitlines()) == 1


def test_the_picture_has_a_row_for_each_joint_and_more_time_is_further_right() -> None:
    root = ET.fromstring(survey_picture(SURVEY.results))
    words = [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"elbow", "wrist", "usable", "not known", "too few exchanges", "100"} <= set(words)
    [area] = root.iter("{http://www.w3.org/2000/svg}polygon")
    corners = [tuple(map(float, one.split(","))) for one in area.attrib["points"].split()]
    edge = corners[:101]
    assert edge == sorted(edge, key=lambda one: (one[0], -one[1]))
    # 102.9 ms is beyond the tick of 100 ms, and half of them are at half the height.
    [tick] = [
        float(node.attrib["x"])
        for node in root.iter("{http://www.w3.org/2000/svg}text")
        if node.text == "100"
    ]
    assert edge[-1][0] > tick > edge[50][0]
    assert edge[50][1] == pytest.approx((edge[0][1] + edge[100][1]) / 2, abs=0.1)
