"""Takes safeguards out one by one and shows that the campaign notices (`make mutants`).

Each mutant is a change of the source, made in a copy of the tree. The text to be replaced must
stand there exactly once, so a mutant that no longer fits the code is an error, not a pass. With
KEEP=1 the smallest scenario that notices each is kept among the regressions.
"""

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor, as_completed, wait
from dataclasses import asdict, dataclass
from pathlib import Path

from rich.console import Console
from rich.progress import track
from rich.table import Table

ROOT = Path(__file__).parents[2]
WITHIN = 600
"""Scenarios within which every mutant must be caught."""
REGRESSIONS = Path(__file__).parent / "regressions"
CORE, JOINT = "coordinator/core", "simulator/joint"
HUNTING: set["subprocess.Popen[str]"] = set()
"""Processes that play scenarios on a mutant."""


@dataclass(frozen=True, slots=True)
class Edit:
    """One replacement in one file."""

    path: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Mutant:
    """A safeguard and how it is taken out."""

    what: str
    edits: tuple[Edit, ...]

    @property
    def slug(self) -> str:
        """A file name for the scenario that catches it."""
        return re.sub(r"[^a-z]+", "-", self.what.lower()).strip("-")


@dataclass(frozen=True, slots=True)
class Caught:
    """What noticed that a safeguard was gone, and after how many scenarios."""

    seed: int
    by: str
    sentence: str
    scenario: str
    """The smallest scenario that notices it, as JSON; empty where the core itself broke."""


def _one(what: str, path: str, old: str, new: str) -> Mutant:
    return Mutant(what, (Edit(path, old, new),))


MUTANTS = (
    _one(
        "arm echo: go is sent without waiting for all to comply with arm",
        f"{CORE}/start.py",
        "if self._all_comply(now):\n            self._go(now)",
        "if True:\n            self._go(now)",
    ),
    _one(
        "go echo: the lease is renewed without waiting for all to echo go",
        f"{CORE}/start.py",
        "if self._all_comply(now):\n            for link in",
        "if True:\n            for link in",
    ),
    _one(
        "plan number: any echo counts",
        f"{CORE}/link.py",
        "self.status.plan == plan.number",
        "self.status.plan != 0",
    ),
    _one(
        "lease, joint: it is not obeyed",
        f"{JOINT}/path.py",
        "if lease_us is not None and not self.covers_end(lease_us):",
        "if False:",
    ),
    _one(
        "lease, coordinator: offered without regard to the lowest",
        f"{CORE}/lease.py",
        "min(self.floor_us + window, reach)",
        "reach",
    ),
    _one(
        "levelling",
        f"{CORE}/lease.py",
        "if short and used_up is not None and used_up - now < LEVELLING_US:",
        "if False:",
    ),
    _one(
        "levelling, level: the arm holds, each joint as far as it was told",
        f"{CORE}/lease.py",
        "self.level()\n            return True",
        "return True",
    ),
    Mutant(
        "levelling's latch: the offer rises again with what arrives late",
        (
            Edit(
                f"{CORE}/lease.py",
                "if self.fixed:\n            return False",
                "if False:\n            return False",
            ),
            Edit(
                f"{CORE}/run.py",
                "    def _await_rest(self, now: int) -> None:\n",
                "    def _await_rest(self, now: int) -> None:\n"
                "        if self.moving is not None:\n"
                "            self.moving.step(now)\n",
            ),
        ),
    ),
    Mutant(
        "a ramping joint accepts a lease",
        (
            Edit(
                f"{JOINT}/playing.py",
                "from protocol.pathtime import RateChange\n",
                "from protocol.constants import PPM\n"
                "from protocol.pathtime import Course, RateChange\n",
            ),
            Edit(
                f"{JOINT}/playing.py",
                "        else:\n            self._newest = plan.number\n            if self._go(",
                "        elif self._body.state is JointState.RAMPING:\n"
                "            path, arm_us = self._path, self._body.arm(now)\n"
                "            here_us, rate = path.course.at(arm_us)\n"
                "            if drive.lease_us is not None and drive.lease_us > here_us:\n"
                "                path.current, path.began_us = plan.change, None\n"
                "                after = plan.change.after_ppm / PPM\n"
                "                path.course = Course(arm_us, here_us, rate, after, path.ramp)\n"
                "                self._body.state = JointState.MOVING\n"
                "                self._newest = plan.number\n"
                "                self._comply(plan.number)\n"
                "                self._take_lease(drive.lease_us, now)\n"
                "        else:\n            self._newest = plan.number\n            if self._go(",
            ),
        ),
    ),
    _one(
        "busy: a moving joint takes a new session", f"{JOINT}/session.py", "if moving:", "if False:"
    ),
    _one(
        "drift: limits do not widen with age",
        "coordinator/timing/guarantee.py",
        "+ self.drift_ppm * age_us",
        "+ 0 * age_us",
    ),
    Mutant(
        "raw clock: arm time is slewed by the host's NTP",
        (
            Edit(
                "coordinator/rehearsal/station.py",
                "return self.host.arm(true_us)",
                "return self.host.arm(true_us) + self.host.slewed(true_us)",
            ),
            Edit(
                "coordinator/rehearsal/station.py",
                "return self.host.true(arm_us)",
                "return self.host.true(arm_us - self.host.slewed(self.world.now)) + 1",
            ),
        ),
    ),
    _one(
        "sleep check: the session goes on after the laptop slept",
        "coordinator/rehearsal/station.py",
        "if slept_us > SLEEP_LIMIT_US:",
        "if False:",
    ),
    _one(
        "reboot check: a new boot is not noticed",
        f"{CORE}/link.py",
        "rebooted = self.welcome is not None and self.welcome.boot != welcome.boot",
        "rebooted = False",
    ),
    _one(
        "restart: a joint takes itself for homed after it",
        f"{JOINT}/body.py",
        "self.state = JointState.UNHOMED\n        self.homed = False",
        "self.state = JointState.READY\n        self.homed = True",
    ),
    _one(
        "session check: a joint takes drives of any session",
        f"{JOINT}/session.py",
        "if session != self.number or sequence <= self.sequence:",
        "if sequence <= self.sequence:",
    ),
    _one(
        "sequence check: a joint takes old drives",
        f"{JOINT}/session.py",
        "if session != self.number or sequence <= self.sequence:",
        "if session != self.number:",
    ),
    Mutant(
        "reserve: the ramp leaves the path no acceleration",
        (
            Edit(
                "protocol/ramp.py",
                "left_here = 1.0 - ACCELERATION_SHARE * (ppm / PPM) ** 2",
                "left_here = 1.0",
            ),
            Edit("protocol/ramp.py", "if used > acceleration * (1.0 + 1e-9):", "if False:"),
        ),
    ),
    _one(
        "silence: a joint waits for a coordinator that is gone",
        f"{JOINT}/joint.py",
        'self._sooner(self._driven_us + SILENCE_US, "silence")',
        "pass",
    ),
    _one(
        "buffer: a lease may reach past the points",
        f"{JOINT}/path.py",
        "return min(self.lease_us, self.room_us(fastest))",
        "return self.lease_us",
    ),
    _one(
        "withdrawal: what the drive no longer carries goes on",
        f"{JOINT}/playing.py",
        "if body.state in (JointState.MOVING, JointState.ADVANCING):",
        "if False:",
    ),
    _one(
        "expiry: jog, home and advance go on without renewal",
        f"{JOINT}/joint.py",
        'self._sooner(body.clock.joint(expiry_us), "expiry")',
        "pass",
    ),
    _one(
        "late: a start that is accepted too late begins at once",
        f"{JOINT}/playing.py",
        "if body.arm(now) >= change.at_us:",
        "if False:",
    ),
    _one(
        "home: a joint that let go of its motor is still homed",
        f"{JOINT}/free.py",
        "body.energised = body.homed = False",
        "body.energised = False",
    ),
    _one(
        "lost steps: a joint does not mind where its home sensor switches",
        f"{JOINT}/joint.py",
        "self._safety.fault(Fault.STEPS_LOST, now, wrong)",
        "pass",
    ),
    _one(
        "behind the sensor: a homing cut short is begun as if it had met nothing",
        f"{JOINT}/free.py",
        "self.level, now, self._met)",
        "self.level, now, None)",
    ),
    _one(
        "a new command: a run that is held resumes by itself",
        f"{CORE}/run.py",
        "            case Phase.HELD:\n                self._astray()\n",
        "            case Phase.HELD:\n"
        "                try:\n"
        "                    self._astray() or self.resume(now)\n"
        "                except Refused:\n"
        "                    pass\n",
    ),
    _one(
        "jog: every joint jogs",
        f"{CORE}/jogging.py",
        "if self.link is not link:\n            return None\n        return round",
        "if self.link is None:\n            return None\n        return round",
    ),
    _one(
        "home: every joint homes at once",
        f"{CORE}/homing.py",
        "if link is not self.current:\n            return None",
        "if self.current is None:\n            return None",
    ),
    _one(
        "hold: it is accepted, and nothing is done",
        f"{CORE}/machine.py",
        "                self._hold(now)\n",
        "                pass\n",
    ),
    _one(
        "stop: it is accepted, and joints are not told",
        f"{CORE}/machine.py",
        "            link.stop(level, now)\n",
        "            pass\n",
    ),
    Mutant(
        "proof: it stands though its clock was found wrong",
        (
            Edit(
                f"{CORE}/report.py",
                "entry.earliest_us = entry.latest_us = entry.clock_bound_us = None",
                "pass",
            ),
            Edit(
                f"{CORE}/report.py",
                "if not entry.confirmed:\n                entry.earliest_us",
                "if False:\n                entry.earliest_us",
            ),
        ),
    ),
    _one(
        "arm, joint: a start needs no arm before it",
        f"{JOINT}/playing.py",
        "or armed_by is None\n            or armed_by >= plan.number",
        "or (armed_by or 0) >= plan.number",
    ),
    _one(
        "fault: a joint that moves does not mind it",
        f"{JOINT}/safety.py",
        "if not body.at_rest:\n            self._brake(now)\n        elif body.state is not",
        "if not body.at_rest:\n            return\n        elif body.state is not",
    ),
    _one(
        "unhomed: a joint jogs as fast as when it is homed",
        f"{JOINT}/free.py",
        "limits.velocity if body.homed else limits.jog_unhomed",
        "limits.velocity",
    ),
    _one(
        "tag: a datagram's is not checked",
        "protocol/keys.py",
        "if not same(found,",
        "if False and not same(found,",
    ),
    _one(
        "proof: a handshake's is not checked",
        f"{JOINT}/handshake.py",
        "if not same(bytes.fromhex(message.proof), wanted):",
        "if False:",
    ),
    _one(
        "slewing: a new clock map counts at once in motion",
        "protocol/clockmap.py",
        "remainder_us = 0.0 if jump else self.arm(joint_us) - clock_map.to_arm(joint_us)",
        "remainder_us = 0.0",
    ),
)


def hunt(limit: int) -> int:
    """In the copy: play scenarios until one is caught; prints what caught it."""
    from tests.campaign.generate import generate
    from tests.campaign.play import play
    from tests.campaign.shrink import shrink

    for seed in range(1, limit + 1):
        scenario = generate(seed)
        try:
            violation = play(scenario).violation
        except Exception as error:  # noqa: BLE001 - a core that breaks is caught as well
            caught = Caught(seed, "crash", f"{type(error).__name__}: {error}", "")
        else:
            if violation is None:
                continue
            small, _ = shrink(scenario, violation.invariant)
            caught = Caught(seed, violation.invariant, violation.message, small.to_json())
        print(json.dumps(asdict(caught)))  # noqa: T201
        return 0
    return 1


def changed(mutant: Mutant, tree: Path) -> dict[Path, str]:
    """The sources as a mutant has them. Raises ValueError where a text is not there just once."""
    texts: dict[Path, str] = {}
    for edit in mutant.edits:
        path = tree / edit.path
        text = texts.get(path) or path.read_text()
        if text.count(edit.old) != 1:
            raise ValueError(
                f"mutant {mutant.what!r}: {edit.path} has {text.count(edit.old)} times {edit.old!r}"
            )
        texts[path] = text.replace(edit.old, edit.new)
    return texts


def run(mutant: Mutant, limit: int = WITHIN) -> Caught | None:
    """What caught a mutant, None when nothing did."""
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder)
        for name in ("protocol", "simulator", "coordinator"):
            shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copytree(ROOT / "tests" / "campaign", tree / "tests" / "campaign")
        for path, text in changed(mutant, tree).items():
            path.write_text(text)
        # In a session of its own, an interrupt at the keyboard reaches only who counts.
        hunting = subprocess.Popen(
            [sys.executable, "-m", "tests.campaign.mutants", str(limit)],
            cwd=tree,
            env={**os.environ, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        HUNTING.add(hunting)
        out, err = hunting.communicate()
        HUNTING.discard(hunting)
    if err or hunting.returncode not in (0, 1):
        raise RuntimeError(f"mutant {mutant.what!r}: exit code {hunting.returncode}; {err}")
    return Caught(**json.loads(out)) if hunting.returncode == 0 else None


def sentence(mutant: Mutant, found: Caught | None) -> str:
    """One line about one mutant."""
    if found is None:
        return f"{mutant.what}: caught by nothing in {WITHIN} scenarios"
    return f"{mutant.what}: caught by {found.by} in scenario {found.seed}"


def table_of(found_of: dict[Mutant, Caught | None]) -> Table:
    """All that is known, in the order of the list above."""
    table = Table("taken out", "caught by", "after scenarios", "what was seen")
    for mutant in MUTANTS:
        found = found_of.get(mutant)
        if found is not None:
            table.add_row(mutant.what, found.by, str(found.seed), found.sentence)
        elif mutant in found_of:
            table.add_row(mutant.what, "[bold]nothing[/bold]", f"> {WITHIN}", "")
    return table


def main() -> int:
    """Run all mutants; print a line as each ends, and the table."""
    console = Console(width=160)
    only = os.environ.get("ONLY", "")
    chosen = [mutant for mutant in MUTANTS if only in mutant.what]
    found_of: dict[Mutant, Caught | None] = {}
    pool = ThreadPoolExecutor(os.cpu_count())
    running = {pool.submit(run, mutant): mutant for mutant in chosen}
    try:
        for done in track(as_completed(running), total=len(chosen), console=console):
            mutant = running[done]
            try:
                found = found_of[mutant] = done.result()
            except (ValueError, RuntimeError) as error:
                console.print(f"[bold]{error}[/bold]", highlight=False)
                continue
            console.print(sentence(mutant, found), highlight=False)
            if found is not None and found.scenario and os.environ.get("KEEP"):
                (REGRESSIONS / f"{mutant.slug}.json").write_text(found.scenario + "\n")
    except KeyboardInterrupt:
        console.print("interrupted")
        pool.shutdown(wait=False, cancel_futures=True)
        while any(one.running() for one in running):
            for hunting in tuple(HUNTING):
                hunting.terminate()
            wait(running, timeout=0.1)
    console.print(table_of(found_of))
    caught = sum(found is not None for found in found_of.values())
    console.print(f"{caught} of {len(chosen)} caught within {WITHIN} scenarios")
    return 0 if caught == len(chosen) else 1


if __name__ == "__main__":
    sys.exit(hunt(int(sys.argv[1])) if len(sys.argv) > 1 else main())
