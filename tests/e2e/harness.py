"""Real processes on loopback: software joints, a coordinator, and the command that asks it.

Nothing here waits for a fixed time: everything polls with a generous deadline. All tests share the
multicast group of the loopback interface, so every arm has ids of its own.
"""

import contextlib
import gc
import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args

import pytest

from coordinator.cli.command import run
from coordinator.client import Client, Refused
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.testing.live_arm import run_before_others
from tests.quick_arm import arm_text

T = TypeVar("T")
Kind = Literal["python", "c", "mixed"]
"""Which software joints: in Python, in C, or turn and turn about."""
KINDS: tuple[Kind, ...] = get_args(Kind)

DEADLINE_S = 60.0
POLL_S = 0.05


def program(*targets: float, letters: str = "ABC", feed: int | None = None) -> str:
    """A program that takes all joints from one angle to the next, and its end."""
    code = "G0" if feed is None else f"G1 F{feed}"
    lines = [
        f"{code} {' '.join(f'{letter}{target:g}' for letter in letters)}" for target in targets
    ]
    return "\n".join([*lines, "M2", ""])


def until(look: Callable[[], T | None], what: str, deadline_s: float = DEADLINE_S) -> T:
    """What `look` finds once it finds something true. Fails, naming it, when it never does."""
    end = time.monotonic() + deadline_s
    while True:
        found = look()
        if found:
            return found
        if time.monotonic() > end:
            raise AssertionError(f"{what}: not within {deadline_s:g} s")
        time.sleep(POLL_S)


@contextlib.contextmanager
def before_others() -> Iterator[None]:
    """Have this process play in real time itself, in whichever of its threads.

    They wait for whoever holds the interpreter: a thread that has no processor itself, or a
    collection of all that hundreds of tests have left.
    """
    gc.collect()
    gc.freeze()
    run_before_others()
    try:
        yield
    finally:
        os.sched_setscheduler(0, os.SCHED_OTHER, os.sched_param(0))
        gc.unfreeze()


@dataclass(slots=True)
class Process:
    """A process that says in JSON when it is ready, and goes on."""

    popen: subprocess.Popen[str]
    ready: dict[str, Any] = field(default_factory=dict)
    stderr: Path = Path()

    @property
    def pid(self) -> int:
        return self.popen.pid

    def kill(self) -> None:
        """Kill it as `kill -9` does."""
        self.popen.kill()
        self.popen.wait(DEADLINE_S)

    def end(self, by: signal.Signals = signal.SIGTERM) -> int:
        """Ask it to end; its exit code."""
        if self.popen.poll() is None:
            self.popen.send_signal(by)
        return self.popen.wait(DEADLINE_S)

    def errors(self) -> str:
        """What it wrote to standard error."""
        return self.stderr.read_text()


@dataclass(slots=True)
class Bench:
    """A folder with an arm, its key, and the processes that were started in it."""

    folder: Path
    arm: Path
    data: Path
    truth: Path
    url: str = "http://127.0.0.1:9"
    processes: list[Process] = field(default_factory=list)
    python: str = sys.executable
    kind: Kind = "python"

    @property
    def joints(self) -> list[str]:
        """Names of the arm's joints."""
        return [joint.name for joint in load_arm(self.arm).joints]

    # ---- processes ------------------------------------------------------------------------

    def simulate(
        self,
        *only: str,
        network: str = "quiet",
        arm: Path | None = None,
        data: Path | None = None,
        seed: int = 1,
        slips: Sequence[str] = (),
        wrapper: Sequence[str] = (),
    ) -> Process:
        """Software joints, announced when this returns. Those in C alone simulate no network."""
        process = self.start(
            "simulate", "--json", "--arm", str(arm or self.arm), "--data", str(data or self.data),
            *(() if self.kind == "c" else ("--network", network)), "--joints", self.kind,
            "--seed", str(seed), "--truth", str(self.truth),
            *(word for name in only for word in ("--only", name)),
            *(word for one in slips for word in ("--slips", one)), wrapper=wrapper,
        )  # fmt: skip
        if self.kind != "python":
            for pid in children(process.pid):
                run_before_others(pid)
        return process

    def serve(self, wrapper: Sequence[str] = (), data: Path | None = None) -> Process:
        """A coordinator that answers when this returns. `wrapper` replaces `-m coordinator.cli`."""
        process = self.start(
            "serve", "--json", "--arm", str(self.arm), "--data", str(data or self.data),
            "--port", "0", wrapper=wrapper,
        )  # fmt: skip
        self.url = process.ready["url"]
        return process

    def start(
        self, *arguments: str, wrapper: Sequence[str] = (), inside: Sequence[str] = ()
    ) -> Process:
        """A command that goes on; returns once it has printed its JSON.

        `inside` are words before the command that take it elsewhere.
        """
        errors = self.folder / f"stderr-{len(self.processes)}"
        with errors.open("w") as stderr:
            popen = subprocess.Popen(
                [*inside, sys.executable, *(wrapper or ("-m", "coordinator.cli")), *arguments],
                stdout=subprocess.PIPE,
                stderr=stderr,
                text=True,
                start_new_session=True,
            )
        process = Process(popen, stderr=errors)
        self.processes.append(process)
        assert popen.stdout is not None
        text = ""
        for line in popen.stdout:
            text += line
            with contextlib.suppress(json.JSONDecodeError):
                process.ready = json.loads(text)
                if process.ready.get("ok") is False:
                    break
                run_before_others(process.pid)
                return process
        raise AssertionError(f"{arguments[0]} ended with {popen.wait()}: {process.errors()}")

    def close(self) -> None:
        """End all that still runs."""
        for process in self.processes:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.popen.wait(DEADLINE_S)
            assert process.popen.stdout is not None
            process.popen.stdout.close()

    # ---- the command ----------------------------------------------------------------------

    def unisono(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a command to its end."""
        return subprocess.run(
            [sys.executable, "-m", "coordinator.cli", *arguments],
            capture_output=True,
            text=True,
            timeout=DEADLINE_S,
            check=False,
            env={**os.environ, "UNISONO_URL": self.url},
        )

    def ask(self, *arguments: str) -> Any:
        """The JSON that a command prints, which must succeed.

        In this process: to start one takes longer than most commands, and other tests wait for it.
        """
        told, errors = io.StringIO(), io.StringIO()
        with (
            contextlib.redirect_stdout(told),
            contextlib.redirect_stderr(errors),
            pytest.MonkeyPatch.context() as patch,
        ):
            patch.setenv("UNISONO_URL", self.url)
            code = run([*arguments, "--json"])
        assert code == 0, (arguments, code, errors.getvalue())
        return json.loads(told.getvalue())

    def home(self) -> None:
        """Home all joints, once they can be."""

        def homed() -> bool:
            try:
                client.home_and_wait()
            except Refused:
                return False
            return True

        with Client(self.url) as client:
            until(homed, "all joints homed")
            client.release_control()

    def holder(self) -> str | None:
        """Who has control."""
        with Client(self.url) as client:
            return client.control().holder

    def newest_report(self) -> dict[str, Any]:
        """That of the newest run."""
        with Client(self.url) as client:
            number = client.last_run()
            assert number is not None
            client.report(number)
            return client.answers["report"]

    def play(self, text: str, name: str = "program.nc", options: Sequence[str] = ()) -> Process:
        """Begin to play; returns without waiting. The process is `unisono run`."""
        file = self.folder / name
        file.write_text(text)
        errors = self.folder / f"stderr-{len(self.processes)}"
        with errors.open("w") as stderr:
            popen = subprocess.Popen(
                [sys.executable, "-m", "coordinator.cli", "run", "--json", str(file), *options],
                stdout=subprocess.PIPE,
                stderr=stderr,
                text=True,
                env={**os.environ, "UNISONO_URL": self.url},
                start_new_session=True,
            )
        process = Process(popen, stderr=errors)
        self.processes.append(process)
        return process

    # ---- what is so ------------------------------------------------------------------------

    def arm_now(self) -> dict[str, Any]:
        """The arm's state, as `joints --json` prints it."""
        with Client(self.url) as client:
            client.arm()
            return client.answers["arm"]

    def states(self) -> dict[str, dict[str, Any]]:
        """The joints by name."""
        return {joint["name"]: joint for joint in self.arm_now()["joints"]}

    def until_linked(self) -> None:
        """Wait until every joint of the arm is linked and heard."""
        until(
            lambda: all(
                joint["link"] == "up" and joint["state"] for joint in self.states().values()
            ),
            "all joints linked",
        )

    def until_joint(self, name: str, **values: Any) -> dict[str, Any]:
        """Wait until a joint shows these values."""

        def look() -> dict[str, Any] | None:
            joint = self.states()[name]
            return joint if all(joint[key] == value for key, value in values.items()) else None

        return until(look, f"{name} with {values}")

    def until_moving(self, path_us: int = 300_000) -> None:
        """Wait until the run is that far along its path."""

        def look() -> bool:
            run = self.arm_now()["run"]
            return bool(run and run["phase"] == "moving" and run["path_us"] >= path_us)

        until(look, f"a run past {path_us} µs")

    def truths(self, event: str = "") -> list[dict[str, Any]]:
        """The truth log's whole lines, of one kind or all."""
        if not self.truth.exists():
            return []
        text = self.truth.read_text()
        lines = [json.loads(line) for line in text[: text.rfind("\n") + 1].splitlines()]
        return [line for line in lines if event in ("", line["event"])]

    def until_truth(self, event: str, *names: str, since: int = 0) -> list[dict[str, Any]]:
        """Wait until these joints did something after so many lines; the last line of each."""

        def look() -> list[dict[str, Any]] | None:
            found = {
                line["joint"]: line for line in self.truths()[since:] if line["event"] == event
            }
            return [found[name] for name in names] if set(names) <= set(found) else None

        return until(look, f"{event} of {' '.join(names)}")


@contextlib.contextmanager
def bench(
    folder: Path, count: int = 3, *, touch: bool = False, kind: Kind = "python"
) -> Iterator[Bench]:
    """An arm with a key of its own; all processes end with it. `touch`: see `arm_text`."""
    arm = folder / "arm.toml"
    arm.write_text(arm_text(count, touch=touch))
    made = Bench(folder, arm, folder / "data", folder / "truth.jsonl", kind=kind)
    try:
        make_key(made.data)
        yield made
    finally:
        made.close()


def start_skew_us(starts: list[dict[str, Any]]) -> float:
    """The true time between the first and the last of these lines."""
    instants: list[int] = [line["at_ns"] for line in starts]
    return (max(instants) - min(instants)) / 1000


def children(pid: int) -> list[int]:
    """Processes that a process started, and those that they did."""
    found = []
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        # A thread or process may end between being found and being looked at.
        with contextlib.suppress(FileNotFoundError, ProcessLookupError):
            for child in task.read_text().split():
                found += [int(child), *children(int(child))]
    return found


def is_running(pid: int) -> bool:
    """Whether a process runs; one that only waits to be noticed dead does not."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


@contextlib.contextmanager
def linked_bench(folder: Path, kind: Kind = "python") -> Iterator[Bench]:
    """Three joints and their coordinator, linked."""
    with bench(folder, kind=kind) as made:
        made.simulate()
        made.serve()
        made.until_linked()
        yield made
