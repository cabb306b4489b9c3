"""`unisono rehearse`: what it prints, draws and exits with, and that Ctrl-C keeps what is known."""

import json
import signal
import subprocess
import sys
import threading
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from coordinator.api.responses.arm import ARM as ARM_TOLD
from coordinator.cli import rehearsing
from coordinator.cli.command import run
from coordinator.config.joint import Joint
from coordinator.rehearsal.played import Played
from coordinator.workers.shares import tell_share

PROGRAM = "G90 G94\nG0 A10\nG1 A0 F600\nM2\n"
ARM = """
name = "two joints"
homing_order = ["base", "tip"]
[poses]
park = { base = 0, tip = 0 }
""" + "".join(
    f"""
[[joints]]
name = "{name}"
id = "00000000000{number}"
full_steps = 200
microsteps = 16
gear_ratio = 20.0
direction = 1
range_deg = [-90, 90]
velocity_deg_s = 60
acceleration_deg_s2 = 120
jerk_deg_s3 = 600
home_deg = 0
homing = {{ direction = 1, travel_deg = 99, fast_deg_s = 30, slow_deg_s = 5, backoff_deg = 2 }}
temperature_warning_c = 50
temperature_limit_c = 58
supply_limit_v = 18
run_current_a = 1.2
hold_current_a = 0.6
hop_resistance_ohm = 0.05
"""
    for number, name in ((1, "base"), (2, "tip"))
)


@pytest.fixture
def program(tmp_path: Path) -> str:
    path = tmp_path / "tray.nc"
    path.write_text(PROGRAM)
    return str(path)


@pytest.fixture
def arm(tmp_path: Path) -> str:
    path = tmp_path / "arm.toml"
    path.write_text(ARM)
    return str(path)


def test_json_says_what_to_expect_of_starts_holds_and_speeds(
    program: str, arm: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / "tray.svg"
    options = ["--arm", arm, "--repetitions", "3", "--network", "quiet", "--json"]
    assert run(["rehearse", program, *options, "--plot", str(picture)]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["rehearsals"], said["cancelled"], said["network"]) == (3, False, "quiet")
    assert said["outcomes"] == {"finished": 3}
    assert said["not_at_once"]["of"] == 3
    assert (
        0
        < said["start_skew_us"]["p50"]
        <= said["start_skew_us"]["p99"]
        <= said["start_skew_max_us"]["most"]
    )
    assert said["planned_s"] * 1e6 < said["duration_us"]["least"]
    joints = {joint["name"]: joint for joint in said["joints"]}
    assert joints["base"]["velocity"]["line"] == 2
    # F600 is 10 °/s for a joint that moves alone, less than the rapid move before it.
    assert 10.0 < joints["base"]["velocity"]["value"] <= 60.001
    assert joints["tip"]["velocity"]["value"] == 0.0
    assert said["start_margin_us"].keys() == said["off_us"].keys() == joints.keys()
    assert said["highest_temperature_c"] == dict.fromkeys(joints)  # nothing is fitted to a file
    assert said["times_real_time"] == pytest.approx(said["simulated_us"] / 1e6 / said["took_s"])
    words = [e.text for e in ET.fromstring(picture.read_text()).iter() if e.tag.endswith("text")]
    assert "tray.nc on two joints, network quiet, 3 rehearsals" in words


def test_the_same_rehearsals_give_the_same_figures_whatever_process_made_them(
    program: str, arm: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said = []
    for _ in range(2):
        assert run(["rehearse", program, "--arm", arm, "--repetitions", "4", "--json"]) == 0
        said.append(json.loads(capsys.readouterr().out))
        del said[-1]["took_s"], said[-1]["times_real_time"]
    assert said[0] == said[1]


def test_text_names_duration_skew_margins_and_speed(
    program: str, arm: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    options = ["--arm", arm, "--repetitions", "2", "--network", "quiet"]
    assert run(["rehearse", program, *options]) == 0
    captured = capsys.readouterr()
    assert "tray.nc on two joints, network quiet, 2 rehearsals" in captured.out
    for words in (
        "duration: ", "start skew: ", "start delay: ", "2 of 2 at the first attempt", "holds: none",
        "base", "× real time", "ends: 2 finished", "highest temperature: not known",
    ):  # fmt: skip
        assert words in captured.out
    assert "…" not in captured.out
    assert "rehearsed 2 of 2" in captured.err


def test_a_program_is_rehearsed_in_as_many_loops_as_it_is_to_be_run(
    program: str, arm: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said = []
    for loops in (1, 3):
        options = ["--arm", arm, "--repetitions", "1", "--network", "quiet", "--json"]
        assert run(["rehearse", program, "--loops", str(loops), *options]) == 0
        said.append(json.loads(capsys.readouterr().out))
    once, thrice = said
    assert (once["loops"], thrice["loops"]) == (1, 3)
    assert thrice["outcomes"] == {"finished": 1}
    assert thrice["planned_s"] == pytest.approx(3 * once["planned_s"], rel=0.01)
    assert thrice["planned_s"] * 1e6 < thrice["duration_us"]["least"]


def test_where_no_rehearsal_finished_joints_are_taken_to_play_all_loops_as_planned(
    program: str, arm: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked_s: list[float] = []

    def peaks_c(joints: Sequence[Joint], _told: object, for_s: float) -> dict[str, None]:
        asked_s.append(for_s)
        return dict.fromkeys(joint.name for joint in joints)

    unfinished = Played(1, "unfinished", "", None, None, (), 0, 0, (), {}, {}, 1_000_000)
    monkeypatch.setattr(rehearsing, "peaks_c", peaks_c)
    monkeypatch.setattr(rehearsing, "_all_played", lambda *_, **__: ([unfinished], False))
    planned_s = []
    for loops in ("1", "7"):
        assert run(["rehearse", program, "--arm", arm, "--loops", loops, "--json"]) == 0
        planned_s.append(json.loads(capsys.readouterr().out)["planned_s"])
    assert asked_s == planned_s
    assert asked_s[1] == pytest.approx(7 * asked_s[0], rel=0.01)


@pytest.mark.parametrize("as_json", [False, True])
def test_a_program_by_which_a_joint_would_get_too_warm_is_refused_with_how_much_it_must_rest(
    program: str,
    arm: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    as_json: bool,
) -> None:
    heat = ARM_TOLD.joints[0].heat
    assert heat is not None
    warm = replace(
        ARM_TOLD.joints[0],
        name="tip",
        temperature_c=59.0,  # above its limit already
        fan_percent=0,
        heat=replace(heat, run_rest_share=0.35),
    )
    unfinished = Played(1, "unfinished", "", None, None, (), 0, 0, (), {}, {}, 1_000_000)
    monkeypatch.setattr(rehearsing, "_told", lambda _: (warm,))
    monkeypatch.setattr(rehearsing, "_all_played", lambda *_, **__: ([unfinished], False))
    assert run(["rehearse", program, "--arm", arm, *(["--json"] if as_json else [])]) == 3
    said = capsys.readouterr()
    assert (
        "tip would get to where it stops, 58 °C, if this were played now: resting 35% of the "
        "time, in turns of a few minutes with its motor held, keeps tip below"
    ) in said.err.replace("\n", " ")
    if as_json:
        assert json.loads(said.out)["highest_temperature_c"]["tip"]["value"] >= 58.0
    else:
        assert "highest temperature: base not known, tip" in said.out.replace("\n", " ")


@pytest.mark.parametrize("as_json", [False, True])
def test_a_program_that_cannot_be_played_so_often_is_told_of_with_its_loop(
    tmp_path: Path, arm: str, capsys: pytest.CaptureFixture[str], as_json: bool
) -> None:
    away = tmp_path / "away.nc"
    away.write_text("G91\nG0 A40\nM2\n")
    options = ["--arm", arm, "--loops", "3", *(["--json"] if as_json else [])]
    assert run(["rehearse", str(away), *options]) == 2
    captured = capsys.readouterr()
    told = json.loads(captured.out)["errors"][0]["message"] if as_json else captured.err
    assert "in loop 3 of 3: " in told


@pytest.mark.parametrize("as_json", [False, True])
def test_a_program_with_mistakes_is_told_of_exactly_as_check_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], as_json: bool
) -> None:
    bad = tmp_path / "bad.nc"
    bad.write_text("G0 A10 Q5\nG1 B3\nG0 C171\nM2\n")
    options = ["--json"] if as_json else []
    codes, said = [], []
    for command in ("check", "rehearse"):
        codes.append(int(run([command, str(bad), *options])))
        captured = capsys.readouterr()
        said.append((captured.out, captured.err))
    assert codes == [2, 2]
    assert said[0] == said[1]
    assert as_json or f"{bad}:1:8: " in said[1][1]


def test_a_wrong_arm_file_is_told_of_with_its_line(
    program: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arm = tmp_path / "wrong.toml"
    arm.write_text(ARM.replace("velocity_deg_s", "velocity_rpm", 1))
    assert run(["rehearse", program, "--arm", str(arm)]) == 2
    assert "wrong.toml:" in capsys.readouterr().err


def test_an_arm_that_cannot_be_homed_is_told_of_with_the_joint(
    program: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # The search ends after 3°, and joints begin at least 5° from the middle of a window of 2°.
    arm = tmp_path / "short.toml"
    arm.write_text(ARM.replace("travel_deg = 99", "travel_deg = 3"))
    assert run(["rehearse", program, "--arm", str(arm), "--repetitions", "1"]) == 2
    assert "this arm cannot be rehearsed: homing fails: base: " in capsys.readouterr().err


def test_a_program_that_moves_nothing_is_refused_as_run_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    still = tmp_path / "still.nc"
    still.write_text("M2\n")
    assert run(["rehearse", str(still)]) == 3
    assert capsys.readouterr().err.splitlines()[1:] == ["unisono: still.nc moves nothing"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--repetitions", "0"], "--repetitions"),
        (["--network", "none"], "--network"),
        (["--plot", "plot.png"], "--plot is plot.png, but must end in .svg"),
        (["--plot", "nowhere/at/all.svg"], "nowhere/at/all.svg cannot be written"),
    ],
)
def test_wrong_options_are_told_of_before_anything_is_played(
    program: str, capsys: pytest.CaptureFixture[str], options: list[str], words: str
) -> None:
    assert run(["rehearse", program, *options]) == 2
    assert words in capsys.readouterr().err


def test_ctrl_c_ends_it_with_exit_code_1_and_what_is_known_by_then(program: str, arm: str) -> None:
    command = [sys.executable, "-m", "coordinator.cli", "rehearse", program, "--arm", arm]
    command += ["--repetitions", "200"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stderr is not None
        assert process.stdout is not None
        assert process.stderr.readline() == f"Arm: two joints, from {arm}\n"
        assert process.stderr.readline() == "rehearsed 20 of 200\n"
        process.send_signal(signal.SIGINT)
        said = process.stdout.read()
        errors = process.stderr.read()
    assert process.returncode == 1
    title = said.splitlines()[0]
    assert title.endswith("rehearsals of 200, then cancelled")
    known = int(title.split("network home, ")[1].split()[0])
    assert 20 <= known < 200
    assert f"ends: {known} finished" in said
    assert "Traceback" not in errors


def test_progress_is_told_within_a_rehearsal_too(
    program: str, arm: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    seen: list[float] = []
    was_seen = threading.Event()

    def play(task: Any) -> Played:
        tell_share(task.place, 0.5)
        assert was_seen.wait(60.0)
        return Played(task.seed, "unfinished", "", None, None, (), 0, 0, (), {}, {}, 1_000_000)

    @contextmanager
    def progress(count: int, *, is_quiet: bool) -> Iterator[Callable[[int, float], None]]:
        def tell(done: int, more: float) -> None:
            seen.append(done + more)
            if more >= 1.0:  # half of each
                was_seen.set()

        yield tell

    monkeypatch.setattr(rehearsing, "_play", play)
    monkeypatch.setattr(rehearsing, "_progress", progress)
    monkeypatch.setattr(
        rehearsing, "_executor", lambda *_: nullcontext(ThreadPoolExecutor(max_workers=2))
    )
    assert run(["rehearse", program, "--arm", arm, "--repetitions", "2"]) == 0
    assert seen == sorted(seen)
    assert 1.0 in seen
    assert seen[-1] == 2.0


@pytest.mark.parametrize(
    ("count", "done", "lines"),
    [
        (
            1,
            [(0, 0.05), (0, 0.13), (0, 0.19), (0, 0.42), (0, 0.99), (1, 0.0)],
            ["0 of 1, 13 % of all", "0 of 1, 42 % of all", "0 of 1, 99 % of all", "1 of 1"],
        ),
        (2, [(0, 1.2), (2, 0.0)], ["0 of 2, 60 % of all", "2 of 2"]),
        (20, [(1, 1.9), (2, 1.5), (3, 0.5), (4, 1.0)], ["2 of 20", "4 of 20"]),
    ],
)
def test_where_no_bar_can_be_shown_a_tenth_of_all_is_worth_a_line(
    count: int,
    done: list[tuple[int, float]],
    lines: list[str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    with rehearsing._progress(count, is_quiet=False) as tell:
        for whole, more in done:
            tell(whole, more)
    assert capsys.readouterr().err.splitlines() == [f"rehearsed {line}" for line in lines]
    with rehearsing._progress(count, is_quiet=True) as tell:
        tell(count, 0.0)
    assert capsys.readouterr().err == ""
