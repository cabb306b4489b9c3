"""Software joints and a coordinator as processes on loopback: what the fixture `live_arm` gives.

Nothing of it meets another arm: the joints have ids of their own, are announced as a DNS-SD service
of their own name, and key and database are in a folder of their own. Real time passes.
"""

import contextlib
import json
import os
import re
import secrets
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from coordinator.client import Client, ClientError
from coordinator.config.arm import Arm, parse_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DATABASE_VARIABLE, SERVICE_VARIABLE

LINKED_S: Final = 60.0
"""Within which all joints are linked, on a busy computer."""
END_S: Final = 10.0
LOOK_S: Final = 0.1


class NotLive(Exception):
    """A process did not start or ended, or joints were not found; the text is a sentence."""


@dataclass(frozen=True, slots=True)
class LiveArm:
    """A coordinator and its joints that run."""

    url: str
    """Where API and page are."""
    client: Client
    """Connected, until the test ends."""
    arm_file: Path
    """A copy of yours, with other ids."""


@contextlib.contextmanager
def live(arm: Arm, folder: Path, *, network: str = "quiet", seed: int = 1) -> Iterator[LiveArm]:
    """An arm whose joints are all linked, none homed; all processes end with the context.

    `folder` is an empty one. Raises NotLive.
    """
    file, data = folder / "arm.toml", folder / "data"
    file.write_text(_with_other_ids(arm), encoding="utf-8")
    make_key(data)
    # No test writes to the database of the owner's arm.
    own = {SERVICE_VARIABLE: f"u-{secrets.token_hex(6)}", DATABASE_VARIABLE: ""}
    environment = {**os.environ, **own}
    both = ["--json", "--arm", str(file), "--data", str(data)]
    with contextlib.ExitStack() as stack:
        joints = stack.enter_context(
            _process(
                folder, environment, "simulate", *both, "--network", network, "--seed", str(seed)
            )
        )
        _first_json(joints, folder, "simulate")
        coordinator = stack.enter_context(
            _process(folder, environment, "serve", *both, "--port", "0")
        )
        url = str(_first_json(coordinator, folder, "serve")["url"])
        client = stack.enter_context(Client(url))
        _await_links(client)
        yield LiveArm(url, client, file)


def _with_other_ids(arm: Arm) -> str:
    """The arm file's text, with ids that no other arm has."""
    ids = {joint.id: secrets.token_hex(6) for joint in arm.joints}
    text = re.sub(rf"\b({'|'.join(ids)})\b", lambda found: ids[found[0]], arm.text)
    if [joint.id for joint in parse_arm(text, arm.path).joints] != list(ids.values()):
        raise NotLive(f"{arm.path}: the joints' ids are written in a way that cannot be replaced")
    return text


@contextlib.contextmanager
def _process(
    folder: Path, environment: dict[str, str], *arguments: str
) -> Iterator[subprocess.Popen[str]]:
    """A command of `unisono` that goes on, until the context ends."""
    with (folder / f"{arguments[0]}.log").open("w") as log:
        popen = subprocess.Popen(
            [sys.executable, "-m", "coordinator.cli", *arguments],
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
            env=environment,
        )
    with popen:
        try:
            yield popen
        finally:
            popen.send_signal(signal.SIGTERM)
            try:
                popen.wait(END_S)
            except subprocess.TimeoutExpired:
                popen.kill()


def _first_json(popen: subprocess.Popen[str], folder: Path, name: str) -> dict[str, object]:
    """What a command says once it is ready. Raises NotLive."""
    assert popen.stdout is not None
    text = ""
    for line in popen.stdout:
        text += line
        with contextlib.suppress(json.JSONDecodeError):
            found: dict[str, object] = json.loads(text)
            if found.get("ok") is not False:
                run_before_others(popen.pid)
                return found
    log = (folder / f"{name}.log").read_text().strip()
    raise NotLive(f"unisono {name} ended with exit code {popen.wait()}: {log}")


def run_before_others(pid: int = 0) -> None:
    """Have the processor ready for a process that plays in real time, where this user may do that.

    A coordinator or a joint that gets none for half a second makes the arm hold, and so it should;
    tests beside this one, browsers and commands that start are no reason for that. What the process
    starts itself waits for its turn as usual (sched(7)). 0 is the calling thread.
    """
    with contextlib.suppress(PermissionError):
        os.sched_setscheduler(pid, os.SCHED_RR | os.SCHED_RESET_ON_FORK, os.sched_param(1))


def _await_links(client: Client) -> None:
    """Wait until every joint is linked, heard and measured. Raises NotLive."""
    deadline = time.monotonic() + LINKED_S
    while True:
        try:
            missing = [
                f"{name} (link {joint.link})"
                for name, joint in client.joints().items()
                if joint.link != "up" or joint.state is None or not joint.measured
            ]
        except ClientError as error:
            raise NotLive(f"the coordinator does not answer: {error}") from error
        if not missing:
            return
        if time.monotonic() > deadline:
            raise NotLive(f"after {LINKED_S:g} s not all joints are linked: {', '.join(missing)}")
        time.sleep(LOOK_S)
