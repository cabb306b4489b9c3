"""Puts small faults into the joint in C and shows who notices them (`make mutants-c`).

Each fault of `faults_in_c` is made in a copy of deploy/joint, built, and judged by what is cheapest
first: the golden vectors, the random sequences that both joints must take alike, those of updates
alone, boards that are updated, the campaign on joints in C, and what `unisono conform` asks of a
joint on the network. ONLY='part of a name' chooses some, PARTS='campaign' asks some of the judges
alone.
"""

import asyncio
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

from rich.console import Console
from rich.table import Table

from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.conform.check import Outcome
from coordinator.conform.vectors.program import ask_program
from coordinator.conform.vectors.questions import questions
from coordinator.rehearsal.software_joints import joint_settings
from simulator.programs import arguments
from tests.campaign.faults_in_c import FAULTS
from tests.campaign.joints_in_c.library import BUILT
from tests.campaign.mutants import ROOT, Mutant, changed
from tests.campaign.play import play_seed
from tests.joint_c.test_differential import differs
from tests.joint_c.test_program import LOOPBACK, running
from tests.joint_c.update_cuts import PUT_STEPS, Cut, Found
from tests.joint_c.updated import NEW, Updated, script, set_up
from tests.joint_c.updating import signed
from tests.own import SERVICE_TYPE
from tests.quick_arm import arm_text

SEQUENCES: Final = 300
UPDATES: Final = 100
"""As many as `make test` plays."""
SCENARIOS: Final = 40
JOINT: Final = Path("deploy", "joint")
FLAGS: Final = "CFLAGS_EXTRA=-O0 -w"
"""Built faster, and whatever gcc says of what a fault has left without a use."""
HANGS_S: Final = 900.0
"""A fault with which nothing comes to an end by then is noticed too."""


@dataclass(frozen=True, slots=True)
class Noticed:
    """Who noticed a fault, after how many questions, sequences, scenarios or checks."""

    by: str
    after: int
    sentence: str


Judge = Callable[[Path], Noticed | None]


def vectors(build: Path) -> Noticed | None:
    """The golden vectors, answered by its program."""
    results = asyncio.run(ask_program(build / "vectors", questions(), lambda _result: None))
    for after, result in enumerate(results, 1):
        if result.outcome is Outcome.FAIL:
            return Noticed("vectors", after, f"{result.id}: {result.sentence}")
    return None


def sequences(build: Path) -> Noticed | None:
    """Random sequences, also told to the joint in Python."""
    return _told_to_both("sequences", build, SEQUENCES, alone=False)


def updates(build: Path) -> Noticed | None:
    """The same of updates, and of nothing else."""
    return _told_to_both("updates", build, UPDATES, alone=True)


def _told_to_both(name: str, build: Path, count: int, *, alone: bool) -> Noticed | None:
    for seed in range(count):
        try:
            difference = differs(build / "sequence", seed, alone=alone)
        except Exception as error:  # noqa: BLE001 - what cannot even be read is noticed as well
            difference = f"{type(error).__name__}: {error}"
        if difference is not None:
            sentence = difference.partition("\n")[0].removeprefix(f"seed {seed}: ")
            return Noticed(name, seed + 1, sentence)
    return None


def boards(build: Path) -> Noticed | None:
    """Boards that are updated: one whose power goes right after it began to try the image, and one
    that nothing befalls. Both have what was there before or the new one, and take it to its end.
    """
    with tempfile.TemporaryDirectory() as place:
        memory = set_up(build, Path(place, "first"))
        image = signed(script(build), NEW)
        for after, (options, wanted) in enumerate(
            ((("--cut-boot", str(PUT_STEPS)), Found.OLD), ((), Found.NEW)), 1
        ):
            cut = Cut(Updated.copy_of(memory, build, Path(place, str(after))), image)
            try:
                cut.play(*options)
                found = cut.require_recovers()
            except Exception as error:  # noqa: BLE001 - a board that is gone is noticed as well
                return Noticed(
                    "boards", after, f"{type(error).__name__}: {error}".partition("\n")[0]
                )
            if found is not wanted:
                return Noticed("boards", after, f"{found.value} runs, not {wanted.value}")
    return None


def campaign(build: Path) -> Noticed | None:
    """The campaign's scenarios on joints in C."""
    os.environ[BUILT] = str(build / "libplayed.so")
    for seed in range(1, SCENARIOS + 1):
        try:
            violation = play_seed(seed, "c")[1].violation
        except Exception as error:  # noqa: BLE001 - a coordinator that breaks is noticed as well
            return Noticed("campaign", seed, f"{type(error).__name__}: {error}")
        if violation is not None:
            return Noticed("campaign", seed, f"{violation.invariant}: {violation.message}")
    return None


def conform(build: Path) -> Noticed | None:
    """All checks of a joint on the network, in real time."""
    with tempfile.TemporaryDirectory() as place:
        arm, data = Path(place, "arm.toml"), Path(place, "data")
        arm.write_text(arm_text(1))
        key = make_key(data)
        (settings,) = joint_settings(load_arm(arm), 1)
        joint = [*arguments(settings), "--home-hysteresis", "2560", "--key", str(key)]
        joint += ["--service", SERVICE_TYPE.removesuffix(".local.")]
        with running(build / "joint", *joint):
            done = subprocess.run(
                [*(sys.executable, "-m", "coordinator.cli", "conform", LOOPBACK, "--json"),
                 *("--arm", str(arm), "--data", str(data), "--moves", "--yes")],
                capture_output=True,
                text=True,
            )  # fmt: skip
    for after, result in enumerate(json.loads(done.stdout)["results"], 1):
        if result["outcome"] == "fail":
            return Noticed("conform", after, f"{result['id']}: {result['sentence']}")
    return None


JUDGES: Final[dict[str, tuple[Judge, tuple[str, ...]]]] = {
    "vectors": (vectors, ("build/vectors",)),
    "sequences": (sequences, ("build/sequence",)),
    "updates": (updates, ("build/sequence",)),
    "boards": (boards, ("joint", "next")),
    "campaign": (campaign, ("played",)),
    "conform": (conform, ("joint",)),
}
"""Each with what is to be built for it."""


def make(tree: Path, targets: Sequence[str]) -> None:
    """Build some of a copy. Raises RuntimeError with what gcc says."""
    done = subprocess.run(
        ["make", "-s", "-C", str(tree / JOINT), "BUILD=build", "CC=gcc", FLAGS, *targets],
        capture_output=True,
        text=True,
    )
    if done.returncode:
        raise RuntimeError(f"it does not compile: {done.stderr}")


def copied(tree: Path, parts: Sequence[str]) -> None:
    """Copy deploy/joint to a folder and build it, so that each fault costs one file more."""
    left_out = shutil.ignore_patterns("build", "bench", "esp-idf")
    shutil.copytree(ROOT / JOINT, tree / JOINT, ignore=left_out)
    make(tree, [target for part in parts for target in JUDGES[part][1]])


def judge(tree: Path, parts: Sequence[str]) -> Noticed | None:
    """Who notices what was changed in a copy that was built. In a process of its own."""
    for part in parts:
        look, targets = JUDGES[part]
        make(tree, targets)
        if (noticed := look(tree / JOINT / "build")) is not None:
            return noticed
    return None


def run(fault: Mutant, built: Path, parts: Sequence[str]) -> Noticed | None:
    """Make a fault in a copy of what `copied` has made, and see who notices it."""
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder)
        shutil.copytree(built / JOINT, tree / JOINT)
        for path, text in changed(fault, tree).items():
            path.write_text(text)
        with subprocess.Popen(
            [sys.executable, "-m", "tests.campaign.mutants_c", str(tree), *parts],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        ) as judging:
            try:
                out, _ = judging.communicate(timeout=HANGS_S)
            except subprocess.TimeoutExpired:
                os.killpg(judging.pid, signal.SIGKILL)
                return Noticed("nothing came to its end", 1, f"in {HANGS_S:.0f} s")
            except BaseException:
                os.killpg(judging.pid, signal.SIGKILL)
                raise
    if judging.returncode < 0:
        return Noticed("crash", 1, signal.Signals(-judging.returncode).name)
    if judging.returncode:
        raise RuntimeError(f"fault {fault.what!r}: exit code {judging.returncode}")
    found = json.loads(out)
    return None if found is None else Noticed(**found)


def main() -> int:
    """Make all faults; print a line as each was judged, and the table."""
    console = Console(width=160)
    only, parts = os.environ.get("ONLY", ""), os.environ.get("PARTS", "").split() or list(JUDGES)
    chosen = [fault for fault in FAULTS if only in fault.what]
    table = Table("fault", "noticed by", "after", "what was seen")
    noticed_all = True
    with tempfile.TemporaryDirectory() as folder:
        built = Path(folder)
        copied(built, parts)
        for fault in chosen:
            try:
                found = run(fault, built, parts)
            except (ValueError, RuntimeError) as error:
                console.print(f"[bold]{error}[/bold]", highlight=False)
                noticed_all = False
                continue
            noticed_all = noticed_all and found is not None
            row = ("[bold]nobody[/bold]", "", "")
            if found is not None:
                row = found.by, str(found.after), found.sentence[:200]
            console.print(f"{fault.what}: {' '.join(row[:2])}", highlight=False)
            table.add_row(fault.what, *row)
    console.print(table)
    return 0 if noticed_all else 1


if __name__ == "__main__":
    if len(sys.argv) > 1:
        noticed = judge(Path(sys.argv[1]), sys.argv[2:])
        print(json.dumps(None if noticed is None else asdict(noticed)))  # noqa: T201
        sys.exit(0)
    sys.exit(main())
