"""The tables of what virtual time gives: starts, the guarantee of the clocks, long plays."""

from collections.abc import Mapping, Sequence

from coordinator.core.run.permit import WINDOW_MAX_US
from protocol.constants import US
from tests.bench import goals, guarantee, in_virtual_time, outages
from tests.bench.clock_part import SKEW_PPM
from tests.bench.figures import ms, percentile, ratio, share, show, us, whole
from tests.bench.limits import rate_limits, share_limits
from tests.bench.tables import unproved_line, went

PUBLISHED = (
    "Published beside it (Elson 2022): application-level NTP on an ESP32 over Wi-Fi, error of one "
    "clock: median 216, p95 801, p99 1607 µs."
)
LIMITS = (
    "95 % limits: the true figures that the counts leave, exactly (Clopper-Pearson, Garwood). Not "
    "proved: some of them are on the other side of the goal."
)
PROTOTYPE_STARTS = (
    "The prototype (design section 4.1, 6 joints): at least 99.9 % at the first attempt, no "
    "partial start, leads 141, 240, 665, 1113 ms (quiet, home, busy, hostile)."
)
PROTOTYPE_HOLDS = (
    "The prototype (design section 5.2): none in quiet and home, under 0.1 a minute in busy, "
    "under 1 in hostile."
)
PROTOTYPE_OUTAGES = (
    "The prototype (design section 5.2): same path time in 91 to 99 % (quiet, home), 45 to "
    "80 % (busy)."
)


def virtual(
    networks: Sequence[str],
    joints: int,
    worlds: int,
    starts_each: int,
    seed: int,
    processes: int,
) -> list[str]:
    """Starts in virtual time; gives what was broken."""
    found = in_virtual_time.measure(networks, joints, worlds, starts_each, seed, processes)
    rows: list[tuple[object, ...]] = []
    unproved, broken, missed = 0, [], []
    for network, one in found.items():
        every = one.every
        unproved += every.unproved
        broken += every.broken
        missed += goals.START_SKEW_P99.missed(network, percentile(every.start_skew_us, 99))
        missed += goals.FIRST_ATTEMPT.missed(network, 100 * every.first_share)
        for when, starts in (("homed", one.homed), ("rested", one.rested), ("all", every)):
            rows.append(
                (
                    f"{network}, {when}",
                    len(starts.start_skew_us),
                    *us(starts.start_skew_us, 50, 99),
                    goals.START_SKEW_P99.text(network),
                    *us(starts.start_skew_us, 100),
                    *us(starts.start_skew_max_us, 50, 95, 100),
                    len(starts.broken),
                    *went(starts, goals.FIRST_ATTEMPT.text(network)),
                )
            )
    show(
        f"{joints} joints started together in virtual time, in µs; seeds {seed} to "
        f"{seed + worlds - 1}, {starts_each} starts each just after homing and "
        f"after {in_virtual_time.REST_US // US} s at rest",
        (
            "network", "starts", "true p50", "p99", "goal p99", "max", "bound p50", "p95", "max",
            "bound broken", "first attempt", "goal", "partial", "refused", "holds",
            "start delay p50 ms",
        ),
        rows,
        unproved_line(unproved),
        *missed,
        "The goals are the project's own, for 6 joints.",
        PROTOTYPE_STARTS,
        PUBLISHED,
    )  # fmt: skip
    _first_attempts(found)
    show(
        "Against naive ways in virtual time, on links and crystals of the same kinds: "
        "start skew in µs",
        (
            "network", "unisono p50", "p99", "max", "go now p50", "p99", "max", "ratio p99",
            "SNTP p50", "p99", "max", "ratio p99",
        ),
        [
            (
                network,
                *us(one.every.start_skew_us, 50, 99, 100),
                *_against(one.go_now_us, one.every.start_skew_us),
                *_against(one.sntp_us, one.every.start_skew_us),
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


def _first_attempts(found: Mapping[str, in_virtual_time.Found]) -> None:
    rows: list[tuple[object, ...]] = []
    for network, one in found.items():
        starts, goal = one.every, goals.FIRST_ATTEMPT
        limits = share_limits(starts.first_attempt, starts.asked)
        rows.append(
            (
                network,
                starts.asked,
                starts.first_attempt,
                share(starts.first_share),
                limits.text(" %"),
                goal.text(network),
                goal.verdict(network, 100 * starts.first_share, limits),
            )
        )
    show(
        "Starts at the first attempt, homed and rested",
        ("network", "asked for", "first attempt", "share", "95 % limits", "goal", "so"),
        rows,
        LIMITS,
    )


def guaranteed(
    networks: Sequence[str], starts: int, joints: int, seed: int, processes: int
) -> list[str]:
    """Clocks alone, over many starts; gives what was broken."""
    found = guarantee.measure(networks, starts, joints, seed, processes)
    show(
        f"The clock guarantee over starts of {joints} joints, clocks alone, in µs; "
        f"{guarantee.STARTS_A_GROUP} starts of the same joints one after another; seed {seed} on",
        (
            "network", "starts", "outside", "clock beyond", "start skew beyond", "not locked",
            "half width p50", "p95", "max", "used at most", "estimate states p95", "covers",
            "true p50", "p99", "max", "bound p95",
        ),
        [
            (
                network,
                len(one.start_skew_us),
                one.outside,
                one.beyond,
                one.broken,
                one.unlocked,
                *us(one.half_width_us, 50, 95, 100),
                share(one.used),
                *us(one.stated_us, 95),
                share(one.covered / max(1, len(one.stated_us))),
                *us(one.start_skew_us, 50, 99, 100),
                *us(one.start_skew_max_us, 95),
            )
            for network, one in found.items()
        ],
        "Outside: true offsets outside the guarantee. Clock beyond: joints' clocks off by more "
        "than their bound. Start skew beyond: true start skews above the report's bound. "
        "All must be 0.",
        f"Crystals of up to ±{SKEW_PPM + 10:.0f} ppm, as much as the drift bound allows.",
    )  # fmt: skip
    return [
        f"{network}: {one.violations} of {len(one.start_skew_us)} starts from seed {seed} on"
        for network, one in found.items()
        if one.violations
    ]


def long_plays(
    networks: Sequence[str], joints: int, worlds: int, seed: int, processes: int
) -> list[str]:
    """Holds for nothing, and where the joints rest after an outage; gives what was broken."""
    free = [outages.Case(n, joints, seed + k) for k in range(worlds) for n in networks]
    struck = [
        outages.Case(network, joints, seed + k, way, levelling)
        for k in range(worlds)
        for network in networks
        for way in outages.WAYS
        for levelling in (True, False)
    ]
    held = outages.measure(free, processes, "long plays without an outage")
    _false_holds({network: one for (network, _, _), one in held.items()}, joints)
    found = outages.measure(struck, processes, "long plays with outages")
    rows, missed = [], []
    for network in networks:
        for way in outages.WAYS:
            with_it, without = found[network, way, True], found[network, way, False]
            limits = share_limits(with_it.same, len(with_it.apart_us))
            missed += goals.SAME_PATH_TIME.missed(network, 100 * with_it.same_share, f", {way}")
            rows.append(
                (
                    f"{network}, {way}",
                    len(with_it.apart_us),
                    with_it.ridden,
                    share(with_it.same_share),
                    limits.text(" %"),
                    goals.SAME_PATH_TIME.text(network),
                    goals.SAME_PATH_TIME.verdict(network, 100 * with_it.same_share, limits),
                    *(ms(with_it.apart_us, p) for p in (50, 95, 100)),
                    len(without.apart_us),
                    share(without.same_share),
                    *(ms(without.apart_us, p) for p in (50, 95, 100)),
                )
            )
    show(
        f"Outages of {outages.LENGTH_US[0] / US} to {outages.LENGTH_US[1] / US:g} s of one joint "
        f"of {joints} in mid-motion: true path time between the joints at rest, in ms",
        (
            "network, link cut", "held", "ridden out", "same path time", "95 % limits", "goal",
            "so", "p50", "p95", "max", "no levelling: held", "same", "p50", "p95", "max",
        ),
        rows,
        *missed,
        LIMITS,
        f"Allowed is the widest window of the permit (design section 6, I3), "
        f"{WINDOW_MAX_US // 1000} ms, while a link is lost.",
        PROTOTYPE_OUTAGES,
    )  # fmt: skip
    broken = [
        sentence for one in (*held.values(), *found.values()) for sentence in one.starts.broken
    ]
    return broken + [
        f"{network}, {way}: {max(one.apart_us) / 1000:.0f} ms of path time apart"
        for (network, way, levelling), one in found.items()
        if levelling and max(one.apart_us, default=0) > WINDOW_MAX_US
    ]


def _false_holds(held: Mapping[str, outages.Held], joints: int) -> None:
    rows, missed, goal = [], [], goals.FALSE_HOLDS
    for network, one in held.items():
        limits = rate_limits(one.false_holds, one.moving_s / 60)
        missed += goal.missed(network, one.false_holds_a_minute)
        rows.append(
            (
                network,
                f"{one.moving_s / 60:.1f}",
                one.false_holds,
                f"{one.false_holds_a_minute:.3f}",
                limits.text(),
                goal.text(network),
                goal.verdict(network, one.false_holds_a_minute, limits),
            )
        )
    show(
        f"Holds for nothing: {joints} joints in motion without an outage",
        ("network", "minutes", "holds", "a minute", "95 % limits", "goal", "so"),
        rows,
        *missed,
        LIMITS,
        PROTOTYPE_HOLDS,
    )


def _against(naive: Sequence[float], ours: Sequence[float]) -> list[str]:
    return [*us(naive, 50, 99, 100), ratio(percentile(naive, 99), percentile(ours, 99))]
