"""Figures of starts and of what they cost: prints tables and judges no durations.

Ends with 1 if a bound was ever broken: the true start skew of a start that its report states, the
guarantee of a clock, or how far apart joints may rest after an outage or a kill; if a joint truly
was elsewhere than its plan says, or home on a sensor that bounces; if forecasts of heat or wear, or
alarms, miss their goals; if anything is missing that the database had confirmed; if a restore that
was killed left neither the old folder nor the new one whole; or if a chart of a joint's past hides
what was read.
"""

import argparse
import logging
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.bench import (
    alarm_table,
    back,
    blending,
    coordinator_kills,
    heat,
    history,
    homing,
    kills,
    lag_table,
    long_program,
    long_programs,
    page,
    restore_kills,
    reversal,
    speed,
    store_kills,
    supply,
    tables,
    true_path,
    virtual_tables,
    wear,
)

NETWORKS = ("quiet", "home", "busy", "hostile")
TABLES = (
    "sockets",
    "cost",
    "kills",
    "store",
    "restore",
    "history",
    "answers",
    "virtual",
    "guarantee",
    "outages",
    "back",
    "page",
    "page-paint",
    "page-cost",
    "lag",
    "speed",
    "blending",
    "reversal",
    "homing",
    "heat",
    "supply",
    "wear",
    "alarms",
    "long",
    "long-text",
    "true-path",
)


def main() -> int:
    """Measure what was asked for and print it."""
    asked = _arguments()
    # What the service warns of, such as a start that is tried again, is what the tables count.
    logging.basicConfig(level=logging.ERROR)
    print("Sizes: " + ", ".join(f"{name} {_words(size)}" for name, size in vars(asked).items()))
    broken: list[str] = []
    if "virtual" in asked.tables:
        for joints in asked.virtual_joints:
            broken += virtual_tables.virtual(
                asked.networks,
                joints,
                asked.worlds,
                asked.starts_each,
                asked.seed,
                asked.processes,
            )
    if "guarantee" in asked.tables:
        broken += virtual_tables.guaranteed(
            asked.networks, asked.guarantees, asked.clocks, asked.seed, asked.processes
        )
    if "outages" in asked.tables:
        broken += virtual_tables.long_plays(
            asked.networks, asked.joints, asked.plays, asked.seed, asked.processes
        )
    if "cost" in asked.tables:
        tables.cost()
    if "sockets" in asked.tables:
        broken += tables.sockets(asked.networks, asked.joints, asked.starts, asked.seed)
    if "kills" in asked.tables:
        broken += kills.table(asked.networks, asked.joints, asked.kills, asked.seed)
    if "store" in asked.tables:
        with tempfile.TemporaryDirectory() as folder:
            broken += store_kills.table(asked.store_kills, asked.seed, Path(folder))
    if "restore" in asked.tables:
        with tempfile.TemporaryDirectory() as folder:
            broken += restore_kills.table(asked.restore_kills, asked.seed, Path(folder))
    if "history" in asked.tables:
        with tempfile.TemporaryDirectory() as folder:
            broken += history.table(asked.charts, Path(folder))
    if "answers" in asked.tables:
        broken += coordinator_kills.table(asked.answer_kills, asked.seed)
    if "back" in asked.tables:
        back.table(asked.joints, asked.wakes, asked.seed)
    if "speed" in asked.tables:
        broken += speed.table(asked.rounds)
    if "blending" in asked.tables:
        broken += blending.table(asked.programs, asked.seed, asked.processes)
    if "reversal" in asked.tables:
        broken += reversal.table()
    if "homing" in asked.tables:
        broken += homing.table(asked.homings, asked.seed, asked.processes)
    if "heat" in asked.tables:
        broken += heat.table(asked.heat_joints, asked.seed, asked.processes)
    if "supply" in asked.tables:
        supply.supply(asked.supply_arms, asked.seed)
    if "wear" in asked.tables:
        broken += wear.table(asked.rings, asked.seed, asked.processes)
    if "alarms" in asked.tables:
        broken += alarm_table.table(
            asked.shifts,
            asked.shift_hours,
            asked.quiet_hours,
            asked.quiet_days,
            asked.alarm_joints,
            asked.seed,
            asked.processes,
        )
    if "long" in asked.tables:
        broken += long_program.table(
            asked.networks, asked.hours, asked.rows, asked.seed, asked.processes
        )
    if "true-path" in asked.tables:
        broken += true_path.table(asked.networks, asked.joints, asked.true_runs, asked.seed)
    if "long-text" in asked.tables:
        long_programs.table(asked.lines, asked.joints, asked.seed)
    if "page" in asked.tables:
        page.soon(asked.networks, asked.page_joints, asked.stops, asked.seed)
    if "page-paint" in asked.tables:
        page.paint(asked.joints, asked.presses, asked.seed)
    if "page-cost" in asked.tables:
        page.cost(asked.page_joints, asked.frame_s, asked.feed_minutes, asked.seed)
    if "lag" in asked.tables:
        lag_table.table(asked.networks, asked.page_joints, asked.presses, asked.seed)
    return judge(broken)


def _words(size: object) -> str:
    return " ".join(map(str, size)) if isinstance(size, list | tuple) else str(size)


def judge(broken: Sequence[str]) -> int:
    """Tell what was broken, and give the exit code."""
    for sentence in broken:
        print(f"BOUND BROKEN: {sentence}")
    return 1 if broken else 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--tables", nargs="+", choices=TABLES, default=TABLES)
    parser.add_argument("--networks", nargs="+", choices=NETWORKS, default=NETWORKS)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--starts", type=int, default=50, help="on real sockets, per network")
    parser.add_argument(
        "--joints",
        type=int,
        default=6,
        help="on real sockets, in outages, before the page that is pressed",
    )
    parser.add_argument("--kills", type=int, default=5, help="of each kind, per network")
    parser.add_argument(
        "--answer-kills", type=int, default=200, help="of a coordinator that plays and answers"
    )
    parser.add_argument("--store-kills", type=int, default=200, help="of who writes the database")
    parser.add_argument(
        "--restore-kills",
        type=int,
        default=200,
        help="at random, of who restores or makes a backup",
    )
    parser.add_argument("--charts", type=int, default=20, help="of each kind, of a year of joints")
    parser.add_argument("--wakes", type=int, default=20, help="of the laptop, of each kind")
    parser.add_argument("--page-joints", type=int, default=3, help="before the page")
    parser.add_argument("--stops", type=int, default=20, help="by the page, per network")
    parser.add_argument("--presses", type=int, default=100, help="by each hand, and on each view")
    parser.add_argument("--frame-s", type=float, default=10.0, help="of the page's frames")
    parser.add_argument("--feed-minutes", type=int, default=60, help="of feed for its memory")
    parser.add_argument("--worlds", type=int, default=8, help="in virtual time, per network")
    parser.add_argument("--starts-each", type=int, default=20, help="twice, in each world")
    parser.add_argument("--virtual-joints", type=int, nargs="+", default=[6, 24])
    parser.add_argument("--guarantees", type=int, default=100_000, help="starts of clocks alone")
    parser.add_argument("--clocks", type=int, default=3, help="that start together there")
    parser.add_argument("--plays", type=int, default=6, help="worlds of long plays of each kind")
    parser.add_argument("--rounds", type=int, default=3, help="of each kind, of speed")
    parser.add_argument("--programs", type=int, default=1_000, help="in G64, planned and judged")
    parser.add_argument("--homings", type=int, default=400, help="of each kind, with a sensor")
    parser.add_argument("--heat-joints", type=int, default=500, help="random ones, of heat")
    parser.add_argument("--supply-arms", type=int, default=400, help="whose hops are estimated")
    parser.add_argument("--rings", type=int, default=1_000, help="that wear")
    parser.add_argument("--shifts", type=int, default=4, help="with faults, of alarms")
    parser.add_argument("--shift-hours", type=float, default=24.0, help="of each")
    parser.add_argument("--alarm-joints", type=int, default=3, help="in these shifts")
    parser.add_argument("--quiet-hours", type=float, default=24.0, help="of whole worlds, in all")
    parser.add_argument("--quiet-days", type=float, default=100.0, help="by what joints say alone")
    parser.add_argument("--true-runs", type=int, default=20, help="of whole paths, per network")
    parser.add_argument("--hours", type=float, default=12.0, help="of a program in virtual time")
    parser.add_argument("--rows", type=int, default=6, help="of what is seen in those hours")
    parser.add_argument("--lines", type=int, nargs="+", default=[10_000, 100_000, 999_000])
    parser.add_argument("--processes", type=int, default=2, help="for virtual time")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
