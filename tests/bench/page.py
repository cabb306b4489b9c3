"""The tables of the page: how soon it shows what is true and its Stop brakes, and what it costs."""

from collections.abc import Sequence

from tests.bench import page_arm
from tests.bench.figures import percentile, ratio, share, show, tenths_ms

WATCHERS = (0, 1, 20)


def table(networks: Sequence[str], joints: int, stops: int, seed: int) -> None:
    """Measure the page before software joints, and print it."""
    _shown(networks, joints, stops, seed)
    _cpu(joints, seed)


def _shown(networks: Sequence[str], joints: int, stops: int, seed: int) -> None:
    fed, stopped = [], []
    for network in networks:
        found = page_arm.shown(network, joints, stops, seed)
        fed.append(
            (
                network,
                len(found.start_us),
                *tenths_ms(found.start_us, 50, 95, 100),
                len(found.rest_us),
                *tenths_ms(found.rest_us, 50, 95, 100),
                found.unseen,
                *tenths_ms(found.error_us, 100),
            )
        )
        stopped.append(
            (
                network,
                len(found.stop_us),
                *tenths_ms(found.stop_us, 50, 99),
                *tenths_ms(found.rtt_us, 50),
                ratio(percentile(found.stop_us, 50), percentile(found.rtt_us, 50)),
                found.tries,
            )
        )
    show(
        f"From a joint's true change until its lane in the page says so, {joints} joints, ms",
        (
            "network", "starts", "p50", "p95", "max", "rests", "p50", "p95", "max", "not shown",
            "clock error max",
        ),
        fed,
        "Rests are those after a stop. The joints of one stop are shown together: by turns, not "
        "changes, these are as few as the stops. The change of the document counts, not the light.",
    )  # fmt: skip
    show(
        f"From a click on Stop in the page until the last of {joints} joints braked, ms",
        ("network", "stops", "p50", "p99", "link's round trip p50", "ratio of p50", "tried again"),
        stopped,
        "When a joint braked follows from the true instant of its rest, its speed and its limit.",
    )


def _cpu(joints: int, seed: int) -> None:
    found = page_arm.cpu_by_watchers(WATCHERS, joints, seed)
    show(
        f"The coordinator's processor time while {joints} joints move, share of one core",
        ("watchers", "share", "ratio"),
        [(count, share(cpu), ratio(cpu, found[WATCHERS[0]])) for count, cpu in found.items()],
    )
