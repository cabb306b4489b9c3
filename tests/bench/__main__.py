"""`make bench`: prints tables. It ends with 1 if a true spread ever passed the bound reported."""

import argparse
import asyncio
import json
import sys

from tests.bench import cost, fan_out, starts
from tests.bench.figures import percentile, show

NETWORKS = ("quiet", "home", "busy", "hostile")


def main() -> int:
    """Measure what was asked for, print it."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--starts", type=int, default=50, help="starts per network")
    parser.add_argument("--networks", nargs="+", choices=NETWORKS, default=NETWORKS)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    violations = _starts(arguments.networks, arguments.starts, arguments.seed)
    _cost()
    return 1 if violations else 0


def _starts(networks: list[str], count: int, seed: int) -> int:
    rows, violations = [], 0
    for network in networks:
        found = starts.measure(network, count, seed)
        naive = asyncio.run(fan_out.spreads_us(network, count, seed))
        for violation in found.violations:
            print("BOUND BROKEN:", network, f"seed {seed}", json.dumps(violation))
        violations += len(found.violations)
        ours, theirs = percentile(found.spread, 50), percentile(naive, 50)
        rows.append(
            (
                network,
                len(found.spread),
                *(f"{percentile(found.spread, p):.0f}" for p in (50, 95, 100)),
                *(f"{percentile(found.bound, p):.0f}" for p in (50, 100)),
                len(found.violations),
                f"{100 * found.first_attempt / max(1, len(found.spread)):.0f} %",
                found.partial,
                found.refused,
                f"{percentile(found.lead, 50) / 1000:.0f}",
                f"{theirs:.0f}",
                f"{theirs / ours:.1f}",
            )
        )
    show(
        "Six joints started together, real sockets on loopback, truth by the raw monotonic clock",
        (
            "network", "starts", "true spread p50 µs", "p95", "max", "bound p50 µs", "max",
            "bound broken", "first attempt", "partial", "refused", "lead p50 ms",
            "go-now spread p50 µs", "ratio",
        ),
        rows,
    )  # fmt: skip
    return violations


def _cost() -> None:
    rows: list[tuple[object, ...]] = []
    for joints in (3, 6):
        percent = cost.coordinator_cpu_percent(joints)
        rows.append((f"{joints} joints at 25 Hz", f"{percent:.1f} %", f"{percent / joints:.2f} %"))
    show(
        "The coordinator's processor time, share of one core",
        ("load", "in all", "per joint"),
        rows,
    )
    one, eight = cost.exchanges_per_s(1), cost.exchanges_per_s(8)
    show(
        "Bare exchanges with one software joint, per second",
        ("under way", "exchanges/s", "ratio"),
        [("1", f"{one:.0f}", "1.0"), ("8", f"{eight:.0f}", f"{eight / one:.1f}")],
    )


if __name__ == "__main__":
    sys.exit(main())
