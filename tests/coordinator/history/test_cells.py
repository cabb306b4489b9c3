"""Cells: whatever they are put together from, they tell what the samples were."""

import itertools
from collections.abc import Iterable

from hypothesis import given
from hypothesis import strategies as st

from coordinator.history.cells import Cell, CellKey, cell_of
from coordinator.history.collector import MOST_WAITING, Collector
from coordinator.history.levels import HOUR, LEVELS, MOST_POINTS, Level, look_at
from coordinator.history.quantities import GAUGES, Counts, Reading, reading

VALUES = st.none() | st.integers(-(10**6), 10**7)
READINGS = st.none() | st.tuples(*(VALUES for _ in GAUGES))
COUNTS = st.builds(Counts, *(st.integers(0, 10**6) for _ in range(5)))
DAY_S = 86_400
SAMPLES = st.lists(st.tuples(st.integers(0, 3 * DAY_S), READINGS, COUNTS), max_size=40)
NOON = 1_780_000_000 // DAY_S * DAY_S + DAY_S // 2


def collected(samples: list[tuple[int, Reading | None, Counts]]) -> dict[CellKey, Cell]:
    collector = Collector()
    for at_s, read, counts in samples:
        collector.add("tip", at_s, cell_of(read, counts))
    return collector.drained()


@given(SAMPLES, st.sampled_from(LEVELS), st.data())
def test_extremes_of_whole_cells_are_those_of_the_samples_in_them(
    samples: list[tuple[int, Reading | None, Counts]], level: Level, data: st.DataObject
) -> None:
    cells = {key: cell for key, cell in collected(samples).items() if key.cell_s == level.cell_s}
    chosen = data.draw(st.sets(st.sampled_from(sorted(cells, key=lambda key: key.start_s))) if
                       cells else st.just(set()))  # fmt: skip
    whole = Cell()
    for key in chosen:
        whole = whole | cells[key]
    starts = {key.start_s for key in chosen}
    inside = [(read, counts) for at_s, read, counts in samples if level.start_of(at_s) in starts]
    assert whole.counts == sum((counts for _, counts in inside), Counts())
    for place, spread in enumerate(whole.spreads):
        values = [read[place] for read, _ in inside if read is not None]
        known = [value for value in values if value is not None]
        if spread is None:
            assert known == []
        else:
            assert (spread.least, spread.greatest) == (min(known), max(known))
            assert (spread.total, spread.count) == (sum(known), len(known))


@given(SAMPLES)
def test_every_level_tells_the_same_of_all_samples(
    samples: list[tuple[int, Reading | None, Counts]],
) -> None:
    cells, wholes = collected(samples), []
    for level in LEVELS:
        whole = Cell()
        for key, cell in cells.items():
            if key.cell_s == level.cell_s:
                whole = whole | cell
        wholes.append(whole)
    assert wholes[0] == wholes[1] == wholes[2]


def test_a_reading_is_kept_to_a_hundredth_of_a_degree_and_a_thousandth_of_a_volt() -> None:
    assert reading(41.567, 23.9996, 9_400, 0.005, None, 0.0512, -0.0004) == (
        4157, 24_000, 9_400, 5_000, None, 51_200, -400,
    )  # fmt: skip


def test_a_sample_that_tells_nothing_makes_no_cell() -> None:
    assert collected([(5, None, Counts()), (6, (None,) * len(GAUGES), Counts())]) == {}


def test_what_the_disk_did_not_take_is_put_together_with_what_comes_next() -> None:
    collector = Collector()
    collector.add("tip", 7, cell_of((1, 2, 3, 4, 5, 6, 7), Counts(on_us=1)))
    failed = collector.drained()
    collector.add("tip", 7, cell_of((9, 2, 3, 4, 5, 6, 7), Counts(on_us=2)))
    collector.take_back(failed)
    cell = collector.drained()[CellKey(1, "tip", 7)]
    assert cell.counts.on_us == 3
    assert cell.spreads[0] is not None
    assert (cell.spreads[0].least, cell.spreads[0].greatest) == (1, 9)


def turning(collector: Collector, seconds: Iterable[int]) -> None:
    """A joint that began to turn in each of these seconds."""
    for at_s in seconds:
        collector.add("tip", at_s, cell_of((at_s, *(None,) * 6), Counts(starts=1)))


def test_while_the_disk_takes_nothing_the_oldest_seconds_are_given_up_and_no_minutes() -> None:
    collector = Collector()
    turning(collector, range(2 * MOST_WAITING))
    assert collector.gap == (0, MOST_WAITING)
    cells = collector.drained()
    seconds = [key.start_s for key in cells if key.cell_s == 1]
    assert seconds == list(range(MOST_WAITING, 2 * MOST_WAITING))
    minutes = [cell for key, cell in cells.items() if key.cell_s == 60]
    assert sum(cell.counts.starts for cell in minutes) == 2 * MOST_WAITING


def test_what_is_taken_back_is_older_than_what_came_meanwhile() -> None:
    collector = Collector(most=60)
    turning(collector, range(60))
    failed = collector.drained()
    turning(collector, range(60, 90))
    assert collector.gap_told() is None
    collector.take_back(failed)
    assert collector.gap_told() == (0, 30)
    seconds = [key.start_s for key in collector.drained() if key.cell_s == 1]
    assert seconds == list(range(30, 90))


def test_a_gap_is_told_once() -> None:
    collector = Collector(most=2)
    turning(collector, (7, 8, 9))
    assert (collector.gap_told(), collector.gap_told()) == ((7, 8), None)
    turning(collector, (10,))
    assert collector.gap_told() == (8, 9)


@given(SAMPLES, SAMPLES, st.integers(1, 5))
def test_no_more_wait_than_may_however_the_time_of_day_is_set(
    before: list[tuple[int, Reading | None, Counts]],
    meanwhile: list[tuple[int, Reading | None, Counts]],
    most: int,
) -> None:
    collector = Collector(most)
    for at_s, read, counts in before:
        collector.add("tip", at_s, cell_of(read, counts))
    failed = collector.drained()
    for at_s, read, counts in meanwhile:
        collector.add("tip", at_s, cell_of(read, counts))
    collector.take_back(failed)
    levels = [key.cell_s for key in collector.drained()]
    assert all(levels.count(level.cell_s) <= most for level in LEVELS)


@given(
    st.integers(0, 4 * 10**9),
    st.integers(1, 10**9),
    st.integers(2, MOST_POINTS),
    st.integers(0, 4 * 10**9),
)
def test_a_look_has_all_that_was_asked_for_in_no_more_stretches_than_that(
    from_s: int, for_s: int, points: int, now_s: int
) -> None:
    look = look_at(from_s, from_s + for_s, points, now_s)
    assert look.from_s <= from_s
    assert look.to_s >= from_s + for_s
    assert look.count <= points
    assert look.from_s % look.width_s == look.to_s % look.width_s == 0
    assert look.width_s % look.level.cell_s == 0
    assert look.level.reaches(from_s, now_s)
    # What is read for it has a bound too, but for hours, than which there is nothing coarser.
    if look.level != HOUR:
        assert (look.to_s - look.from_s) / look.level.cell_s <= 61 * points


def test_a_look_is_as_fine_as_what_is_kept_still() -> None:
    def widths(ago_s: int, for_s: int) -> tuple[int, int]:
        look = look_at(NOON - ago_s, NOON - ago_s + for_s, 400, NOON)
        return look.level.cell_s, look.width_s

    assert widths(300, 300) == (1, 1)
    assert widths(3_600, 3_600) == (1, 9)
    assert widths(DAY_S, DAY_S) == (60, 240)
    assert widths(8 * 3_600, 300) == (60, 60)  # its seconds are gone
    assert widths(30 * DAY_S, 30 * DAY_S) == (3_600, 7_200)
    assert widths(40 * DAY_S, 3_600) == (3_600, 3_600)  # and so are its minutes
    assert widths(365 * DAY_S, 365 * DAY_S) == (3_600, 79_200)


def test_each_level_is_made_of_whole_cells_of_the_one_before() -> None:
    assert all(coarse.cell_s % fine.cell_s == 0 for fine, coarse in itertools.pairwise(LEVELS))
    assert LEVELS[-1] == HOUR
    assert HOUR.kept_s is None
