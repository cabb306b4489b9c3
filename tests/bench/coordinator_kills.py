"""Kill the coordinator at random instants while it plays runs and takes acknowledgements: what it
confirmed must be in its database.

Real processes: software joints that go on, and a coordinator with its API that `kill -9` ends. A
run is confirmed by the answer to `POST /runs`, an acknowledgement by the answer to
`POST /warnings/N/acknowledge`. The supply is below its warning all the time, so that each
coordinator has a warning for each joint. `store_kills.py` kills whoever writes faster than any
arm would.
"""

import contextlib
import sqlite3
import subprocess
import threading
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Final

from coordinator.client import Client, ClientError
from tests.bench.figures import Progress, show
from tests.e2e.harness import Bench, Process, bench
from tests.quick_arm import arm_text

LIFE_S: Final = (1.0, 6.0)
"""Of a coordinator after its joints are there; a supply is warned of after 3 s."""
PAUSE_S: Final = 0.05
"""Between two rounds of questions: fewer than one address may ask."""
MIDDLE_DEG: Final = -148.5
WARNING_V: Final = 40.0
"""Above any supply of the software joints."""


@dataclass(slots=True)
class Confirmed:
    """What coordinators answered for."""

    runs: dict[int, str] = field(default_factory=dict)
    """Number and exact program."""
    seen: list[str] = field(default_factory=list)
    """Warnings as the database tells them."""
    kills: int = 0

    def missing(self, database: Path) -> list[str]:
        """What the file does not hold of it."""
        with closing(sqlite3.connect(database)) as opened:
            kept = dict(opened.execute("SELECT number, program FROM runs").fetchall())
            seen = [row[0] for row in opened.execute("SELECT warning FROM acknowledgements")]
        lost = [
            f"run {number} was {text!r}, kept: {kept.get(number)!r}"
            for number, text in self.runs.items()
            if kept.get(number) != text
        ]
        return lost + [f"not acknowledged: {one}" for one in self.seen if one not in seen]


def table(kills: int, seed: int) -> list[str]:
    """Kill so often and show what was found; gives what was missing."""
    found, missing = Confirmed(), list[str]()
    with TemporaryDirectory() as folder, bench(Path(folder)) as made:
        supply = f"supply_limit_v = 18\nsupply_warning_v = {WARNING_V:g}"
        made.arm.write_text(arm_text(3).replace("supply_limit_v = 18", supply))
        made.simulate()
        coordinator = made.serve()
        made.until_linked()
        made.home()
        chance, progress = Random(seed), Progress("kills of the coordinator", kills)
        for _ in range(kills):
            _live(made, coordinator, chance.uniform(*LIFE_S), found)
            found.kills += 1
            missing = found.missing(made.data / "unisono.db")
            progress.step()
            if missing:
                break
            coordinator = made.serve()
            made.until_linked()
    show(
        "The coordinator killed (SIGKILL) at random instants while it plays and is answered to",
        ("kills", "runs confirmed", "acknowledgements confirmed", "missing"),
        [(found.kills, len(found.runs), len(found.seen), len(missing))],
    )
    return missing


def _live(made: Bench, coordinator: Process, life_s: float, found: Confirmed) -> None:
    """Ask one coordinator for runs and acknowledgements until it is killed."""
    killer = threading.Timer(life_s, coordinator.popen.kill)
    killer.start()
    with Client(made.url) as client:
        while True:
            with contextlib.suppress(subprocess.TimeoutExpired):
                coordinator.popen.wait(PAUSE_S)
                break
            _ask(client, found)
    killer.join()


def _ask(client: Client, found: Confirmed) -> None:
    """Ask once. What is refused, or not answered as nobody is there any more, is not confirmed."""
    try:
        for warning in client.warnings():
            if not warning.acknowledged:
                client.acknowledge(warning.id)
                found.seen.append(f"{warning.code} since {warning.since_utc}: {warning.message}")
        arm = client.arm()
        if arm.run is None:
            # A run may have moved the arm though nobody heard that it was confirmed.
            at_deg = arm.joints[0].position_deg
            there = -150 if at_deg is None or at_deg > MIDDLE_DEG else -147
            text = f"(run {len(found.runs) + 1})\nG0 A{there} B{there} C{there}\nM2\n"
            found.runs[client.play("tray.nc", text)] = text
    except ClientError:
        return
