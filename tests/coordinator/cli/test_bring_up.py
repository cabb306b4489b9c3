"""`unisono bring-up`: what comes next with its caution, what is said, and the sheet."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.api.responses.base import plain
from coordinator.cli.command import run
from tests.coordinator.bringup.kit import ELBOW, brought_up, now
from tests.coordinator.cli.servers import ARM, Answer, joint

JSON = {"Content-Type": "application/json"}
ALL = brought_up()
PATH = "/api/v1/joints/elbow/bring-up"


class Coordinator:
    """One that knows the elbow, and what was said of it."""

    def __init__(self) -> None:
        self.told = now(ALL[:6])
        self.said: list[tuple[str, object]] = []

    def __call__(self, path: str, body: bytes) -> Answer:
        if path.endswith("/arm"):
            return 200, JSON, json.dumps(ARM | {"joints": [joint("elbow")]}).encode()
        if path == f"{PATH}/sheet":
            return 200, {"Content-Type": "text/html; charset=utf-8"}, b"<!DOCTYPE html>\n"
        if path.endswith("/blink"):
            self.said.append((path, json.loads(body)))
            return 202, JSON, b'{"phase": "idle"}'
        if path == PATH:
            return 200, JSON, json.dumps(plain(self.told)).encode()
        if path == f"{PATH}/travel":
            self.said.append((path, json.loads(body)))
            return 200, JSON, json.dumps(plain(now(ALL[:7]))).encode()
        status, code, detail = 404, "not-found", "there is no joint 'thumb'"
        if path.startswith(PATH):
            status, code = 409, "bring-up-earlier"
            detail = "elbow: travel measured comes first (travel)"
        problem = {"type": f"urn:unisono:problem:{code}", "detail": detail}
        return status, JSON, json.dumps(problem).encode()


@pytest.fixture(name="coordinator")
def coordinator_of_the_elbow() -> Coordinator:
    return Coordinator()


def test_what_comes_next_is_told_with_its_caution_and_how_it_is_said(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["bring-up", "elbow", "--url", url]) == 0
    told = capsys.readouterr().out
    assert "elbow, number 3 from the base: controller 3c71bf4a0003, firmware 1.5.0" in told
    assert "Home found (home): done, last 2026-05-01 09:05 UTC" in told
    assert "Travel measured (travel): NEXT" in told
    assert "Caution: With a wrong ratio it turns further than it is told" in told
    assert "--done travel --commanded-deg DEG --measured-deg DEG" in told


def test_what_a_step_is_done_by_in_a_terminal_is_told_with_it(
    url: str, coordinator: Coordinator, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = {
        0: "By: unisono blink elbow", 4: "By: unisono jog elbow 1", 5: "By: unisono home elbow",
        6: "By: unisono jog elbow 20", 8: "By: unisono survey elbow",
    }  # fmt: skip
    for count in range(len(ALL)):
        coordinator.told = now(ALL[:count])
        assert run(["bring-up", "elbow", "--url", url]) == 0
        told = capsys.readouterr().out
        assert lines.get(count, "") in told
        assert "{}" not in told


def test_a_light_blinks_and_a_joint_that_is_none_is_named(
    url: str, coordinator: Coordinator, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["blink", "elbow", "--url", url]) == 0
    assert coordinator.said == [("/api/v1/blink", {"joint": "elbow"})]
    assert "the light of elbow should blink now" in capsys.readouterr().out
    assert run(["blink", "thumb", "--json", "--url", url]) == 2
    told = json.loads(capsys.readouterr().out)
    assert told["errors"][0]["message"] == "there is no joint 'thumb'; this arm has elbow"


def test_two_joints_that_changed_places_are_named(
    url: str, coordinator: Coordinator, capsys: pytest.CaptureFixture[str]
) -> None:
    wrist = replace(ELBOW, id="3c71bf4a0005")
    coordinator.told = replace(now(ALL, wrist), exchanged="wrist")
    assert run(["bring-up", "elbow", "--url", url]) == 0
    told = capsys.readouterr().out
    assert (
        "wrist was identified with the controller 3c71bf4a0005 before: two joints may have" in told
    )


def test_a_step_is_said_to_be_done_with_what_was_measured(
    url: str, coordinator: Coordinator, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["--done", "travel", "--commanded-deg", "90", "--measured-deg", "-89.5"]
    assert run(["bring-up", "elbow", *words, "--url", url]) == 0
    said = {"answer": None, "commanded_deg": 90.0, "measured_deg": -89.5}
    assert coordinator.said == [(f"{PATH}/travel", said)]
    assert "Range free (range): NEXT" in capsys.readouterr().out


def test_a_swap_says_why_and_how_to_say_that_the_controller_alone_was_changed(
    url: str, coordinator: Coordinator, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.told = now(ALL, replace(ELBOW, id="3c71bf4aff03"))
    assert run(["bring-up", "elbow", "--url", url]) == 0
    told = capsys.readouterr().out
    assert "counts no more: controller was 3c71bf4a0003, is 3c71bf4aff03" in told
    assert "unisono bring-up elbow --done controller-only" in told


def test_json_is_what_the_coordinator_said_and_the_sheet_is_a_file(
    url: str, coordinator: Coordinator, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    coordinator.told = now(ALL)
    sheet = tmp_path / "elbow.html"
    assert run(["bring-up", "elbow", "--sheet", str(sheet), "--json", "--url", url]) == 0
    assert json.loads(capsys.readouterr().out) == plain(now(ALL)) | {"sheet": str(sheet)}
    assert sheet.read_text("utf-8") == "<!DOCTYPE html>\n"
    assert run(["bring-up", "elbow", "--url", url]) == 0
    assert "every step is done" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (["thumb"], 2, "there is no joint"),
        (["elbow", "--done", "link"], 3, "travel measured comes first"),
        (["elbow", "--answer", "light"], 2, "say by --done of which step that is"),
        (["elbow", "--sheet", "elbow.txt"], 2, "must end in .html"),
    ],
)
def test_what_cannot_be_has_its_exit_code(
    url: str, capsys: pytest.CaptureFixture[str], words: list[str], code: int, sentence: str
) -> None:
    assert run(["bring-up", *words, "--url", url]) == code
    assert sentence in capsys.readouterr().err
