"""The bench of a year of joints, with a few days: its charts are true, its size has its bound."""

from pathlib import Path

from coordinator.history.cells import Cell, Spread
from coordinator.history.levels import LEVELS, Level
from coordinator.store.sqlite_file import engine_of
from tests.bench import history
from tests.bench.history import CHARTS, DAY_S, HOUR_S, NAMES, Past, chart, every_extreme, measure

FEW = Past(hours=72, minute_hours=26, second_hours=1)
ROW_BYTES = 160
"""A row has 32 numbers and a name; what a level may take at most follows from it."""


def test_a_year_that_is_a_few_days_is_kept_level_by_level_with_its_spike(tmp_path: Path) -> None:
    left = measure(FEW, 1, tmp_path)
    assert left.broken == []
    six = len(NAMES)
    assert left.rows == {1: six * 3_600, 60: six * 26 * 60, HOUR_S: six * 72}
    assert left.row_bytes < ROW_BYTES
    assert left.chart_s.keys() == CHARTS.keys()
    engine = engine_of(tmp_path / "unisono.db", writes=False)
    with engine.connect() as connection:
        seconds, minutes, hours = every_extreme(connection, NAMES[0])
    engine.dispose()
    for level in (seconds, minutes, hours):
        assert level is not None
        assert level.greatest == 9_950


def test_a_chart_that_hides_the_spike_is_told() -> None:
    left = history.Left()
    cell = Cell((Spread(3_000, 4_000, 7_000, 2), *(None,) * 6))
    history._judge("a year", [(0, cell)], left)
    assert left.broken == ["the chart of a year shows 40 °C, not 99.5 °C"]


def test_what_a_joint_takes_for_ever_is_bounded_but_for_its_hours() -> None:
    rows = [level.kept_s // level.cell_s for level in LEVELS if level.kept_s is not None]
    assert rows == [21_600, 50_400]
    assert LEVELS[-1] == Level(HOUR_S, None)
    assert chart(365 * DAY_S).level == LEVELS[-1]
