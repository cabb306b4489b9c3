"""Homings are kept as they go, each state once, and told after their coordinator's end."""

import asyncio
import logging
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest

from coordinator.config.joint import Joint
from coordinator.core.homing import (
    FoundEdge,
    HomingSequence,
    HomingSnapshot,
    HomingState,
    JointHoming,
)
from coordinator.records.homings import HomingKeeper
from coordinator.store import Store, StoreError
from tests.as_json import as_json
from tests.coordinator.core.kit import small_arm


class Sequence:
    """What a keeper sees of a homing; the real ones are in tests/coordinator/core."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.state = HomingState.RUNNING
        self.results: dict[str, JointHoming] = {}
        self.asked: tuple[str, ...] = ("tip",)

    def snapshot(self) -> HomingSnapshot:
        return HomingSnapshot(self.number, self.state, "", None, self.asked, dict(self.results))


def found_at(*positions: int) -> JointHoming:
    """What was found of a joint, with edges at these positions."""
    return JointHoming(tuple(FoundEdge(one, True, False, 0.5) for one in positions), 0, 0.0)


def named(joint: str) -> Joint:
    """A joint of that name."""
    return replace(small_arm(1).joints[0], name=joint)


def keeper_of(store: Store, *live: Sequence) -> HomingKeeper:
    return HomingKeeper(store, {one.number: cast("HomingSequence", one) for one in live})


async def test_homing_is_kept_with_every_joint_and_its_end(tmp_path: Path) -> None:
    store, homing = Store(tmp_path), Sequence(1)
    keeper = keeper_of(store, homing)
    keeper.look(None)
    tip, base = found_at(1, 2), found_at(3)
    steps: tuple[dict[str, JointHoming], ...] = ({}, {}, {"tip": tip}, {"tip": tip, "base": base})
    for results in steps:
        homing.results = dict(results)
        keeper.look(cast("HomingSequence", homing))
    homing.state = HomingState.DONE
    for _ in range(2):
        keeper.look(cast("HomingSequence", homing))
    assert as_json(await keeper.homing(1)) == as_json(homing.snapshot())
    await store.close()
    store = Store(tmp_path)
    assert store.last_homing == 1
    assert await keeper_of(store).homing(1) == as_json(homing.snapshot())
    assert await keeper_of(store).homing(2) is None
    await store.close()


async def test_the_newest_homing_of_a_joint_is_known_to_every_later_coordinator(
    tmp_path: Path,
) -> None:
    store = Store(tmp_path)
    found: tuple[dict[str, JointHoming], ...] = (
        {"tip": found_at(1), "base": found_at(2)}, {"tip": found_at(3)}, {},
    )  # fmt: skip
    sequences = [Sequence(number) for number in (1, 2, 3)]
    keeper = keeper_of(store, *sequences)
    for homing, results in zip(sequences, found, strict=True):
        homing.results = dict(results)
        homing.state = HomingState.DONE
        keeper.look(cast("HomingSequence", homing))

    async def newest(keeper: HomingKeeper) -> list[Any]:
        return [as_json(await keeper.newest_of(name)) for name in ("tip", "base", "middle")]

    known = [
        {"homing": 2, **as_json(found_at(3))}, {"homing": 1, **as_json(found_at(2))}, None,
    ]  # fmt: skip
    assert await newest(keeper) == known
    await store.close()
    store = Store(tmp_path)
    assert await newest(keeper_of(store)) == known

    # A row that is no JSON, or of no homing, keeps nobody from asking for the others.
    for number, bad in ((9, "{"), (8, '{"joints": {"tip": {}}}'), (7, '{"number": 1}')):
        await store.write(
            lambda connection, row=(number, bad): connection.exec_driver_sql(  # type: ignore[misc]
                "INSERT INTO homings (number, state, began_utc, result) VALUES (?, 'done', '', ?)",
                row,
            )
        )
    assert await newest(keeper_of(store)) == known
    await store.close()


async def test_homing_goes_on_when_the_disk_does_not(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    store, homing = Store(tmp_path), Sequence(1)
    await store.close()
    keeper = keeper_of(store, homing)
    with caplog.at_level(logging.ERROR):
        keeper.look(cast("HomingSequence", homing))
        await asyncio.sleep(0)
        await asyncio.sleep(0)
    assert "homing 1 is not kept" in caplog.text
    assert as_json(await keeper.homing(1)) == as_json(homing.snapshot())


async def test_what_is_not_written_counts_as_written_by_no_older_writing_that_ends_later(
    tmp_path: Path,
) -> None:
    store, homing = Store(tmp_path), Sequence(1)
    keeper = keeper_of(store, homing)
    loop = asyncio.get_running_loop()
    older: asyncio.Future[None] = loop.create_future()
    newer: asyncio.Future[None] = loop.create_future()
    writings = iter((older, newer))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store, "write", lambda _work: next(writings))
        keeper.look(cast("HomingSequence", homing))
        homing.state = HomingState.DONE
        keeper.look(cast("HomingSequence", homing))
        newer.set_exception(StoreError("the disk is full"))
        older.set_result(None)
        await asyncio.sleep(0)
        await asyncio.sleep(0)
    await keeper.close()
    await store.close()
    store = Store(tmp_path)
    assert await keeper_of(store).homing(1) == as_json(homing.snapshot())
    await store.close()


async def test_homing_whose_end_the_disk_did_not_take_is_written_at_the_end(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    store, homing = Store(tmp_path), Sequence(1)
    keeper = keeper_of(store, homing)
    keeper.look(cast("HomingSequence", homing))
    await keeper.homing(2)
    with pytest.MonkeyPatch.context() as patch, caplog.at_level(logging.ERROR):
        failed: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        failed.set_exception(StoreError("the disk is full"))
        patch.setattr(store, "write", lambda _work: failed)
        homing.state = HomingState.DONE
        keeper.look(cast("HomingSequence", homing))
        await asyncio.sleep(0)
    assert "homing 1 is not kept: the disk is full" in caplog.text
    await keeper.close()
    await store.close()
    store = Store(tmp_path)
    assert await keeper_of(store).homing(1) == as_json(homing.snapshot())
    await store.close()


async def test_the_width_of_a_home_sensor_is_that_between_its_slow_edges(tmp_path: Path) -> None:
    store, homing = Store(tmp_path), Sequence(1)
    edges = (
        FoundEdge(900, True, True, -1.9), FoundEdge(1_000, True, False, -1.5),
        FoundEdge(1_300, False, False, 1.5), FoundEdge(1_290, True, True, 1.4),
    )  # fmt: skip
    homing.results = {"tip": JointHoming(edges, 1_150, 0.0), "base": found_at(3)}
    found = await keeper_of(store, homing).half_widths_deg(("base", "middle", "tip"))
    assert found == {"tip": 1.5}
    await store.close()


async def test_what_a_joints_home_was_is_told_homing_after_homing(tmp_path: Path) -> None:
    store = Store(tmp_path)
    found: tuple[dict[str, JointHoming], ...] = (
        {"tip": found_at(1), "base": found_at(2)},
        {"tip": replace(found_at(3), shift_deg=0.25, temperature_c=31.5)},
        {"base": found_at(4)},  # the tip's report got lost
        {"tip": replace(found_at(5), shift_deg=0.5)},
        {"tip": replace(found_at(5), shift_deg=0.125)},
    )
    for number, results in enumerate(found, 1):
        homing = Sequence(number)
        homing.results, homing.state = results, HomingState.DONE
        keeper_of(store, homing).look(cast("HomingSequence", homing))
    bad = "INSERT INTO homings (number, state, began_utc, result) VALUES (?, 'done', '', ?)"
    rows = (6, "{"), (7, '{"number": 7, "joints": {"tip": {"edges": 4}}}'), (8, "null")
    for row in rows:
        await store.write(lambda connection, row=row: connection.exec_driver_sql(bad, row))  # type: ignore[misc]
    told = await keeper_of(store).of_joint(named("tip"))
    assert [
        (one.homing, one.reference, one.since_reference_deg, one.shift_deg) for one in told.homings
    ] == [(1, 1, 0.0, None), (2, 1, 0.25, 0.25), (4, 4, 0.0, 0.5), (5, 4, 0.125, 0.125)]
    assert [one.temperature_c for one in told.homings] == [None, 31.5, None, None]
    assert all(one.utc for one in told.homings)
    assert told.rising_deviation_deg.value is None
    never = await keeper_of(store).of_joint(named("middle"))
    assert never.homings == ()
    await store.close()


async def keep(store: Store, *found: dict[str, JointHoming], first: int = 1) -> None:
    """Homings of these numbers on, as they were found, of coordinators before."""
    for number, results in enumerate(found, first):
        homing = Sequence(number)
        homing.results, homing.state = results, HomingState.DONE
        homing.asked = tuple(results) or homing.asked
        keeper = keeper_of(store, homing)
        keeper.look(cast("HomingSequence", homing))
        await keeper.close()


OF_TIP: dict[str, Any] = {"controller": "0a1b2c3d4e5f", "figures": "100 counts/°"}


def since(reference: int, since_deg: float, **values: Any) -> JointHoming:
    """What was found, with the reference as it is kept with it."""
    more: dict[str, Any] = {"reference": reference, "since_reference_deg": since_deg}
    return replace(found_at(1), **OF_TIP, **more, **values)


async def test_the_reference_outlives_more_homings_than_are_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coordinator.records.homings.MOST_HOMINGS", 3)
    store, tip = Store(tmp_path), named("tip")
    shifts = (None, 0.25, 0.125, 0.0, 0.5)
    sums = (0.0, 0.25, 0.375, 0.375, 0.875)
    await keep(
        store,
        *(
            {"tip": since(1, total, shift_deg=shift)}
            for shift, total in zip(shifts, sums, strict=True)
        ),
    )
    known = (await keeper_of(store).homes((tip,)))["tip"]
    assert (known.homing, known.reference, known.since_reference_deg) == (5, 1, 0.875)
    told = await keeper_of(store).of_joint(tip)
    assert [(one.homing, one.reference, one.since_reference_deg) for one in told.homings] == [
        (3, 1, 0.375), (4, 1, 0.375), (5, 1, 0.875),
    ]  # fmt: skip
    assert told.homings[-1].rising_deg == 0.875 + 0.5
    # Another joint is homed so often that none of the tip's is looked at any more.
    await keep(store, *({"base": since(6, 0.0)} for _ in range(4)), first=6)
    assert (await keeper_of(store).homes((tip,)))["tip"] == known
    assert (await keeper_of(store).of_joint(tip)).homings == ()
    await store.close()


async def test_a_joint_that_wandered_stays_marked_however_many_homings_came_since_or_the_limit_rose(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coordinator.records.homings.MOST_HOMINGS", 3)
    store = Store(tmp_path)
    astray = since(1, 0.5, shift_deg=0.5, wandered_deg=0.5)
    await keep(store, {"tip": since(1, 0.0)}, {"tip": astray})
    await keep(store, *({"base": since(3, 0.0)} for _ in range(5)), first=3)
    tolerant = replace(named("tip"), own_shift_limit_deg=2.0)
    keeper = keeper_of(store)
    assert (await keeper.homes((tolerant,)))["tip"].wandered_deg == 0.5
    assert (await keeper.of_joint(tolerant)).wandered_deg == 0.5
    await keeper.accept("tip", 2, "the bench")
    known = (await keeper.homes((tolerant,)))["tip"]
    assert (known.wandered_deg, known.reference, known.since_reference_deg) == (None, 2, 0.0)
    await store.close()


async def test_a_homing_whose_report_got_lost_is_a_break_for_the_next_coordinator_too(
    tmp_path: Path,
) -> None:
    store, tip = Store(tmp_path), named("tip")
    await keep(store, {"tip": since(1, 0.0)}, {})
    known = (await keeper_of(store).homes((tip,)))["tip"]
    assert (known.homing, known.controller, known.figures) == (1, None, None)
    await store.close()


async def test_what_is_kept_of_homings_from_before_the_reference_was_is_gone_through(
    tmp_path: Path,
) -> None:
    store, tip = Store(tmp_path), named("tip")
    found = (replace(found_at(1), **OF_TIP, shift_deg=shift) for shift in (None, 0.01, 0.5))
    await keep(store, *({"tip": one} for one in found))
    known = (await keeper_of(store).homes((tip,)))["tip"]
    assert (known.reference, known.since_reference_deg, known.wandered_deg) == (1, 0.51, 0.51)
    # And so is one that is spoilt.
    await keep(store, {"tip": since(1, 0.75)}, first=4)
    spoil = "UPDATE homings SET result = json_set(result, '$.joints.tip.reference', 'x')"
    await store.write(lambda connection: connection.exec_driver_sql(f"{spoil} WHERE number = 4"))
    assert (await keeper_of(store).homes((tip,)))["tip"].homing == 4
    await store.close()
