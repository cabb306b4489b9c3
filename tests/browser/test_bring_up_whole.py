"""Two joints brought up as whoever stands at the arm does it, one by the page, one by the command
line: software joints that move, real sockets, and all that goes wrong meanwhile.

One test, as bringing up takes a minute: the joints are homed six times and their links surveyed.
"""

import contextlib
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, cast

import pytest
from playwright.sync_api import Page, expect

from coordinator.bringup.steps import BY_CODE, STEPS
from coordinator.cli.command import run
from coordinator.config.arm import load_arm
from simulator.programs import PROGRAM_VARIABLE
from tests.browser.conftest import Open
from tests.e2e.harness import Bench, Process, bench, until

CODES = [step.code for step in STEPS]
PAGE, LINE = "turntable", "shoulder"
"""The joint in Python is brought up by the page, that in C by the command line."""
TRUE_RATIO, WRITTEN_RATIO = 15.0, 20.0
"""Of the joint in C, and what its owner believes at first."""
LOW_DEG, HIGH_DEG = -170.0, -125.0
NEAR_DEG = 0.1
"""Of an end: it stands on whole counts, and a step beyond the end is refused."""
TURN_DEG = 20.0
SAID = {
    "identified": "light", "placed": "it is there", "sensors": "as it says",
    "direction": "to larger angles", "range": "both ends are free",
}  # fmt: skip


@dataclass(slots=True)
class Owner:
    """Whoever brings the joints up, with a protractor."""

    made: Bench
    joints: dict[str, Process]
    serving: Process
    page: Page

    # ---- the arm ------------------------------------------------------------------------------

    def writes(self, *pairs: tuple[str, str]) -> None:
        """Other figures into the arm file."""
        text = self.made.arm.read_text()
        for before, after in pairs:
            assert before in text
            text = text.replace(before, after)
        self.made.arm.write_text(text)

    def goes_on(self) -> None:
        """The coordinator is killed in the midst of it, and begins again."""
        self.serving.kill()
        self.serving = self.made.serve()
        self.made.until_linked()
        self.page.goto(f"{self.made.url}/#bringup")
        self.chooses(PAGE)

    def plugs(self, name: str, ratio: float) -> None:
        """Let this joint of the arm file be there, whose gear truly has this ratio."""
        if name in self.joints:
            self.joints[name].kill()
        true = self.made.folder / f"true-{name}.toml"
        text = self.made.arm.read_text()
        here = text.index(f'name = "{name}"')
        true.write_text(
            text[:here]
            + re.sub(r"gear_ratio = [\d.]+", f"gear_ratio = {ratio}", text[here:], count=1)
        )
        self.made.kind = "python" if name == PAGE else "c"
        self.joints[name] = self.made.simulate(name, arm=true)

    def turns(self, name: str, by_deg: float) -> float:
        """Jog it; by how many degrees its output truly turned, by a protractor."""
        before, seen = self._counts(name), len(self.made.truths())
        self.made.ask("jog", name, f"{by_deg:g}", "--speed", "fast")
        self.made.until_truth("stop", name, since=seen)
        true = load_arm(self.made.folder / f"true-{name}.toml").joint(name)
        turned_deg = (self._counts(name) - before) / true.counts_per_degree
        return float(round(turned_deg * 2) / 2)

    def _counts(self, name: str) -> int:
        lines = [line for line in self.made.truths() if line["joint"] == name]
        return int(lines[-1]["position"]) if lines else 0

    def looks_at_direction(self, name: str) -> None:
        """It is seen to turn to larger angles."""
        self.turns(name, 1)  # nobody knows where it stands before it has stood
        assert self.turns(name, 2) == 2

    def goes_through(self, name: str) -> None:
        """Both ends of its range."""
        self.turns(name, HIGH_DEG - NEAR_DEG - self.made.states()[name]["position_deg"])
        self.turns(name, LOW_DEG - HIGH_DEG + 2 * NEAR_DEG)

    def homes(self, name: str, times: int = 1) -> None:
        for _ in range(times):
            assert self.made.ask("home", name)["state"] == "done"

    # ---- the command line ---------------------------------------------------------------------

    def told(self, name: str) -> dict[str, Any]:
        found: dict[str, Any] = self.made.ask("bring-up", name)
        return found

    def left(self, name: str) -> list[str]:
        """Codes of the steps that are to be done."""
        return [one["step"] for one in self.told(name)["steps"] if one["state"] != "done"]

    def says(self, name: str, step: str, *words: str) -> dict[str, Any]:
        """Say at the terminal that a step is done; how far it is then."""
        if step in SAID and not words:
            words = ("--answer", SAID[step])
        asked = ("bring-up", name, "--done", step, *words, "--json", "--url", self.made.url)

        def taken() -> dict[str, Any] | None:
            """None while the joint has only just been linked, and the owner is told to wait."""
            code, answer, errors = command(*asked)
            if "wait a moment" in answer + errors:
                return None
            assert code == 0, (asked, code, answer, errors)
            return cast("dict[str, Any]", json.loads(answer))

        told = until(taken, f"{step} of {name}")
        assert step not in {one["step"] for one in told["steps"] if one["state"] != "done"}
        return told

    def is_refused(self, name: str, step: str, *words: str) -> str:
        """Say it; why it is not taken, one line."""
        words = ("bring-up", name, "--done", step, *words, "--url", self.made.url)
        code, told, errors = command(*words)
        assert (code, told) == (3, ""), errors
        assert errors.count("\n") == 1
        return errors.strip()

    def conforms(self, name: str) -> bool:
        """Whether it passes some checks of the protocol; a joint waits 5 s for its coordinator."""
        words = ("--joint", name, "--arm", str(self.made.arm), "--data", str(self.made.data))

        def checked() -> str | None:  # in a process of its own: the browser has this one's loop
            only = ("--only", "handshake/welcome", "--json")
            done = self.made.unisono("conform", "127.0.0.1", *words, *only)
            return None if done.returncode == 3 else done.stdout

        found = json.loads(until(checked, f"{name} free to be checked"))
        return {one["outcome"] for one in found["results"]} == {"pass"}

    # ---- the page -----------------------------------------------------------------------------

    @property
    def card(self) -> Any:
        return self.page.get_by_role("region", name="Step by step")

    def chooses(self, name: str) -> None:
        self.card.get_by_role("combobox", name="Joint").select_option(name)
        expect(self.card.get_by_text("Identified", exact=True)).to_be_visible()

    def presses(self, step: str, *, then: str | None, angles: tuple[float, float] = (0, 0)) -> None:
        """Say by the page that the step which is next is done; another is next then."""
        here = self.card.locator("li[aria-current=step]")
        expect(here).to_contain_text(BY_CODE[step].title)
        expect(here).to_contain_text(BY_CODE[step].caution)
        verb = "this is done"
        if step == "identified":
            here.get_by_role("button", name="Let its light blink").click()
            expect(self.page.locator(".said")).to_contain_text(f"The light of {PAGE} should")
        if step in SAID:
            here.get_by_role("combobox", name="What you saw").select_option(SAID[step])
            verb = "say so"
        if step == "travel":
            here.get_by_label("told to turn by").fill(f"{angles[0]:g}")
            here.get_by_label("turned by, °", exact=True).fill(f"{angles[1]:g}")
        done = here.get_by_role("button", name=f"{BY_CODE[step].title}: {verb}")
        done.click()
        if then is None:
            expect(self.card.get_by_role("status")).to_have_text(f"Every step of {PAGE} is done.")
            return
        title = BY_CODE[then].title

        def goes_on() -> bool:
            """A joint that was linked only just now is to be waited for, and it pressed anew."""
            if title in here.inner_text():
                return True
            if "wait a moment" in self.page.locator("body").inner_text():
                done.click()
            return False

        until(goes_on, f"the step after {step}")


@pytest.fixture(name="owner")
def owner_of_two_joints(tmp_path: Path, open_page: Open, joint_build: Path) -> Iterator[Owner]:
    with bench(tmp_path, 2) as made, pytest.MonkeyPatch.context() as patch:
        patch.setenv(PROGRAM_VARIABLE, str(joint_build / "joint"))
        made.arm.write_text(
            made.arm.read_text()
            .replace("[-170, 170]", f"[{LOW_DEG:g}, {HIGH_DEG:g}]")
            .replace("slow_deg_s = 10, backoff_deg = 2", "slow_deg_s = 20, backoff_deg = 1")
        )
        with contextlib.closing(made):
            serving = made.serve()
            owner = Owner(made, {}, serving, open_page(f"{made.url}/#bringup"))
            owner.plugs(PAGE, WRITTEN_RATIO)
            owner.plugs(LINE, TRUE_RATIO)
            made.until_linked()
            yield owner


def test_joints_are_brought_up_by_page_and_command_line_whatever_is_killed_swapped_and_wrong(
    owner: Owner,
) -> None:
    made = owner.made
    owner.chooses(PAGE)

    # Which is which, where, and by which figures.
    for step, then in pairwise(CODES[:4]):
        owner.presses(step, then=then)
    assert made.ask("blink", LINE)["ok"]
    taken_back = owner.is_refused(LINE, "identified", "--answer", "another joint answered")
    assert "write each id to the joint that has it" in taken_back
    for step in CODES[:4]:
        owner.says(LINE, step)
    owner.presses("sensors", then="direction")
    assert "look at its motor" in owner.is_refused(LINE, "direction", "--answer", "not at all")

    owner.goes_on()  # killed, and nothing is lost
    assert owner.left(LINE) == CODES[4:]
    assert owner.left(PAGE) == CODES[4:]

    # It moves: direction, home, and the gear that is another one than its owner believes.
    for name in (PAGE, LINE):
        owner.turns(name, 1)
    owner.presses("direction", then="home")
    owner.says(LINE, "direction")
    assert "home it first" in owner.is_refused(LINE, "home")
    for name in (PAGE, LINE):
        owner.homes(name)
    owner.presses("home", then="travel")
    owner.says(LINE, "home")
    turned_deg = owner.turns(PAGE, TURN_DEG)
    owner.presses("travel", then="range", angles=(TURN_DEG, turned_deg))
    wrong = owner.is_refused(LINE, "travel", *measured(owner.turns(LINE, TURN_DEG)))
    told = re.search(
        r"with gear_ratio 20 in the arm file that is a gear_ratio of (\d+\.\d+)", wrong
    )
    assert told is not None, wrong
    assert float(told[1]) == pytest.approx(TRUE_RATIO, rel=0.03)

    # The arm file is corrected, and the page's joint gets another controller in its old body.
    old = {joint.name: joint.id for joint in load_arm(made.arm).joints}
    new = "fe" + old[PAGE][2:]
    ratio = "gear_ratio = {:.1f}"
    text = made.arm.read_text()
    block = text[text.index(f'name = "{LINE}"') :]
    right = block.replace(ratio.format(WRITTEN_RATIO), ratio.format(TRUE_RATIO), 1)
    owner.writes((block, right), (old[PAGE], new))
    owner.plugs(PAGE, WRITTEN_RATIO)
    owner.goes_on()
    expect(owner.card).to_contain_text(f"controller was {old[PAGE]}, is {new}")
    owner.card.get_by_role("button", name="Only the controller was changed").click()
    expect(owner.card.get_by_text("The controller before was")).to_have_count(0)
    assert owner.left(PAGE) == [code for code in CODES if code != "travel"]
    assert owner.left(LINE) == [code for code in CODES[2:] if code != "sensors"]
    for step, then in pairwise(CODES[:5]):
        owner.presses(step, then=then)
    owner.says(LINE, "configured")
    for name in (PAGE, LINE):
        owner.looks_at_direction(name)
    owner.presses("direction", then="home")
    owner.says(LINE, "direction")
    for name in (PAGE, LINE):
        owner.homes(name)
    owner.presses("home", then="range")
    owner.says(LINE, "home")
    owner.says(LINE, "travel", *measured(owner.turns(LINE, TURN_DEG)))
    for name in (PAGE, LINE):
        owner.goes_through(name)
    owner.presses("range", then="link")
    owner.says(LINE, "range")

    # What is measured, for both at once.
    assert "no survey of shoulder's link" in owner.is_refused(LINE, "link")
    assert made.ask("survey", "--for", "10")["phase"] == "done"
    owner.presses("link", then="repeatability")
    owner.says(LINE, "link")
    assert "homing" in owner.is_refused(LINE, "repeatability")
    for name in (PAGE, LINE):
        owner.homes(name, 4)
    owner.presses("repeatability", then=None)
    assert owner.says(LINE, "repeatability")["complete"]
    sheet = made.folder / "sheet.html"
    assert made.ask("bring-up", LINE, "--sheet", str(sheet))["complete"]
    assert sheet.read_text().count("<svg") == 3
    assert "Every step is done." in sheet.read_text()

    # Readings of a gauge go into the arm file; and two joints change places in the chain.
    readings = made.folder / "shoulder.csv"
    rows = [f"-150,{side},{deg}" for side, deg in (("below", 0.02), ("above", -0.02))]
    readings.write_text("\n".join(["target_deg,from,deviation_deg", *rows * 5, ""]))
    words = ("--joint", LINE, "--arm", str(made.arm), "--yes")
    assert made.ask("accuracy", "reversal", str(readings), *words)["written"]
    assert load_arm(made.arm).joint(LINE).reversal_error_deg == 0.04
    exchanged = ((new, "swapped"), (old[LINE], new), ("swapped", old[LINE]))
    owner.writes(*exchanged)
    owner.goes_on()
    for name, other in ((PAGE, LINE), (LINE, PAGE)):
        told_now = owner.told(name)
        assert (told_now["next"], told_now["exchanged"]) == ("identified", other)
    expect(owner.card).to_contain_text(
        f"{LINE} was identified with the controller {old[LINE]} before"
    )
    owner.writes(*exchanged)
    owner.goes_on()
    assert owner.left(PAGE) == owner.left(LINE) == []
    expect(owner.card.get_by_role("status")).to_have_text(f"Every step of {PAGE} is done.")

    # Each keeps to the protocol, as far as that is asked here; nothing of its bring-up is lost.
    assert owner.serving.end() == 0
    assert owner.conforms(PAGE)
    assert owner.conforms(LINE)
    owner.goes_on()
    assert owner.left(PAGE) == owner.left(LINE) == []


def command(*words: str) -> tuple[int, str, str]:
    """Exit code, result and errors of a command."""
    told, errors = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(told), contextlib.redirect_stderr(errors):
        code = run(words)
    return code, told.getvalue(), errors.getvalue()


def measured(turned_deg: float) -> tuple[str, ...]:
    """What is said of a turn."""
    return ("--commanded-deg", f"{TURN_DEG:g}", "--measured-deg", f"{turned_deg:g}")
