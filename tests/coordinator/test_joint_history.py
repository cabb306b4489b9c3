"""What joints are is sampled, written in batches, and told; a disk that fails loses none of it."""

import asyncio
import logging
import sqlite3
import threading
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.answers.joint_history import JointHistory
from coordinator.codes.level import Level
from coordinator.codes.sensor_state import SensorState
from coordinator.config.joint import Joint
from coordinator.core.link.link import JointLink
from coordinator.health.supply_chain import SupplyChain
from coordinator.history.cells import Cell
from coordinator.history.collector import MOST_WAITING
from coordinator.history.levels import LEVELS, Look
from coordinator.records import joint_history as keeping
from coordinator.records.history_answer import history_of
from coordinator.records.joint_history import BATCH, HistoryKeeper
from coordinator.store import Store, StoreError, joint_history
from coordinator.store.utc import utc_of
from protocol.states import JointState
from protocol.status import Status
from tests.coordinator.core.kit import small_arm

S = 1_000_000
HOUR_S = 3_600
BEGAN_S = 1_780_000_000 // HOUR_S * HOUR_S


class Sampled:
    """A keeper and two joints, of which only the tip answers unless told otherwise."""

    def __init__(self, store: Store) -> None:
        arm = small_arm()
        self.links = [JointLink(joint, k) for k, joint in enumerate(arm.joints)]
        self.tip = self.links[-1]
        self.tip.health.sensor.state = SensorState.SOUND
        self.now_us, self.now_s = S, BEGAN_S
        self.told: list[tuple[Level, str, str]] = []
        self.planned: int | None = None
        self.keeper = HistoryKeeper(
            store,
            self.links,
            SupplyChain(arm),
            lambda _link: self.planned,
            lambda: self.now_us,
            lambda *told: self.told.append(told),
        )
        self.status = Status(boot=1, sequence=0, state=JointState.MOVING, homed=True)

    def second(self, deg: float = 0.0, celsius: float | None = 40.0, *, heard: bool = True) -> None:
        """A second passes, in which the tip answers five times, turning to an angle."""
        begin = self.status.position
        end = self.tip.joint.to_counts(deg)
        for fifth in range(1, 6):
            self.now_us += S // 5
            if heard:
                self.status = replace(
                    self.status,
                    sequence=self.status.sequence + 1,
                    position=begin + (end - begin) * fifth // 5,
                    temperature_centi_c=None if celsius is None else round(celsius * 100),
                    supply_mv=24_000,
                )
                self.tip.replied(self.status, self.now_us)
                self.keeper.replied(self.tip.id)
        self.now_s += 1
        self.keeper.sample(self.now_us, self.now_s)


@pytest.fixture(name="sampled")
async def sampled_joints(tmp_path: Path) -> Sampled:
    return Sampled(Store(tmp_path))


def store_of(sampled: Sampled) -> Store:
    return sampled.keeper._store


def writes(sampled: Sampled) -> list[asyncio.Future[None]]:
    """What the disk is busy with."""
    writing = sampled.keeper._writing
    return [] if writing is None else [writing]


async def test_what_a_joint_was_is_told_in_its_units_with_what_it_did(sampled: Sampled) -> None:
    for second in range(20):
        sampled.second(deg=float(second % 2), celsius=70.5 if second == 7 else 40.0)
    await sampled.keeper.close()
    told = await sampled.keeper.history("tip", BEGAN_S, BEGAN_S + HOUR_S, 2, BEGAN_S + HOUR_S)
    assert told.stretch_s == 1800
    assert told.start_s == (BEGAN_S,)
    assert told.from_utc.startswith("2026-")
    warm, volts = told.temperature_c, told.supply_v
    assert (warm.min, warm.max, warm.count) == ((40.0,), (70.5,), (20,))
    assert warm.mean == (41.525,)
    assert volts.mean == (24.0,)
    assert told.clock_uncertainty_us.max == (None,)  # nothing is known of its clock
    assert told.reversals == (18,)
    assert told.distance_deg[0] == pytest.approx(19.0, abs=0.3)
    assert told.on_s[0] == pytest.approx(19.8)
    assert told.moving_s[0] == pytest.approx(19.0)
    assert told.temperature_limit_c == 58.0
    await store_of(sampled).close()


async def test_every_status_on_a_path_counts_for_the_position_error_and_none_off_it(
    sampled: Sampled,
) -> None:
    sampled.second(deg=1.0)
    sampled.planned = sampled.tip.joint.to_counts(1.0)
    sampled.second(deg=1.0)
    sampled.second(deg=1.5)
    sampled.planned = None
    sampled.second(deg=9.0)
    sampled.keeper.replied(sampled.tip.id)  # what is known already
    await sampled.keeper.close()
    told = await sampled.keeper.history("tip", BEGAN_S, BEGAN_S + 60, 60, BEGAN_S + 60)
    error = told.position_error_deg
    assert error.count == (0, 5, 5, 0)
    assert error.min[1:3] == pytest.approx((0.0, 0.1), abs=0.01)
    assert error.max[1:3] == pytest.approx((0.0, 0.5), abs=0.01)
    assert error.mean[1:3] == pytest.approx((0.0, 0.3), abs=0.01)
    await store_of(sampled).close()


async def test_an_answer_is_made_where_it_is_read_and_not_by_the_loop(
    sampled: Sampled, monkeypatch: pytest.MonkeyPatch
) -> None:
    made_by: list[threading.Thread] = []

    def noted(joint: Joint, look: Look, found: Sequence[tuple[int, Cell]]) -> JointHistory:
        made_by.append(threading.current_thread())
        return history_of(joint, look, found)

    monkeypatch.setattr(keeping, "history_of", noted)
    sampled.second()
    await sampled.keeper.close()
    await sampled.keeper.history("tip", BEGAN_S, BEGAN_S + 60, 60, BEGAN_S + 60)
    assert [one is threading.current_thread() for one in made_by] == [False]
    await store_of(sampled).close()


async def test_of_a_joint_that_is_not_heard_nothing_is_kept(sampled: Sampled) -> None:
    sampled.second()
    for _ in range(4):
        sampled.second(heard=False)
    await sampled.keeper.close()
    told = await sampled.keeper.history("tip", BEGAN_S, BEGAN_S + 60, 60, BEGAN_S + 60)
    assert told.start_s == (BEGAN_S + 1, BEGAN_S + 2)  # it counts as heard for a second
    never = await sampled.keeper.history("base", BEGAN_S, BEGAN_S + 60, 60, BEGAN_S + 60)
    assert never.start_s == ()
    wear = await sampled.keeper.wear("base", BEGAN_S)
    assert (wear.since_utc, wear.on_s, wear.starts) == (None, 0.0, 0)
    await store_of(sampled).close()


async def test_a_temperature_that_cannot_be_believed_is_none(sampled: Sampled) -> None:
    sampled.second()
    sampled.tip.health.sensor.trouble = "it jumped"
    sampled.second(celsius=99.0)
    await sampled.keeper.close()
    told = await sampled.keeper.history("tip", BEGAN_S, BEGAN_S + 60, 60, BEGAN_S + 60)
    assert told.temperature_c.max == (40.0, None)
    assert told.supply_v.max == (24.0, 24.0)
    await store_of(sampled).close()


async def test_an_impossible_reading_after_a_sound_one_is_no_temperature(sampled: Sampled) -> None:
    sampled.second()
    sampled.tip.health.sensor.observe(40.0, sampled.now_us)
    sampled.second(celsius=279.9)  # it was not looked at yet
    sampled.second(celsius=40.1)
    await sampled.keeper.close()
    told = await sampled.keeper.history("tip", BEGAN_S, BEGAN_S + 60, 60, BEGAN_S + 60)
    assert told.temperature_c.max == (40.0, None, 40.1)
    await store_of(sampled).close()


async def test_samples_are_written_in_batches_and_what_was_done_outlives_coordinators(
    sampled: Sampled, tmp_path: Path
) -> None:
    for second in range(BATCH - 1):
        sampled.second(deg=float(second))
    assert not writes(sampled)
    sampled.second()
    await asyncio.gather(*writes(sampled))
    before = await sampled.keeper.wear("tip", BEGAN_S)
    await store_of(sampled).close()
    again = Sampled(Store(tmp_path))
    for second in range(BATCH):
        again.second(deg=float(second))
    await again.keeper.close()
    after = await again.keeper.wear("tip", BEGAN_S)
    assert after.since_utc == before.since_utc
    assert before.distance_deg > 0
    assert after.distance_deg > before.distance_deg
    assert after.on_s > before.on_s
    await store_of(again).close()


async def test_what_the_disk_does_not_take_is_written_later_and_said_once(
    sampled: Sampled, caplog: pytest.LogCaptureFixture
) -> None:
    store = store_of(sampled)
    soon = "PRAGMA busy_timeout = 1"
    await store.write(lambda connection: connection.exec_driver_sql(soon).close())
    with closing(sqlite3.connect(str(store.place), isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        for _ in range(3):
            for _ in range(BATCH):
                sampled.second()
            (writing,) = writes(sampled)
            with pytest.raises(StoreError, match="another program keeps it locked"):
                await writing
        other.execute("ROLLBACK")
    await sampled.keeper.close()
    told = [one.message for one in caplog.records if one.levelno >= logging.ERROR]
    assert len(told) == 1
    assert "the joints' history is not kept" in told[0]
    found = await sampled.keeper.history("tip", BEGAN_S, BEGAN_S + 60, 60, BEGAN_S + 60)
    assert found.temperature_c.count == (1,) * 30
    await store.close()


async def test_while_a_write_hangs_no_more_waits_than_may_and_the_gap_is_told_once(
    sampled: Sampled, caplog: pytest.LogCaptureFixture
) -> None:
    store = store_of(sampled)
    with closing(sqlite3.connect(str(store.place), isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        for _ in range(BATCH + MOST_WAITING + 40):
            sampled.second()
        (hanging,) = writes(sampled)
        assert not hanging.done()
        assert sampled.told == []
        other.execute("ROLLBACK")
    await hanging
    for _ in range(BATCH):
        sampled.second()
    await sampled.keeper.close()
    lost = BEGAN_S + BATCH + 1
    words = (
        "the disk did not take all in time: of some joints some of what they were between "
        f"{utc_of(lost)} and {utc_of(lost + 40)} is known less finely, or not at all"
    )
    assert sampled.told == [(Level.ATTENTION, "history-gap", words)]
    errors = [one.message for one in caplog.records if one.levelno >= logging.ERROR]
    assert errors == ["the disk takes nothing: the oldest of the joints' history is given up"]
    to_s = BEGAN_S + 2 * MOST_WAITING
    found = await sampled.keeper.history("tip", BEGAN_S, to_s, 1_200, to_s)
    assert len(found.start_s) == 2 * BATCH + MOST_WAITING
    assert found.start_s[BATCH - 1 : BATCH + 1] == (lost - 1, lost + 40)
    wear = await sampled.keeper.wear("tip", BEGAN_S)
    assert wear.on_s == pytest.approx(2 * BATCH + MOST_WAITING + 40 - 0.2)
    await store.close()


async def test_with_each_batch_what_is_old_of_one_joint_is_forgotten_in_turn(
    sampled: Sampled,
) -> None:
    for _ in range(BATCH):
        sampled.second()
    await asyncio.gather(*writes(sampled))
    sampled.now_s += 100 * 24 * HOUR_S
    look = Look(LEVELS[0], 1, BEGAN_S, BEGAN_S + 60)
    left = []
    for _ in sampled.links:
        for _ in range(BATCH):
            sampled.second()
        await asyncio.gather(*writes(sampled))
        found = await store_of(sampled).read(
            lambda connection: joint_history.stretches(connection, "tip", look)
        )
        left.append(len(found))
    assert (left[0], left[-1]) == (BATCH, 0)
    told = await sampled.keeper.wear("tip", BEGAN_S)
    assert told.on_s > 4 * BATCH * 0.9
    await store_of(sampled).close()


async def test_a_sample_a_second_is_taken_until_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(keeping, "SAMPLE_S", 0.001)
    sampled = Sampled(Store(tmp_path))
    sampled.second()
    before = sampled.keeper._samples
    sampled.keeper.begin()
    while sampled.keeper._samples == before:
        await asyncio.sleep(0)
    await sampled.keeper.close()
    assert sampled.keeper._timer is not None
    assert sampled.keeper._timer.cancelled()
    await store_of(sampled).close()
