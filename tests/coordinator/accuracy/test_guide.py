"""Which angles a guided test visits, and that its table is one that its figure takes."""

import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.accuracy.gear import fitted
from coordinator.accuracy.guide import (
    Guided,
    GuideError,
    Visit,
    head_of,
    limit_of,
    note_of,
    require_same_table,
    usual_repeats,
    visits_of,
)
from coordinator.accuracy.readings import read_pose, read_reversal, read_turns
from coordinator.accuracy.repeatability import LEAST_READINGS
from coordinator.accuracy.reversal import LEAST_RUNS
from coordinator.accuracy.table import Table

TARGETS = {
    Guided.REPEATABILITY: [30.0],
    Guided.REVERSAL: [0.0, -45.0, 45.0],
    Guided.RATIO: [90.0, 0.0, 45.0],
}
ALL = st.sampled_from(list(Guided))


def written(folder: Path, test: Guided, unit: str, count: int | None = None) -> Path:
    """The table of a test with made-up readings, or the first of them."""
    draw = random.Random(1)
    file = folder / "read.csv"
    plan = visits_of(test, TARGETS[test], usual_repeats(test), None)
    rows = [f"# {note_of(test, 'elbow', TARGETS[test], None)}", ",".join(head_of(test, unit))]
    for visit in plan[:count]:
        read = draw.uniform(-0.1, 0.1)
        if test is Guided.RATIO:
            read += visit.target_deg
        rows.append(",".join([*visit.cells, f"{read:.4f}"]))
    file.write_text("\n".join(rows), encoding="utf-8")
    return file


def test_table_of_each_test_is_one_that_its_figure_takes(tmp_path: Path) -> None:
    pose = read_pose(written(tmp_path, Guided.REPEATABILITY, "um"), LEAST_READINGS)
    assert len(pose.deviations) == 30
    file = written(tmp_path, Guided.REVERSAL, "mm")
    found = read_reversal(file, LEAST_RUNS, 100.0, (-170.0, 170.0)).reversal
    assert [one.at for one in found.targets] == [-45.0, 0.0, 45.0]
    turns = read_turns(written(tmp_path, Guided.RATIO, "deg"))
    assert fitted(turns.commanded, turns.read, turns.resolution).share == pytest.approx(1, abs=0.01)


@given(ALL, st.sampled_from(["below", "above"]), st.integers(0, 29))
def test_each_visit_comes_from_its_side_by_the_same_way(
    test: Guided, side: str, number: int
) -> None:
    plan = visits_of(test, TARGETS[test], usual_repeats(test), None)
    one = plan[number % len(plan)]
    assert one.before_deg == one.target_deg + {"below": -5.0, "above": 5.0}[one.side]
    if test is Guided.REVERSAL:
        counts = [sum(each.side == side and each.target_deg == at for each in plan)
                  for at in TARGETS[test]]  # fmt: skip
        assert counts == [5, 5, 5]
    else:
        assert {each.side for each in plan} == {"below"}


@pytest.mark.parametrize(
    ("test", "targets", "repeats", "why"),
    [
        (Guided.REPEATABILITY, [0.0, 30.0], 30, "repeatability is of one pose"),
        (Guided.REPEATABILITY, [0.0], 9, "9 readings where 10 are needed"),
        (Guided.REVERSAL, [0.0], 4, "4 readings from each side where 5 are needed"),
        (Guided.REVERSAL, [0.0, 0.0], 5, "a target stands twice"),
        (Guided.RATIO, [0.0, 90.0], 3, "at 3 targets that are 20° apart"),
        (Guided.RATIO, [0.0, 5.0, 10.0], 3, "at 3 targets that are 20° apart"),
        (Guided.RATIO, [0.0, 45.0, 90.0], 1, "6 readings"),
        (Guided.REVERSAL, [168.0], 5, "from above is come to from 173°"),
    ],
)
def test_test_of_which_no_figure_could_come_is_refused_before_anything_moves(
    test: Guided, targets: list[float], repeats: int, why: str
) -> None:
    with pytest.raises(GuideError, match=why):
        visits_of(test, targets, repeats, (-170.0, 170.0))


@pytest.mark.parametrize(("test", "unit"), [(Guided.RATIO, "mm"), (Guided.REVERSAL, "inch")])
def test_unit_that_a_test_cannot_have_is_refused(test: Guided, unit: str) -> None:
    with pytest.raises(GuideError, match=f"the unit is '{unit}'"):
        head_of(test, unit)


def test_readings_are_bounded_in_the_unit_in_which_they_are_typed() -> None:
    assert limit_of(Guided.REPEATABILITY, "um", None) == pytest.approx(50_000)
    assert limit_of(Guided.REVERSAL, "arcmin", None) == pytest.approx(600)
    assert limit_of(Guided.RATIO, "deg", None) == pytest.approx(3600)


@given(st.sampled_from(["mm", "um"]), st.floats(1.0, 10_000.0), st.floats(0.9, 1.1))
def test_length_that_is_taken_is_one_that_its_figure_takes(
    tmp_path_factory: pytest.TempPathFactory, unit: str, radius_mm: float, share: float
) -> None:
    limit = limit_of(Guided.REVERSAL, unit, radius_mm)
    value = min(limit, share * limit)
    file = tmp_path_factory.mktemp("length") / "read.csv"
    rows = [f"0,{side},{value:.9f}" for side in ("below", "above") for _ in range(5)]
    file.write_text("\n".join([f"target_deg,from,deviation_{unit}", *rows]), encoding="utf-8")
    if share < 0.999:
        read_reversal(file, LEAST_RUNS, radius_mm)
    # 10 degrees at that radius (computed); 50 mm is too much anyhow.
    in_mm = limit * {"mm": 1.0, "um": 1e-3}[unit]
    assert in_mm == pytest.approx(min(50.0, radius_mm * 0.17453293))


@given(ALL, st.integers(0, 29))
def test_table_that_was_begun_is_known_again(
    tmp_path_factory: pytest.TempPathFactory, test: Guided, count: int
) -> None:
    file = written(tmp_path_factory.mktemp("begun"), test, "deg", count)
    table = Table(file)
    plan = visits_of(test, TARGETS[test], usual_repeats(test), None)
    note = note_of(test, "elbow", TARGETS[test], None)
    require_same_table(table, head_of(test, "deg"), plan, note)


def test_table_of_another_test_is_never_gone_on_with(tmp_path: Path) -> None:
    table = Table(written(tmp_path, Guided.REVERSAL, "deg", 3))
    head = head_of(Guided.REVERSAL, "deg")
    plan = visits_of(Guided.REVERSAL, [0.0, 30.0], 5, None)
    with pytest.raises(GuideError, match="line 3 is of -45 from below, where 0 from below comes"):
        require_same_table(table, head, plan, table.note)
    with pytest.raises(GuideError, match="where 'target_deg,from,deviation_um' is to be"):
        require_same_table(table, head_of(Guided.REVERSAL, "um"), plan, table.note)
    one = Visit(-45.0, "below", ("-45", "below"))
    with pytest.raises(GuideError, match="it has 3 readings, and this test 1"):
        require_same_table(table, head, [one], table.note)


def test_table_of_another_joint_target_or_radius_is_never_gone_on_with(tmp_path: Path) -> None:
    table = Table(written(tmp_path, Guided.REPEATABILITY, "um", 3))
    head = head_of(Guided.REPEATABILITY, "um")
    for joint, target, radius_mm in (
        ("wrist", 30.0, None),
        ("elbow", 31.0, None),
        ("elbow", 30.0, 9.0),
    ):
        plan = visits_of(Guided.REPEATABILITY, [target], 30, None)
        note = note_of(Guided.REPEATABILITY, joint, [target], radius_mm)
        with pytest.raises(GuideError, match="it is of 'repeatability of elbow at 30 deg', not of"):
            require_same_table(table, head, plan, note)
    bare = tmp_path / "bare.csv"
    bare.write_text("x_um\n1.0\n", encoding="utf-8")
    plan = visits_of(Guided.REPEATABILITY, [30.0], 30, None)
    with pytest.raises(GuideError, match="it does not say of what it is"):
        require_same_table(Table(bare), head, plan, table.note)
