"""`unisono homings`: how well a joint finds its home again, in words, as JSON, as a picture."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlsplit
from xml.etree import ElementTree

import pytest

from coordinator.api.responses.base import plain
from coordinator.api.responses.joint_homings import HOMINGS
from coordinator.cli.command import run
from coordinator.health.home_drift import HomeFigure
from coordinator.pictures.axes import Scale, time_ticks
from coordinator.pictures.homings import homings_picture
from tests.coordinator.cli.servers import ARM, HOMED, Answer, joint, served

JSON = {"Content-Type": "application/json"}
SVG = "{http://www.w3.org/2000/svg}"


def coordinator(path: str, _body: bytes) -> Answer:
    """One that knows the elbow, and of the wrist no homing."""
    where = urlsplit(path).path
    if where.endswith("/joints/elbow/homings"):
        return 200, JSON, json.dumps(plain(HOMINGS)).encode()
    if where.endswith("/joints/wrist/homings"):
        return 200, JSON, json.dumps(plain(replace(HOMINGS, joint="wrist", homings=()))).encode()
    if where.endswith("/arm"):
        return 200, JSON, json.dumps(ARM | {"joints": [joint("elbow"), joint("wrist")]}).encode()
    detail = "there is no joint 'thumb'; this arm has elbow wrist"
    if not where.endswith("/joints/thumb/homings"):
        detail = "Not Found"  # as a router says
    problem = {"type": "urn:unisono:problem:not-found", "detail": detail}
    return 404, JSON, json.dumps(problem).encode()


@pytest.fixture(name="url")
def coordinator_with_homings() -> Iterator[str]:
    with served(coordinator) as url:
        yield url


@pytest.fixture(autouse=True)
def utc(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "UTC")


def test_figures_are_told_with_their_uncertainty_or_why_there_are_none(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["homings", "elbow", "--url", url]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "elbow: 2 homings" in told
    assert "14 2026-05-01 09:00 31.5 – reference 0.0430" in told
    assert "15 2026-05-01 12:00 38.2 +0.0050 +0.0050 (of 14) 0.0410" in told
    assert "rising edge, standard deviation: 0.0031 °, standard uncertainty 0.00073 °" in told
    assert "from 10 homings" in told
    assert "drift of home: not told: it was 3.1 °C warmer at one than at another" in told


def test_what_is_less_than_a_count_is_not_told_as_perfect(
    capsys: pytest.CaptureFixture[str],
) -> None:
    told = replace(HOMINGS, hysteresis_deg=HomeFigure(0.0, 0.0, 6, ""))
    with served(lambda _path, _body: (200, JSON, json.dumps(plain(told)).encode())) as url:
        assert run(["homings", "elbow", "--url", url]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "play: less than one count, by which edges are told, in 6 homings" in said


def test_json_is_what_the_coordinator_said(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["homings", "elbow", "--json", "--url", url]) == 0
    assert json.loads(capsys.readouterr().out) == plain(HOMINGS)


def test_a_picture_has_every_homing_over_time_and_over_temperature_and_the_figures_in_words(
    url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "elbow.svg"
    assert run(["homings", "elbow", "--plot", str(file), "--json", "--url", url]) == 0
    assert json.loads(capsys.readouterr().out)["plot"] == str(file)
    drawn = ElementTree.fromstring(file.read_text(encoding="utf-8"))
    tips = [one.text for one in drawn.iterfind(f"{SVG}path/{SVG}title")]
    both = ["homing 14: a reference, 31.5 °C", "homing 15: +0.005° since homing 14, 38.2 °C"]
    assert tips == [*both, *both]
    words = " ".join(one.text or "" for one in drawn.iterfind(f"{SVG}text"))
    assert "when the homing ended, UTC" in words
    assert "05-01 09:00" in words
    assert "at the driver, °C" in words
    assert "rising edge, standard deviation: 0.0031 °, standard uncertainty 0.00073 °" in words
    assert "from 10 homings" in words
    assert "drift of home: not told: it was 3.1 °C warmer" in words


def test_homings_that_did_not_say_when_they_were_are_drawn_one_after_another() -> None:
    first, second = HOMINGS.homings
    told = replace(HOMINGS, homings=(replace(first, utc=None), second))
    words = homings_picture(told)
    assert "UTC" not in words
    assert "homing; open: a reference" in words


def test_one_homing_alone_is_a_picture_without_temperature() -> None:
    (first, _) = HOMINGS.homings
    told = replace(HOMINGS, homings=(replace(first, level_deg=None),))
    words = homings_picture(told)
    assert "when the homing ended" in words
    assert "at the driver" not in words


@pytest.mark.parametrize("span_s", [60.0, 3_600.0, 86_400.0, 30 * 86_400.0, 20 * 365 * 86_400.0])
def test_a_time_axis_has_a_few_ticks_in_order_within_it(span_s: float) -> None:
    scale = Scale(1_780_000_000.0, 1_780_000_000.0 + span_s, 0.0, 500.0)
    ticks = time_ticks(scale)
    assert 1 <= len(ticks) <= 8
    assert [at for at, _ in ticks] == sorted(at for at, _ in ticks)
    assert all(scale.low <= at <= scale.high for at, _ in ticks)
    assert len({called for _, called in ticks}) == len(ticks)


def test_the_line_of_the_drift_is_drawn_where_it_is_known() -> None:
    def lines(told: str) -> int:
        return told.count("stroke-dasharray")

    known = replace(HOMINGS, drift_deg_per_c=HomeFigure(0.001, 0.0001, 10, ""))
    assert lines(homings_picture(known)) == lines(homings_picture(HOMINGS)) + 1


def test_a_joint_that_does_not_count_as_homed_is_told_with_what_to_do(
    capsys: pytest.CaptureFixture[str],
) -> None:
    told = replace(HOMINGS, wandered_deg=0.09)
    with served(lambda _path, _body: (200, JSON, json.dumps(plain(told)).encode())) as url:
        assert run(["homings", "elbow", "--url", url]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "elbow DOES NOT COUNT AS HOMED: home was +0.09° from its reference" in said
    assert "unisono home --accept elbow" in said


def accepting(path: str, _body: bytes) -> Answer:
    """A coordinator whose elbow wandered."""
    where = urlsplit(path).path.removeprefix("/api/v1")
    edge = {"position": 0, "rising": True, "fast": False, "from_middle_deg": -1.5}
    found = {"edges": [edge], "middle": 0, "home_offset_deg": 0.0, "wandered_deg": 0.09}
    answers: dict[str, object] = {
        "/arm": ARM | {"joints": [joint("elbow")]},
        "/home": {"homing": 1},
        "/homings/1": HOMED | {"asked": ["elbow"], "joints": {"elbow": found}},
        "/control": {"holder": None, "you": "me", "watchers": 0},
        "/control/release": {"holder": None, "you": "me", "watchers": 0},
        "/joints/elbow/home/accept": {"phase": "idle", "unconfirmed": []},
    }
    if where not in answers:  # as a router does
        problem = {"type": "urn:unisono:problem:not-found", "detail": "Not Found"}
        return 404, JSON, json.dumps(problem).encode()
    return 200, JSON, json.dumps(answers[where]).encode()


def test_a_homing_after_which_a_joint_does_not_count_as_homed_is_not_done(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with served(accepting) as url:
        assert run(["home", "--url", url]) == 1
    told = capsys.readouterr()
    assert "homed:" not in told.out
    assert "elbow does not count as homed: its home was found +0.09°" in told.err
    assert "unisono home --accept elbow" in told.err


def test_a_home_is_accepted_and_nothing_is_homed_by_that(
    capsys: pytest.CaptureFixture[str],
) -> None:
    with served(accepting) as url:
        assert run(["home", "--accept", "elbow", "--url", url]) == 0
        assert capsys.readouterr().out == "the home of elbow is accepted as it is now\n"
        assert run(["home", "--accept", "elbow", "--json", "--url", url]) == 0
        assert json.loads(capsys.readouterr().out)["phase"] == "idle"
        assert run(["home", "tip", "--accept", "elbow", "--url", url]) == 2
        assert "--accept homes nothing, but tip is named" in capsys.readouterr().err
        assert run(["home", "--accept", "", "--url", url]) == 2
        assert "there is no joint ''; this arm has elbow" in capsys.readouterr().err


def test_of_a_joint_that_was_never_homed_that_is_told(
    url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["homings", "wrist", "--url", url]) == 0
    assert capsys.readouterr().out == "no homing of wrist is known\n"
    file = tmp_path / "wrist.svg"
    assert run(["homings", "wrist", "--plot", str(file), "--url", url]) == 1
    assert "no homing of wrist is known to draw" in capsys.readouterr().err
    assert not file.exists()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["thumb"], "there is no joint 'thumb'; this arm has elbow wrist"),
        ([""], "there is no joint ''; this arm has elbow wrist"),
        (["el/bow"], "there is no joint 'el/bow'; this arm has elbow wrist"),
        (["elbow", "--plot", "elbow.png"], "must end in .svg"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    url: str, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    assert run(["homings", *arguments, "--url", url]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert len(said.splitlines()) == 1
