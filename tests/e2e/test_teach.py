"""`unisono teach` before software joints on real sockets: taught, written, undone, gone back to."""

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.coordinator.cli.here import unisono_here
from tests.e2e.harness import Bench, Kind, linked_bench, until

pytestmark = pytest.mark.joints


@pytest.fixture(scope="module")
def arm(tmp_path_factory: pytest.TempPathFactory, kind: Kind) -> Iterator[Bench]:
    """Three joints and their coordinator, homed."""
    with linked_bench(tmp_path_factory.mktemp("arm"), kind) as made:
        made.home()
        yield made


def shown(arm: Bench) -> dict[str, Any]:
    found: dict[str, Any] = arm.ask("teach", "show")
    return found


def at_deg(arm: Bench) -> float:
    return float(arm.states()["elbow"]["position_deg"])


def test_places_are_recorded_played_back_and_control_is_given_back(
    arm: Bench, tmp_path: Path
) -> None:
    assert arm.unisono("teach", "record", "tray", "--name", "above").returncode == 0
    begun = at_deg(arm)
    turned = "-3" if begun > 0 else "3"
    assert arm.unisono("jog", "elbow", turned).returncode == 0
    done = arm.unisono("teach", "record", "tray")
    assert done.returncode == 0, done.stderr
    assert "recorded 'waypoint 2' in 'tray'" in done.stdout
    assert arm.holder() is None
    assert [one["name"] for one in shown(arm)["waypoints"]] == ["above", "waypoint 2"]
    file = tmp_path / "tray.nc"
    file.write_text(arm.unisono("teach", "program", "tray").stdout)
    played = arm.unisono("run", str(file))
    assert played.returncode == 0, played.stderr
    assert at_deg(arm) == pytest.approx(begun + float(turned), abs=0.01)
    gone = arm.unisono("teach", "go", "above")
    assert gone.returncode == 0, gone.stderr
    assert at_deg(arm) == pytest.approx(begun, abs=0.02)


def test_what_was_written_is_undone_and_done_again(arm: Bench, tmp_path: Path) -> None:
    file = tmp_path / "water.nc"
    file.write_text("G0 A1 B2 C3 (first)\nG0 A4 (second)\nM2\n")
    assert arm.unisono("teach", "write", "water", str(file)).returncode == 0
    assert "water: 2 visits\n  1. first\n  2. second" in arm.unisono("teach", "show").stdout
    undone = arm.unisono("teach", "undo")
    assert "undone: wrote the program of 'water'" in undone.stdout
    assert "water: 0 visits" in arm.unisono("teach", "show").stdout
    assert arm.unisono("teach", "redo").returncode == 0
    assert "water: 2 visits" in arm.unisono("teach", "show").stdout
    assert arm.unisono("teach", "delete", "water").returncode == 0
    assert "water" not in arm.unisono("teach", "program", "water").stdout


def test_a_program_is_kept_written_over_played_in_loops_and_deleted(
    arm: Bench, tmp_path: Path
) -> None:
    at = round(at_deg(arm))
    file = tmp_path / "there and back.nc"
    file.write_text(f"G0 C{at - 1}\nG0 C{at}\nM2\n")
    assert arm.unisono("teach", "keep", str(file), "--name", "there").returncode == 0
    assert "there: a program" in arm.unisono("teach", "show").stdout
    assert arm.unisono("teach", "program", "There").stdout == file.read_text()
    wrong = tmp_path / "wrong.nc"
    wrong.write_text("G2 X1\n")
    assert arm.unisono("teach", "keep", str(wrong), "--name", "there").returncode == 0
    refused = arm.unisono("teach", "play", "there")
    assert refused.returncode == 2, refused.stderr
    assert "there:1:1: G2 is an arc, clockwise" in refused.stderr
    assert "undone: wrote program 'there'" in arm.unisono("teach", "undo").stdout
    done = arm.unisono("teach", "play", "there", "--loops", "2", "--json")
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert (report["name"], report["loops"], report["outcome"]) == ("there", 2, "finished")
    assert (report["block_delete"], report["optional_stop"]) == (False, False)
    assert arm.unisono("queue", "add", "there").returncode == 0
    deleted = arm.unisono("teach", "delete", "there")
    assert "entry 1 of the queue, there, is deleted and will not begin" in deleted.stdout
    assert arm.unisono("queue", "remove", "1").returncode == 0
    assert "there: a program" not in arm.unisono("teach", "show").stdout


def test_a_queue_plays_one_after_another_and_a_stop_ends_it(
    arm: Bench,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("UNISONO_URL", arm.url)
    unisono, at = unisono_here(capsys), round(at_deg(arm))
    texts = {
        "near": f"G0 C{at - 1}\nM2\n",
        "back": f"G0 C{at}\nM2\n",
        "slow": f"G1 C{at - 4} F30\nG1 C{at} F30\nM2\n",
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
        assert unisono("teach", "keep", str(tmp_path / name)).code == 0
    empty = unisono("queue", "play")
    assert (empty.code, "the queue is empty" in empty.err) == (3, True)
    assert unisono("queue", "add", "near").code == 0
    assert unisono("queue", "add", "back", "--loops", "2").code == 0
    told = unisono("queue", "move", "1", "2")
    assert told.out == "1. back, 2 loops: waits\n2. near: waits\n"
    assert unisono("queue", "move", "2", "1").code == 0
    assert "there is no place 3: the queue has 2" in unisono("queue", "remove", "3").err
    done = unisono("queue", "play", "--json")
    assert done.code == 0, done.err
    queue = json.loads(done.out)
    assert [one["state"] for one in queue["entries"]] == ["finished", "finished"]
    runs = [
        json.loads(unisono("report", str(one["run"]), "--json").out) for one in queue["entries"]
    ]
    assert [(one["name"], one["loops"], one["outcome"]) for one in runs] == [
        ("near", 1, "finished"), ("back", 2, "finished"),
    ]  # fmt: skip
    assert runs[1]["began_at_us"] > runs[0]["ended_at_us"]
    assert at_deg(arm) == pytest.approx(at, abs=0.02)
    for words in ("remove 1", "remove 1", "add slow", "add near"):
        assert unisono("queue", *words.split()).code == 0
    command = [sys.executable, "-m", "coordinator.cli", "queue", "play"]
    playing = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    arm.until_moving()
    assert unisono("hold").code == 0
    err = playing.communicate(timeout=120)[1]
    assert playing.returncode == 1, err
    assert "of the queue is held" in err

    def goes_on() -> bool:
        """Where this machine's own load has the arm hold, it is resumed once more."""
        if arm.arm_now()["phase"] == "held":
            unisono("resume")
        return not json.loads(unisono("queue", "show", "--json").out)["playing"]

    capsys.readouterr()
    until(goes_on, "what was held and resumed is followed by the next")
    shown = unisono("queue", "show").out.splitlines()
    assert [line.split(",")[0] for line in shown] == ["1. slow: finished", "2. near: finished"]
    playing = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    arm.until_moving()
    assert unisono("stop").code == 0
    out, err = playing.communicate(timeout=120)
    assert playing.returncode == 1, err
    assert "1. slow: ended" in out
    assert "2. near: waits" in out
    assert "the queue ended at 1 of 2, slow: its run was stopped: the operator asked" in err
    assert arm.arm_now()["run"] is None
    arm.home()


def test_lines_with_a_slash_and_m1_count_as_the_operator_switches(
    arm: Bench, tmp_path: Path
) -> None:
    at = round(at_deg(arm))
    file = tmp_path / "switched.nc"
    file.write_text(f"/G0 C999\nG0 C{at - 1}\nM1\nG0 C{at}\nM2\n")
    assert arm.unisono("run", str(file)).returncode == 2
    assert arm.unisono("check", str(file), "--url", arm.url).returncode == 2
    assert arm.unisono("check", str(file), "--block-delete", "--url", arm.url).returncode == 0
    # Without the other switch M1 does nothing.
    done = arm.unisono("run", str(file), "--block-delete", "--json")
    assert done.returncode == 0, done.stderr
    report = json.loads(done.stdout)
    assert (report["block_delete"], report["optional_stop"]) == (True, False)
    assert len(report["starts"]) == 1
    process = arm.play(file.read_text(), options=("--block-delete", "--optional-stop"))
    until(lambda: arm.ask("joints")["phase"] == "paused", "the pause at M1")
    assert arm.unisono("resume").returncode == 0
    assert process.popen.wait(60) == 0
    told = arm.unisono("report").stdout
    assert "switched on: block delete and optional stop" in told


def test_wrong_input_is_one_line_a_code_and_changes_nothing(
    arm: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    unisono = unisono_here(capsys)
    right = tmp_path / "right.nc"
    right.write_text("G0 A1 B2 C3 (first)\nM2\n")
    assert arm.unisono("teach", "write", "pots", str(right)).returncode == 0
    assert arm.unisono("teach", "undo").returncode == 0
    before = shown(arm)
    assert before["redo"] == "wrote the program of 'pots'"
    wrong = tmp_path / "wrong.nc"
    wrong.write_text("G0 A1 B2 C3\nM0\nM2\n")
    for arguments, told in (
        (("program", "nowhere"), "there is no sequence or program 'nowhere'"),
        (("play", "nowhere"), "there is no sequence or program 'nowhere'"),
        (
            ("play", "tray", "--loops", "0"),
            "--loops is '0', but must be a whole number from 1 to 10000",
        ),
        (("keep", str(wrong), "--name", "("), "a name cannot hold '('"),
        (("record", ""), "a sequence needs a name"),
        (("record", "x" * 61), "61 characters, at most 60"),
        (("record", "a new one", "--name", "("), "a name cannot hold '('"),
        (("go", "nowhere"), "there is no waypoint 'nowhere'"),
        (("write", "tray", str(wrong)), f"{wrong}:2:1: a sequence has no pause M0, M1 or M60"),
        (("write", "a new one", str(wrong)), f"{wrong}:2:1: a sequence has no pause M0, M1 or M60"),
        (("write", "tray", str(tmp_path)), "cannot be read: Is a directory"),
        (("delete", "nowhere"), "there is no sequence or program 'nowhere'"),
    ):
        done = unisono("teach", *arguments, "--url", arm.url)
        assert done.code == 2, (arguments, done)
        assert told in done.err, (arguments, done)
    assert shown(arm) == before  # also what is there to redo


def test_ctrl_c_on_the_way_stops_the_arm(arm: Bench, tmp_path: Path) -> None:
    far = -150 if at_deg(arm) > 0 else 150
    file = tmp_path / "far.nc"
    file.write_text(f"G0 A{far} B{far} C{far} (far away)\nM2\n")
    assert arm.unisono("teach", "write", "far", str(file)).returncode == 0
    command = (sys.executable, "-m", "coordinator.cli", "teach", "go", "far away", "--url", arm.url)
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as going:
        until(
            lambda: arm.states()["elbow"]["state"] == "jogging" or going.poll() is not None,
            "it is on its way",
        )
        assert going.poll() is None, going.communicate()
        going.send_signal(signal.SIGINT)
        assert going.wait(30) == 1
    until(lambda: arm.arm_now()["condition"]["word"] == "at rest", "at rest")
    assert at_deg(arm) != pytest.approx(far, abs=1)
    assert arm.holder() is None


def test_nothing_is_recorded_while_the_arm_moves(arm: Bench, tmp_path: Path) -> None:
    target = -100 if at_deg(arm) > 0 else 100
    file = tmp_path / "slow.nc"
    file.write_text(f"G1 A{target} B{target} C{target} F600\nM2\n")
    with subprocess.Popen(
        (sys.executable, "-m", "coordinator.cli", "run", str(file), "--url", arm.url, "--json"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as playing:
        until(lambda: arm.arm_now()["phase"] == "moving", "it plays")
        before = len(json.loads(arm.unisono("teach", "show", "--json").stdout)["waypoints"])
        done = arm.unisono("teach", "record", "tray")
        assert done.returncode == 3, done.stderr
        assert len(shown(arm)["waypoints"]) == before
        arm.unisono("stop")
        playing.wait(60)
