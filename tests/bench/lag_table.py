"""The tables of the lag: from a hand to true motion, and from letting go to standing still."""

from collections.abc import Mapping, Sequence

from coordinator.config.jog_speeds import USUAL
from tests.bench import goals, lag
from tests.bench.figures import percentile, ratio, show, tenths_ms
from tests.bench.limits import share_limits
from tests.quick_arm import ACCELERATION_DEG_S2, VELOCITY_DEG_S

Row = tuple[object, ...]


def table(networks: Sequence[str], joints: int, presses: int, seed: int) -> None:
    """How late joints obey hands, and how late they let go."""
    begun: list[Row] = []
    stood: list[Row] = []
    for network in networks:
        found = lag.lags(network, joints, presses, seed)
        begun += begun_rows(network, found)
        stood += stood_rows(network, found)
    show(
        f"From a press to true motion, {joints} joints, ms",
        (
            "network", "hand", "presses", "p50", "p95", "max", "link's round trip p50",
            "ratio of p50", "within 50 ms and it", "95 % limits", "goal", "so", "nothing moved",
        ),
        begun,
        "Motion begins as the joint begins to accelerate. That p95 is at most 50 ms and the round "
        "trip is that 95 % are within; presses that moved nothing are not.",
        "Half of people notice a lag of 54 ms; their thresholds are 34 to 137 ms (Forch et al. "
        "2017). touch: a detent of the joint's own control while the arm rests; turned on: one "
        "more just after.",
    )  # fmt: skip
    show(
        "From letting go to standing still, ms",
        (
            "network", "hand", "let go", "p50", "p95", "max", "of it braking",
            "link's round trip p50", "ratio of the rest's p50", "stood before", "clock error max",
        ),
        stood,
        "Braking is what the joint needs at its limit from the speed of a jog. A detent is a step: "
        "nobody lets go of it. The page's clock is set against the raw one before each press.",
    )  # fmt: skip


def begun_rows(network: str, found: Mapping[str, lag.Lags]) -> list[Row]:
    """From a press to motion, a row for each hand."""
    rows: list[Row] = []
    for hand, lags in found.items():
        rtt_us = percentile(lags.rtt_us, 50)
        within, of = lags.within(goals.HAND_SPARE_US + rtt_us), len(lags.begin_us) + lags.unmoved
        limits = share_limits(within, of)
        share = 100 * within / of if of else float("nan")
        has_goal = network in goals.HAND_LAG.by_network
        rows.append(
            (
                network,
                hand,
                of,
                *tenths_ms(lags.begin_us, 50, 95, 100),
                *tenths_ms([rtt_us], 50),
                ratio(percentile(lags.begin_us, 50), rtt_us),
                f"{share:.1f} %" if of else "–",
                limits.text(" %"),
                goals.HAND_LAG.text(network) if has_goal else "–",
                goals.HAND_LAG.verdict(network, share, limits) if has_goal else "–",
                lags.unmoved,
            )
        )
    return rows


def stood_rows(network: str, found: Mapping[str, lag.Lags]) -> list[Row]:
    """From letting go to standing still, a row for each hand that can be let go."""
    braking_us = 1e6 * USUAL.of(VELOCITY_DEG_S).normal / ACCELERATION_DEG_S2
    return [
        (
            network,
            hand,
            len(lags.stand_us),
            *tenths_ms(lags.stand_us, 50, 95, 100),
            *tenths_ms([braking_us], 50),
            *tenths_ms(lags.rtt_us, 50),
            ratio(percentile(lags.stand_us, 50) - braking_us, percentile(lags.rtt_us, 50)),
            lags.early,
            *tenths_ms(lags.error_us, 100),
        )
        for hand, lags in found.items()
        if lags.stand_us or lags.early
    ]
