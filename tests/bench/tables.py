"""The tables, one after another."""

from collections.abc import Sequence

from coordinator.arm import MAX_JOINTS
from protocol.constants import US
from tests.bench import cost as costs
from tests.bench import fan_out, in_virtual_time, on_sockets
from tests.bench.figures import ms, percentile, ratio, share, show, us, whole
from tests.bench.starts import Starts

GOAL_SPREAD_P99_US = {"quiet": 60, "home": 110, "busy": 280, "hostile": 750}
GOAL_FIRST_SHARE = {"quiet": 0.999, "home": 0.999, "busy": 0.998, "hostile": 0.995}
PUBLISHED = (
    "Published beside it: application-level NTP on an ESP32 over Wi-Fi, error of one clock: "
    "median 216, p95 801, p99 1607 µs (Elson 2022)."
)
AT_ONCE = (1, 8)


def sockets(networks: Sequence[str], joints: int, count: int, seed: int) -> list[str]:
    """Starts on real sockets; gives what was broken."""
    proofs, others, broken, unproved = [], [], [], 0
    for network in networks:
        found = on_sockets.starts(network, joints, count, seed)
        naive = fan_out.spreads_us(network, joints, count, seed)
        broken += found.broken
        unproved += found.unproved
        proofs.append(
            (
                network,
                len(found.spread_us),
                *us(found.spread_us, 50, 95, 100),
                *us(found.claimed_us, 50, 100),
                *us(found.bound_us, 50, 100),
                len(found.broken),
                *_went(found),
            )
        )
        others.append(
            (
                network,
                *us(found.spread_us, 50, 95, 100),
                *us(naive, 50, 95, 100),
                *(
                    ratio(percentile(naive, p), percentile(found.spread_us, p))
                    for p in (50, 95, 100)
                ),
            )
        )
    show(
        f"{joints} joints started together on real sockets (loopback, impaired), in µs; truth by "
        "the raw monotonic clock",
        (
            "network", "starts", "true p50", "p95", "max", "claimed p50", "max", "bound p50", "max",
            "bound broken", "first attempt", "partial", "refused", "holds", "lead p50 ms",
        ),
        proofs,
        _unproved(unproved),
    )  # fmt: skip
    show(
        "The same against the naive way: *go now* to each joint over its own stream, spread in µs",
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


def virtual(
    networks: Sequence[str], joints: int, worlds: int, seed: int, processes: int
) -> list[str]:
    """Starts in virtual time; gives what was broken."""
    found = in_virtual_time.measure(networks, joints, worlds, seed, processes)
    rows, unproved, broken = [], 0, []
    for network, one in found.items():
        for when, starts in (("homed", one.homed), ("rested", one.rested)):
            unproved += starts.unproved
            broken += starts.broken
            rows.append(
                (
                    f"{network}, {when}",
                    len(starts.spread_us),
                    *us(starts.spread_us, 50, 99),
                    GOAL_SPREAD_P99_US[network],
                    *us(starts.spread_us, 100),
                    *us(starts.bound_us, 50, 95, 100),
                    len(starts.broken),
                    *_went(starts, f"{100 * GOAL_FIRST_SHARE[network]:.1f} %"),
                )
            )
    show(
        f"{joints} joints started together in virtual time, in µs; seeds {seed} to "
        f"{seed + worlds - 1}, {in_virtual_time.STARTS_EACH} starts each just after homing and "
        f"after {in_virtual_time.REST_US // US} s at rest",
        (
            "network", "starts", "true p50", "p99", "goal p99", "max", "bound p50", "p95", "max",
            "bound broken", "first attempt", "goal", "partial", "refused", "holds", "lead p50 ms",
        ),
        rows,
        _unproved(unproved),
        "The goals are the project's own, for 6 joints.",
        PUBLISHED,
    )  # fmt: skip
    show(
        "Against naive ways in virtual time, on links and crystals of the same kinds: spread in µs",
        (
            "network", "unisono p50", "p99", "max", "go now p50", "p99", "max", "ratio p99",
            "SNTP p50", "p99", "max", "ratio p99",
        ),
        [
            (
                network,
                *us(one.spread_us, 50, 99, 100),
                *_against(one.go_now_us, one.spread_us),
                *_against(one.sntp_us, one.spread_us),
            )
            for network, one in found.items()
        ],
        "SNTP: one exchange every 15 s sets a joint's clock; it starts at an agreed instant.",
    )  # fmt: skip
    show(
        "Speed of virtual time on one core, by processor time",
        ("network", "simulated s", "× real time", "of that in runs s", "× real time"),
        [
            (
                network,
                whole(one.simulated_s),
                ratio(one.simulated_s, one.cpu_s),
                whole(one.moving_s),
                ratio(one.moving_s, one.moving_cpu_s),
            )
            for network, one in found.items()
        ],
        "In a run every joint is asked at 25 Hz, otherwise at 5 Hz once its link is measured.",
    )
    return broken


def _went(starts: Starts, *goals: str) -> tuple[object, ...]:
    """How the starts went: from the first attempts to the lead."""
    return (
        share(starts.first_share),
        *goals,
        starts.partial,
        starts.refused,
        starts.holds,
        ms(starts.lead_us, 50),
    )


def _unproved(count: int) -> str:
    return f"Starts of all joints of which no bound was stated: {count}."


def _against(naive: Sequence[float], ours: Sequence[float]) -> list[str]:
    return [*us(naive, 50, 99, 100), ratio(percentile(naive, 99), percentile(ours, 99))]
