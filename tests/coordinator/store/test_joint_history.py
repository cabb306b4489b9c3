"""Cells in the database: put together, told in stretches, forgotten by level."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Connection, Engine, func, select

from coordinator.history.cells import Cell, CellKey, cell_of
from coordinator.history.collector import Collector
from coordinator.history.levels import HOUR, LEVELS, Look, look_at
from coordinator.history.quantities import COUNTS, GAUGES, Counts
from coordinator.store import Store, events, homings, joint_history, runs
from coordinator.store.schema import JOINT_HISTORY
from tests.coordinator.store.test_events import UTC, add
from tests.coordinator.store.test_runs import report

VALUES = st.none() | st.integers(-(10**6), 10**9)
CELLS = st.builds(
    cell_of,
    st.none() | st.tuples(*(VALUES for _ in GAUGES)),
    st.builds(Counts, *(st.integers(0, 10**7) for _ in range(5))),
)
FROM_S = 1_780_000_000 // 3_600 * 3_600
SPAN_S = 30_000
BATCHES = st.lists(
    st.lists(st.tuples(st.sampled_from(["tip", "elbow"]), st.integers(0, SPAN_S - 1), CELLS)),
    max_size=4,
)


def batch(samples: list[tuple[str, int, Cell]]) -> dict[CellKey, Cell]:
    collector = Collector(most=max(1, len(samples)))
    for joint, after_s, cell in samples:
        collector.add(joint, FROM_S + after_s, cell)
    return collector.drained()


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(BATCHES, st.sampled_from(LEVELS), st.integers(1, 7))
def test_stretches_are_what_all_samples_in_them_come_to_however_they_were_written(
    engine: Engine, batches: list[list[tuple[str, int, Cell]]], level: object, times: int
) -> None:
    assert level in LEVELS
    width_s = times * next(one for one in LEVELS if one == level).cell_s
    begin_s = FROM_S // width_s * width_s
    look = Look(next(one for one in LEVELS if one == level), width_s, begin_s,
                begin_s + (SPAN_S // width_s + 2) * width_s)  # fmt: skip
    expected: dict[int, Cell] = {}
    for joint, after_s, cell in (one for samples in batches for one in samples):
        if joint == "tip" and not cell.is_empty:
            start_s = (FROM_S + after_s) // width_s * width_s
            expected[start_s] = expected.get(start_s, Cell()) | cell
    with engine.connect() as connection, connection.begin() as transaction:
        for samples in batches:
            joint_history.add(connection, batch(samples))
        found = dict(joint_history.stretches(connection, "tip", look))
        total = joint_history.in_all(connection, "tip")
        transaction.rollback()
    assert found == expected
    assert total[1] == sum((cell.counts for cell in expected.values()), Counts())
    assert (total[0] is None) is (expected == {})


def test_the_columns_are_those_of_the_quantities() -> None:
    names = {column.name for column in JOINT_HISTORY.columns}
    assert {f"{gauge.name}_least" for gauge in GAUGES} | set(COUNTS) < names
    assert len(names) == 3 + 4 * len(GAUGES) + len(COUNTS)


def _count(connection: Connection, cell_s: int) -> int:
    wanted = select(func.count()).where(JOINT_HISTORY.c.cell_s == cell_s)
    return connection.execute(wanted).scalar_one()


async def test_finer_cells_go_some_at_a_time_and_hours_never(store: Store) -> None:
    cell = cell_of((4_000, None, None, None, None, None, None), Counts(on_us=1_000_000, starts=1))
    samples = [("tip", after_s, cell) for after_s in range(3_000)]
    await store.write(lambda connection: joint_history.add(connection, batch(samples)))
    late_s = FROM_S + 100 * 365 * 86_400
    left = []
    for _ in range(4):
        await store.write(lambda connection: joint_history.forget(connection, "tip", late_s))
        left.append(await store.read(lambda connection: _count(connection, 1)))
    assert left == [2_000, 1_000, 0, 0]
    assert await store.read(lambda connection: _count(connection, 60)) == 0
    assert await store.read(lambda connection: _count(connection, HOUR.cell_s)) == 1
    since_s, counts = await store.read(lambda connection: joint_history.in_all(connection, "tip"))
    assert (since_s, counts) == (FROM_S, Counts(on_us=3_000 * 1_000_000, starts=3_000))


async def test_what_is_kept_of_a_joint_stays_within_its_age(store: Store) -> None:
    cell = cell_of((4_000, None, None, None, None, None, None), Counts())
    cells = batch([("tip", 0, cell), ("tip", 30, cell)])
    await store.write(lambda connection: joint_history.add(connection, cells))
    now_s = FROM_S + LEVELS[0].kept_s + 10 if LEVELS[0].kept_s else 0
    await store.write(lambda connection: joint_history.forget(connection, "tip", now_s))
    assert await store.read(lambda connection: _count(connection, 1)) == 1


async def test_a_spike_of_one_second_is_seen_in_the_chart_of_a_year(store: Store) -> None:
    quiet = cell_of((3_000, 24_000, 5_000, 0, 300, None, None), Counts())
    spike = cell_of((7_900, 17_900, 5_000, 0, 300, None, None), Counts())
    samples = [("tip", after_s, spike if after_s == 1_234 else quiet) for after_s in range(3_600)]
    await store.write(lambda connection: joint_history.add(connection, batch(samples)))
    look = look_at(FROM_S - 364 * 86_400, FROM_S + 86_400, 300, FROM_S + 86_400)
    found = await store.read(lambda connection: joint_history.stretches(connection, "tip", look))
    ((_, cell),) = found
    warm, supply = cell.spreads[:2]
    assert warm is not None
    assert supply is not None
    assert (warm.least, warm.greatest, warm.count) == (3_000, 7_900, 3_600)
    assert supply.least == 17_900


async def test_whatever_is_forgotten_of_joints_runs_homings_and_the_journal_stay(
    store: Store,
) -> None:
    cell = cell_of((4_000, None, None, None, None, None, None), Counts())
    cells = batch([("tip", 0, cell)])
    homing = {"number": 1, "state": "done", "message": "", "joints": {}}

    def write(connection: Connection) -> None:
        joint_history.add(connection, cells)
        runs.begin(connection, report(1), "M2\n")
        homings.save(connection, homing, UTC)
        add(connection, "a line")

    await store.write(write)
    for _ in range(3):
        await store.write(lambda connection: joint_history.forget(connection, "tip", 2**40))
    assert await store.read(lambda connection: _count(connection, 1)) == 0
    assert await store.read(lambda connection: runs.program(connection, 1)) == "M2\n"
    assert await store.read(lambda connection: homings.load(connection, 1)) == homing
    (line,) = await store.read(lambda connection: events.newest(connection, None, 9))
    assert line["message"] == "a line"
