"""docs/scripts.md: every block of code is run before software joints, and nothing is left out."""

import asyncio
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import coordinator.client
from coordinator.client import Client, NotFinished
from coordinator.config.settings import DEFAULT_URL
from tests.e2e.harness import Bench, before_others, bench, linked_bench

PAGE = Path(__file__).parents[2] / "docs" / "scripts.md"
_BLOCK = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@pytest.fixture(name="arm")
def arm_of_six(tmp_path: Path) -> Iterator[Bench]:
    """Six joints with the letters of the demo arm, linked, none homed."""
    with bench(tmp_path, count=6) as made:
        made.simulate()
        made.serve()
        made.until_linked()
        yield made


async def _in_a_cell(code: Any, names: dict[str, Any]) -> None:
    exec(code, names)


def test_every_block_of_code_does_what_the_page_says(
    arm: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    text = PAGE.read_text(encoding="utf-8")
    names: dict[str, Any] = {"__name__": "__main__"}
    said = []
    with before_others():
        for block in _BLOCK.finditer(text):
            line = text.count("\n", 0, block.start(1))
            source = "\n" * line + block[1].replace(DEFAULT_URL, arm.url)
            code = compile(source, str(PAGE), "exec")
            if "asyncio.run" in block[1]:
                exec(code, names)
            else:  # as in a notebook, whose loop runs already
                asyncio.run(_in_a_cell(code, names))
            said.append(capsys.readouterr().out)
    look, seedlings, turn, taught, notebook, latest, closed, loop = said
    assert "elbow: not known, link up" in look.splitlines()
    assert re.fullmatch(r"1 seedlings in \d+ s\nall joints within \d+ µs, proved\n", seedlings), (
        seedlings
    )
    assert (turn, notebook, closed) == ("", "", "")
    assert taught == "finished\n"
    assert latest.startswith("finished\n")
    assert any(word in latest for word in ("step elbow", "jog", "play script tray"))
    assert "finished" in loop.splitlines()
    assert "play one more, run 3" in loop
    with Client(arm.url) as client:
        assert [run.outcome for run in client.runs()] == ["finished"] * 3
        assert client.taught().sequences == ()
        assert client.control().holder is None


def test_every_method_and_every_error_is_in_the_tables() -> None:
    text = PAGE.read_text(encoding="utf-8")
    rows = {match[1] for match in re.finditer(r"^\| `(\w+)", text, re.MULTILINE)}
    methods = {name for name in dir(Client) if not name.startswith("_")}
    errors = set(coordinator.client.__all__) - {"AsyncClient"}
    assert rows == methods | errors


def test_a_step_after_a_stop_is_waited_for_though_the_other_joints_stay_stopped(
    tmp_path: Path,
) -> None:
    with linked_bench(tmp_path) as made, before_others(), Client(made.url) as arm:
        arm.home_and_wait()
        arm.stop()
        assert arm.wait_until_at_rest().condition.word == "stopped"
        begun_deg = arm.joints()["elbow"].position_deg
        assert begun_deg is not None
        arm.step("elbow", by_deg=-2.0, speed_deg_s=0.5)
        with pytest.raises(NotFinished, match=r"^after 0 s the arm does not surely rest, .*elbow"):
            arm.wait_until_at_rest(longest_s=0)
        rested = arm.wait_until_at_rest()
        assert rested.condition.word == "stopped"  # in the joints that were not moved since
        elbow = {joint.name: joint for joint in rested.joints}["elbow"]
        assert elbow.position_deg == pytest.approx(begun_deg - 2.0, abs=0.001)
        assert not elbow.velocity_deg_s
