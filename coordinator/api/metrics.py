"""Figures for a monitoring system, in the Prometheus text format, in base units.

What is not known is left out, never zero: of a joint that is offline, all it would have to say.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import Final

from fastapi import Response
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4
from prometheus_client.registry import Collector

from coordinator.api.live_feed import LiveFeed
from coordinator.codes.link_word import LinkWord
from coordinator.codes.outcome import Outcome
from coordinator.core.snapshot.joint import JointSnapshot
from coordinator.records.counts import RunCounts
from coordinator.service import Service

OUTCOMES: Final = tuple(outcome for outcome in Outcome if outcome.is_over)
"""Of runs that are over; all are told from the beginning, so that a first one is a rise."""
_Value = Callable[[JointSnapshot], float | None]


def _seconds(us: float | None) -> float | None:
    return None if us is None else us * 1e-6


_SAID: Final[dict[str, tuple[str, _Value]]] = {
    "temperature_celsius": ("Temperature at its driver.", lambda joint: joint.temperature_c),
    "supply_volts": ("Supply as the joint measures it.", lambda joint: joint.supply_v),
    "homed": ("Whether it knows where it is.", lambda joint: joint.homed),
    "loss_ratio": ("Share of the last exchanges that were lost.", lambda joint: joint.loss),
    "rtt_p50_seconds": (
        "Median round trip of the last exchanges.",
        lambda joint: _seconds(joint.rtt_p50_us),
    ),
    "rtt_p99_seconds": (
        "99th percentile of the round trip of the last exchanges.",
        lambda joint: _seconds(joint.rtt_p99_us),
    ),
    "clock_uncertainty_seconds": (
        "What the error of its clock map cannot exceed.",
        lambda joint: _seconds(joint.clock.uncertainty_us),
    ),
}
"""Of joints that are heard: help and value by name."""


class Metrics(Collector):
    """The figures of one service, taken when they are asked for."""

    def __init__(self, service: Service, feed: LiveFeed) -> None:
        self._service = service
        self._feed = feed
        self._registry = CollectorRegistry()
        self._registry.register(self)

    def response(self) -> Response:
        """All figures now."""
        return Response(generate_latest(self._registry), media_type=CONTENT_TYPE_PLAIN_0_0_4)

    def describe(self) -> Iterator[Metric]:
        """Nothing: registering asks the service nothing."""
        yield from ()

    def collect(self) -> Iterator[Metric]:
        """Give every figure to the registry."""
        yield from _joints(self._service.snapshot().joints)
        yield from _runs(self._service.run_counts)
        for name, help_text, value in (
            ("watchers", "Clients that follow the live feed.", self._feed.watchers),
            ("loop_lag_seconds", "How late the event loop came last.", self._feed.lag_s),
        ):
            yield GaugeMetricFamily(f"unisono_{name}", help_text, value=value)


def _joints(joints: Sequence[JointSnapshot]) -> Iterator[Metric]:
    up = GaugeMetricFamily(
        "unisono_joint_link_up", "Whether it is heard and its stream stands.", labels=["joint"]
    )
    for joint in joints:
        up.add_metric([joint.name], joint.link is LinkWord.UP)
    yield up
    heard = [one for one in joints if one.link is not LinkWord.OFFLINE]
    for name, (help_text, value) in _SAID.items():
        family = GaugeMetricFamily(f"unisono_joint_{name}", help_text, labels=["joint"])
        for joint in heard:
            found = value(joint)
            if found is not None:
                family.add_metric([joint.name], found)
        yield family


def _runs(counts: RunCounts) -> Iterator[Metric]:
    runs = CounterMetricFamily(
        "unisono_runs", "Runs that are over, by outcome.", labels=["outcome"]
    )
    for outcome in OUTCOMES:
        runs.add_metric([outcome], counts.ended[outcome])
    yield runs
    for name, help_text, count in (
        ("starts", "Starts and resumes that every joint confirmed.", counts.starts),
        ("partial_starts", "Starts in which some joints began alone.", counts.partial_starts),
        ("holds", "Holds after which all joints rested.", counts.holds),
    ):
        yield CounterMetricFamily(f"unisono_{name}", help_text, value=count)
