"""Takes safeguards out one by one and shows that the campaign notices (`make mutants`).

With KEEP=1 the smallest scenario that notices each is kept among the regressions.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed, wait
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from rich.console import Console
from rich.progress import track
from rich.table import Table

from tests.campaign.mutants import MUTANTS, ROOT, Mutant, changed

if TYPE_CHECKING:
    from tests.campaign.scenario import Scenario

WITHIN = 600
"""Random scenarios within which every mutant must be caught, or else by one that was kept."""
ENDLESS_S = 120.0
"""A scenario takes some seconds; one of a mutant may go on and on at one instant."""
REGRESSIONS = Path(__file__).parent / "regressions"
HUNTING: set["subprocess.Popen[str]"] = set()
"""Processes that play scenarios on a mutant."""


@dataclass(frozen=True, slots=True)
class Caught:
    """What noticed that a safeguard was gone, and in which scenario."""

    where: str
    by: str
    sentence: str
    scenario: str
    """The smallest scenario that notices it, as JSON; empty where the core itself broke."""


def hunt(limit: int) -> int:
    """In the copy: play scenarios until one is caught; prints what caught it."""
    from tests.campaign.play import CRASH, played
    from tests.campaign.shrink import shrink

    signal.signal(signal.SIGVTALRM, _endless)
    for where, scenario, is_kept in _scenarios(limit):
        signal.setitimer(signal.ITIMER_VIRTUAL, ENDLESS_S)
        violation = played(scenario).violation
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
        if violation is None:
            continue
        smallest = ""
        if os.environ.get("KEEP") and not is_kept and violation.invariant != CRASH:
            smallest = shrink(scenario, violation.invariant)[0].to_json()
        caught = Caught(where, violation.invariant, violation.message, smallest)
        print(json.dumps(asdict(caught)))  # noqa: T201
        return 0
    return 1


def _scenarios(limit: int) -> Iterator[tuple[str, "Scenario", bool]]:
    """Each by its seed or file, and whether it is kept: what befalls seldom is not among so few
    random ones; it was once.
    """
    from tests.campaign.generate import generate
    from tests.campaign.scenario import Scenario

    for seed in range(1, limit + 1):
        yield str(seed), generate(seed), False
    for file in sorted(REGRESSIONS.glob("*.json")):
        yield file.name, Scenario.from_json(file.read_text()), True


def _endless(_number: int, _frame: object) -> NoReturn:
    """In what is played, where it is a crash like any other."""
    raise RuntimeError(f"it did not end within {ENDLESS_S:g} s of processor time")


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
            [sys.executable, "-m", "tests.campaign.hunting", str(limit)],
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
        return f"{mutant.what}: caught by nothing in {WITHIN} scenarios and those kept"
    return f"{mutant.what}: caught by {found.by} in scenario {found.where}"


def table_of(found_of: dict[Mutant, Caught | None]) -> Table:
    """All that is known, in the order of the list above."""
    table = Table("taken out", "caught by", "in scenario", "what was seen")
    for mutant in MUTANTS:
        found = found_of.get(mutant)
        if found is not None:
            table.add_row(mutant.what, found.by, found.where, found.sentence)
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
    console.print(
        f"{caught} of {len(chosen)} caught within {WITHIN} scenarios or in one that was kept"
    )
    return 0 if caught == len(chosen) else 1


if __name__ == "__main__":
    sys.exit(hunt(int(sys.argv[1])) if len(sys.argv) > 1 else main())
