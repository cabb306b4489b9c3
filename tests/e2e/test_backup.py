"""A laptop is lost: what was backed up makes another one the arm's coordinator."""

import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx2
import pytest

from tests.e2e.harness import DEADLINE_S, Bench, linked_bench, program, until

PASSPHRASE = "prick out in March\n"


def with_passphrase(*words: str) -> None:
    """A command that reads it, and must succeed."""
    done = subprocess.run(
        [sys.executable, "-m", "coordinator.cli", *words],
        input=PASSPHRASE,
        capture_output=True,
        text=True,
        timeout=DEADLINE_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def told(arm: Bench) -> dict[str, Any]:
    """All that a coordinator says of what was."""
    with httpx2.Client(base_url=f"{arm.url}/api/v1", trust_env=False, timeout=DEADLINE_S) as http:

        def get(path: str) -> Any:
            answer = http.get(path)
            assert answer.status_code == 200, (path, answer.text)
            return answer.json() if "json" in answer.headers["content-type"] else answer.text

        numbers = [one["run"] for one in get("/runs")["runs"]]
        paths = ["/taught", "/taught/changes", "/taught/results", "/runs", "/arm/file"]
        paths += [f"/runs/{number}/{what}" for number in numbers for what in ("report", "program")]
        paths += [f"/joints/{name}/{what}" for name in arm.joints for what in ("homing", "homings")]
        found = {path: get(path) for path in paths}
    for number in numbers:
        # One from the disk says since when it is there; one that is still in memory does not.
        found[f"/runs/{number}/report"].pop("written_utc", None)
    return found


def test_another_laptop_knows_all_and_commands_once_the_first_one_has_ended(
    tmp_path: Path,
) -> None:
    with linked_bench(tmp_path) as first:
        first.home()
        for name in ("above", "tray"):
            assert first.unisono("teach", "record", "pick", "--name", name).returncode == 0
        assert first.unisono("teach", "undo").returncode == 0
        run = first.play(program(-20))
        assert run.popen.wait(90) == 0, run.errors()
        until(lambda: told(first)["/runs"]["runs"][0]["ended_utc"], "the run's end on the disk")
        file, data = tmp_path / "arm.backup", tmp_path / "laptop" / "data"
        # While it is served.
        with_passphrase(
            "backup", str(file), "--arm", str(first.arm), "--data", str(first.data), "--with-key"
        )
        known = told(first)
        with_passphrase("restore", str(file), "--data", str(data))
        assert (data / "arm.toml").read_bytes() == first.arm.read_bytes()

        second = Bench(tmp_path / "laptop", data / "arm.toml", data, tmp_path / "none.jsonl")
        try:
            second.serve()
            # Two of one key: joints go on with the one that they hear.
            until(
                lambda: all(
                    "another coordinator was heard" in (one["link_message"] or "")
                    for one in second.states().values()
                ),
                "every joint refuses the second one",
            )
            assert all(one["link"] == "up" for one in first.states().values())
            assert first.processes[1].end() == 0
            second.until_linked()
            assert told(second) == known
            assert all(one["homed"] for one in second.states().values())
            played = second.play(program(20))
            assert played.popen.wait(90) == 0, played.errors()
            assert second.states()["elbow"]["position_deg"] == pytest.approx(20, abs=0.01)
        finally:
            second.close()
