"""The tables of what real sockets and processes give."""

from collections.abc import Sequence

from coordinator.config.arm import MAX_JOINTS
from tests.bench import cost as costs
from tests.bench import fan_out, on_sockets
from tests.bench.figures import ms, percentile, ratio, share, show, us, whole
from tests.bench.starts import Starts

AT_ONCE = (1, 8)


def sockets(networks: Sequence[str], joints: int, count: int, seed: int) -> list[str]:
    """Starts on real sockets; gives what was broken."""
    proofs, others, broken, unproved = [], [], [], 0
    for network in networks:
        found = on_sockets.starts(network, joints, count, seed)
        naive = fan_out.start_skews_us(network, joints, count, seed)
        broken += found.broken
        unproved += found.unproved
        proofs.append(
            (
                network,
                len(found.start_skew_us),
                *us(found.start_skew_us, 50, 95, 100),
                *us(found.claimed_us, 50, 100),
                *us(found.start_skew_max_us, 50, 100),
                len(found.broken),
                *went(found),
            )
        )
        others.append(
            (
                network,
                *us(found.start_skew_us, 50, 95, 100),
                *us(naive, 50, 95, 100),
                *(
                    ratio(percentile(naive, p), percentile(found.start_skew_us, p))
                    for p in (50, 95, 100)
                ),
            )
        )
    show(
        f"{joints} joints started together on real sockets (loopback, impaired), in µs; truth by "
        "the raw monotonic clock",
        (
            "network", "starts", "true p50", "p95", "max", "claimed p50", "max", "bound p50", "max",
            "bound broken", "first attempt", "partial", "refused", "holds", "start delay p50 ms",
        ),
        proofs,
        unproved_line(unproved),
    )  # fmt: skip
    show(
        "The same against the naive way: *go now* to each joint over its own stream, "
        "start skew in µs",
        (
            "network", "unisono p50", "p95", "max", "go now p50", "p95", "max",
            "ratio p50", "p95", "max",
        ),
        others,
    )  # fmt: skip
    return broken


def cost() -> None:
    """The coordinator's processor time, and exchanges per second."""
    rows: list[tuple[object, ...]] = []
    for joints in (3, 6, MAX_JOINTS):
        for what, load in costs.coordinator_loads(joints).items():
            rate, cpu, each = f"{load.rate_hz:.1f}", share(load.cpu), share(load.cpu / joints)
            rows.append((f"{joints} joints {what}", rate, cpu, each))
    show(
        "The coordinator's processor time, share of one core",
        ("load", "drives per joint and s", "in all", "per joint"),
        rows,
    )
    rates = {at_once: costs.exchanges_per_s(at_once) for at_once in AT_ONCE}
    show(
        "Bare NTP exchanges with one software joint, client and joint each a process",
        ("under way at once", "exchanges/s", "ratio"),
        [(at_once, whole(rate), ratio(rate, rates[AT_ONCE[0]])) for at_once, rate in rates.items()],
    )


def went(starts: Starts, *goals: str) -> tuple[object, ...]:
    """How the starts went: from the first attempts to the start delay."""
    return (
        share(starts.first_share),
        *goals,
        starts.partial,
        starts.refused,
        starts.holds,
        ms(starts.start_delay_us, 50),
    )


def unproved_line(count: int) -> str:
    """A line below a table."""
    return f"Starts of all joints of which no bound was stated: {count}."
