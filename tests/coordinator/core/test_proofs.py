"""No report states a bound that is false once a clock behind it is known to have been wrong."""

from collections.abc import Callable
from itertools import groupby

import pytest

from coordinator.core import events as ev
from coordinator.core.link.link import JointLink
from coordinator.core.run.report import JointStart, Report, StartRecord
from coordinator.core.run.report_snapshot import report_snapshot
from coordinator.timing.clock import CONTRADICTIONS_LIMIT
from coordinator.timing.exchange import Exchange
from protocol.clockmap import ClockMap
from protocol.messages import Finished, Started
from tests.as_json import as_json
from tests.coordinator.core.kit import (
    finish,
    homed_world,
    link,
    moving,
    play,
    report_of,
    small_arm,
    unit,
    until,
)
from tests.coordinator.timing.links import Answered, over
from tests.coordinator.timing.true_clocks import TrueClock

S = 1_000_000
LEAD_US = 500_000
SETTLED_US = 400_000
"""After the start's instant: as long as a run waits for exchanges that tighten it."""


class Arm:
    """Two joints that start together each second, one by a crystal beyond its tolerance."""

    def __init__(self, rate_ppm: int, seed: int) -> None:
        self.links = [JointLink(joint, k) for k, joint in enumerate(small_arm(2).joints)]
        self.truths = [
            TrueClock(5 * S, ((0, rate_ppm),)),
            TrueClock(-7 * S, ((0, 0),)),
        ]
        self.report = Report(1, "test", tuple(link.name for link in self.links), 0)
        self.start_skew_us: list[float] = []
        """The true one of each start."""
        self.false_before = 0
        """Starts whose bound was false when the clock was found wrong."""
        self.contradictions = 0
        self._due: list[tuple[int, Callable[[int], None]]] = []
        answers = sorted(
            (
                (event.at_us, k, event.exchange)
                for k, profile in enumerate(("home", "quiet"))
                for event in over(profile, seed + k, self.truths[k], 200.0)
                if isinstance(event, Answered)
            ),
            key=lambda answer: answer[0],
        )
        self._replies = groupby(answers, key=lambda answer: answer[0] // S)

    def run_second(self) -> None:
        """Exchanges for a second, and one start of both joints if both clocks are believed."""
        second, answers = next(self._replies)
        maps: list[ClockMap] | None = None
        for at_us, k, exchange in answers:
            if maps is None and all(link.clock.locked for link in self.links):
                maps = [link.clock.make_map(1, at_us) for link in self.links]
            if maps and at_us - second * S >= LEAD_US:
                self._start(maps, second * S + LEAD_US)
                maps = []
            since = self.links[k].sync.observe(exchange, at_us)
            if since is not None:
                self.contradictions += 1
                self.false_before += self.false()
                self.report.take_back(self.links[k].name, since)
            elif at_us - second * S >= LEAD_US + SETTLED_US:
                self.report.settle(self.links)

    def _start(self, maps: list[ClockMap], at_us: int) -> None:
        joints = {one.name: JointStart(clock_epoch=one.sync.clock_epoch) for one in self.links}
        record = StartRecord(len(self.start_skew_us), 1, LEAD_US, 0, {}, at_us, 0, joints)
        began = []
        for one, clock_map, truth in zip(self.links, maps, self.truths, strict=True):
            joint_us = round(clock_map.to_joint(at_us))
            began.append(float(truth.arm(joint_us)))
            event = Started(
                trajectory=1,
                plan=record.plan,
                path_us=0,
                permission_us=joint_us - 1,
                start_us=joint_us,
            )
            record.take(one, event)
        self.report.began(record)
        self.start_skew_us.append(max(began) - min(began))

    def false(self) -> int:
        """How many starts state a bound that the truth exceeds."""
        return sum(
            start.start_skew_max_us is not None and start_skew_us > start.start_skew_max_us
            for start, start_skew_us in zip(self.report.starts, self.start_skew_us, strict=True)
        )


@pytest.mark.parametrize("rate_ppm", [150, 200, 300])
def test_crystal_that_breaks_its_tolerance_leaves_no_false_bound_once_it_is_found_out(
    rate_ppm: int,
) -> None:
    false_before = 0
    for seed in (1, 3, 5):
        arm = Arm(rate_ppm, seed)
        while not arm.contradictions:
            arm.run_second()
        assert arm.false() == 0
        false_before += arm.false_before
    # Without starts that were false until then nothing would be shown.
    assert false_before > 0


def test_clock_that_contradicts_itself_again_and_again_leaves_no_proof_of_its_joint() -> None:
    arm = Arm(2_000, 1)
    while arm.contradictions < CONTRADICTIONS_LIMIT:
        arm.run_second()
    assert len(arm.report.starts) > 0
    assert all(start.joints["base"].started_at_us is None for start in arm.report.starts)


def test_proof_that_was_confirmed_is_taken_back_from_the_report_of_a_run_that_is_over() -> None:
    world = homed_world("quiet")
    kept: list[int] = []
    poll = world.core.poll

    def noted(now: int) -> list[ev.Action]:
        actions = poll(now)
        kept.extend(action.run for action in actions if isinstance(action, ev.ReportGrew))
        return actions

    first = play(world)
    finish(world)
    second = moving(world)
    world.core.poll = noted  # type: ignore[method-assign]
    reports = world.core.reports[first], world.core.reports[second]
    assert all(report.starts[0].joints["tip"].confirmed for report in reports)
    assert set(reports[0].finished_at_us) == {"base", "middle", "tip"}
    unit(world, "tip").oscillator.step(float(world.now), 2_000_000.0)
    until(world, lambda: not link(world, "tip").clock.locked)
    for report in reports:
        shown = as_json(report_snapshot(report))["start"]
        assert (shown["start_skew_max_us"], shown["start_skew_us"]) == (None, None)
        assert shown["joints"]["tip"]["clock_uncertainty_us"] is None
        assert shown["joints"]["base"]["started_at_us"] is not None
    assert set(reports[0].finished_at_us) == {"base", "middle"}
    assert kept.count(first) == 1
    assert second in kept
    (note,) = [note for note in world.notes if note.code == "proof-taken-back"]
    assert note.message == (
        "tip: its clock was found wrong; 2 starts that counted as proved by it do not any more"
    )


def test_proof_taken_back_does_not_come_again_with_the_clock_that_is_found_anew() -> None:
    world = homed_world("quiet")
    moving(world)
    unit(world, "tip").oscillator.step(float(world.now), 2_000_000.0)
    until(world, lambda: not link(world, "tip").clock.locked)
    until(world, lambda: link(world, "tip").clock.locked)
    report_of(world).settle(world.core.links)
    assert report_of(world).starts[0].start_skew_max_us is None


def test_finish_that_is_told_after_the_clock_was_found_anew_is_not_made_up() -> None:
    world = homed_world("quiet")
    moving(world)
    report, tip = report_of(world), link(world, "tip")
    told = Finished(trajectory=1, at_us=round(unit(world, "tip").joint_us(world.now)), position=0)
    report.finished(tip, told)
    assert "tip" in report.finished_at_us
    unit(world, "tip").oscillator.step(float(world.now), 2_000_000.0)
    until(world, lambda: not tip.clock.locked)
    assert "tip" not in report.finished_at_us
    until(world, lambda: tip.clock.locked)
    report.finished(tip, told)
    assert "tip" not in report.finished_at_us


def test_boot_that_ends_a_clock_takes_nothing_back_that_was_confirmed() -> None:
    world = homed_world("quiet")
    play(world)
    finish(world)
    before = as_json(report_snapshot(report_of(world)))
    world.kill_joint("tip")
    world.restart_joint("tip")
    until(world, lambda: link(world, "tip").clock.locked)
    assert as_json(report_snapshot(report_of(world))) == before


@pytest.mark.parametrize("part_us", [-0.5, -0.499, 0.0, 0.499, 0.5])
def test_bound_holds_for_an_instant_that_a_joint_could_only_tell_in_whole_microseconds(
    part_us: float,
) -> None:
    record = StartRecord(1, 1, LEAD_US, 0, {}, S, 0)
    truth_us = {}
    for one, part in zip(Arm(0, 1).links, (part_us, -part_us), strict=True):
        for at_us in range(0, 2 * S, 40_000):
            # On a link without any delay nothing is left between the limits.
            assert one.sync.observe(Exchange(at_us, at_us, at_us, at_us), at_us) is None
        record.joints[one.name] = JointStart(clock_epoch=one.sync.clock_epoch)
        truth_us[one.name] = S + part
        event = Started(
            trajectory=1, plan=1, path_us=0, permission_us=0, start_us=round(truth_us[one.name])
        )
        record.take(one, event)
        entry = record.joints[one.name]
        assert entry.earliest_us is not None
        assert entry.latest_us is not None
        assert entry.earliest_us <= truth_us[one.name] <= entry.latest_us
    assert record.start_skew_max_us is not None
    assert max(truth_us.values()) - min(truth_us.values()) <= record.start_skew_max_us
