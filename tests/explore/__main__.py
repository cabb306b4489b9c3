"""`make explore`: all schedules of a small arm, to a stated depth; or one again, with REPLAY=…

It ends with 1 if anything was wrong. A line `REPLAY='family decision …'` names a schedule.
"""

import argparse
import os
import sys

from coordinator.workers.processes import process_pool
from tests.explore.found import Found
from tests.explore.search import replay, search_share
from tests.explore.stories import FAMILIES, Family

_ROW = "{:<12} {:>6} {:>5} {:>5} {:>6} {:>5} {:>10} {:>7} {:>7} {:>6} {:>5} {:>5}"
_HEAD = (
    "family", "joints", "ticks", "depth", "width", "fates", "happenings",
    "runs", "merged", "states", "rests", "s",
)  # fmt: skip
_LEGEND = """\
ticks: for how long, in 10 ms, messages may deviate and things happen; depth: how many messages
deviate in one run; width: how many of the next few may, from the beginning and from what happens
on, or all; fates: how many things a datagram may meet instead (a frame of a stream is late only);
happenings: how many things may happen, one of them in a run.
"""


def main() -> int:
    """Search the families asked for, or replay one schedule; print what came of it."""
    parser = argparse.ArgumentParser(prog="python -m tests.explore", description=__doc__)
    parser.add_argument("--families", nargs="+", choices=[one.name for one in FAMILIES])
    parser.add_argument("--replay", help="a family's name and decisions, as printed")
    arguments = parser.parse_args()
    if arguments.replay:
        name, *decisions = arguments.replay.split()
        for line in replay(_family(name), decisions):
            tell(line)
        return 0
    families = [one for one in FAMILIES if one.name in (arguments.families or one.name)]
    return _search(families)


def tell(line: str) -> None:
    """Write a line at once: a search takes minutes."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _family(name: str) -> Family:
    known = {one.name: one for one in FAMILIES}
    if name not in known:
        raise SystemExit(f"there is no family {name!r}; these are: {' '.join(known)}")
    return known[name]


def _search(families: list[Family]) -> int:
    workers = os.cpu_count() or 1
    total = Found()
    tell(_LEGEND)
    tell(_ROW.format(*_HEAD))
    with process_pool(workers) as pool:
        for family in families:
            found = Found()
            shares = [
                pool.submit(search_share, family, worker, workers) for worker in range(workers)
            ]
            for share in shares:
                found.add(share.result())
            _show(family, found)
            seconds = total.seconds + found.seconds
            total.add(found)
            total.seconds = seconds
    tell(
        f"{total.schedules} runs and {total.merged} that merged with one of them, "
        f"{len(total.states)} states, {len(total.settled)} states of rest, "
        f"{total.seconds:.0f} s with {workers} workers, {len(total.violations)} violations"
    )
    return 1 if total.violations else 0


def _show(family: Family, found: Found) -> None:
    row = (
        family.name, family.joints, family.ticks, family.depth,
        "all" if family.width is None else family.width,
        len(family.fates), len(family.happenings),
        found.schedules, found.merged, len(found.states), len(found.settled), f"{found.seconds:.0f}"
    )  # fmt: skip
    tell(_ROW.format(*row))
    for decisions, text in found.violations:
        tell(f"  REPLAY='{' '.join([family.name, *decisions])}': {text}")


if __name__ == "__main__":
    sys.exit(main())
