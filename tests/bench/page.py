"""The tables of the page: how soon it shows what is true and its Stop brakes, and what it costs."""

from collections.abc import Sequence

from tests.bench import goals, page_arm, page_canned, page_memory, page_paint
from tests.bench.figures import percentile, ratio, share, show, tenths_ms

WATCHERS = (0, 1, 20)
LANES = (6, 24)
FIRST_MINUTE = 1
"""Of feed: what is kept for minutes is not filled yet, but all is loaded and has run."""
FILLED_MINUTE = 11
"""After which nothing that is kept for a time should grow any more; temperatures have 10 min."""
MIB = 2**20


def cost(joints: int, frame_s: float, minutes: int, seed: int) -> None:
    """What the page costs: the coordinator, who looks at it, and both over an hour."""
    _cpu(joints, seed)
    _frames(frame_s)
    _memory(joints, minutes)


def soon(networks: Sequence[str], joints: int, stops: int, seed: int) -> None:
    """How soon the page shows what software joints do, and how soon its Stop brakes them."""
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


def paint(joints: int, presses: int, seed: int) -> None:
    """How soon the page paints what a press on it changes."""
    rows = []
    for view, found in page_paint.paints(joints, presses, seed).items():
        inp_us = percentile(found.paint_us, 98)
        rows.append(
            (
                view,
                len(found.paint_us),
                *tenths_ms(found.paint_us, 50, 98),
                f"≤ {goals.INP_US / 1000:g}",
                "met" if inp_us <= goals.INP_US else "missed",
                *tenths_ms(found.paint_us, 100),
                found.slowest or "–",
                found.unreached,
            )
        )
    show(
        f"From a press on the page to its next paint, {joints} joints, quiet, ms",
        ("view", "presses", "p50", "p98", "goal", "so", "max", "of", "not reached"),
        rows,
        "By the browser's Event Timing (W3C), in steps of 8 ms; 16.0 is 16 or less. Any control by "
        "mouse and key, but for motors off, home and play; Hold and Stop only while the arm rests.",
    )


def _cpu(joints: int, seed: int) -> None:
    found = page_arm.cpu_by_watchers(WATCHERS, joints, seed)
    show(
        f"The coordinator's processor time while {joints} joints move, share of one core",
        ("watchers", "share", "ratio"),
        [(count, share(cpu), ratio(cpu, found[WATCHERS[0]])) for count, cpu in found.items()],
    )


def _frames(seconds: float) -> None:
    rows = []
    for lanes in LANES:
        found = page_canned.frames(lanes, seconds)
        rows.append(
            (
                lanes,
                len(found.interval_us),
                *tenths_ms(found.interval_us, 50, 95, 100),
                *tenths_ms([found.script_us], 50),
                *tenths_ms([found.task_us], 50),
            )
        )
    show(
        "Animation frames of the page while the arm moves, feed made up, 1280 by 800 pixels, ms",
        ("lanes", "frames", "interval p50", "p95", "max", "scripts per frame", "main thread"),
        rows,
        "Scripts draw the strips and take in the feed; the main thread has style, layout and paint "
        "too. Pixels are made by the processor here, as this Chromium has no graphics card.",
    )


def _memory(joints: int, minutes: int) -> None:
    at = tuple(sorted({FIRST_MINUTE, min(FILLED_MINUTE, minutes), minutes}))
    heaps = page_canned.heap_bytes(LANES[0], at)
    resident = page_memory.resident_bytes(joints, at)
    show(
        f"Memory in MiB after so much feed: the page's heap with {LANES[0]} lanes, and core and "
        f"feed with {joints} joints in virtual time",
        ("minutes of feed", "heap", "taken in within s", "core, feed and joints, resident"),
        [
            (minute, f"{heap / MIB:.2f}", f"{took_s:.0f}", f"{bytes_ / MIB:.1f}")
            for minute, (heap, took_s), bytes_ in zip(at, heaps, resident, strict=True)
        ],
        "The heap is that in use, without garbage.",
    )
