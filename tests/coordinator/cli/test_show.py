"""What reports and tables say to people."""

import time
from collections.abc import Iterator
from typing import Any

import pytest
from rich.console import Console

from coordinator.cli.show import joint_remarks, joints_table, report_remarks, way_on

NOTHING: dict[str, Any] = {
    "starts": [], "partial_starts": 0, "holds": [], "overrides": [], "stop_level": None,
    "began_at_us": 5_000_000, "ended_at_us": None, "began_utc": None, "ended_utc": None,
}  # fmt: skip
"""The report of a run that has only just begun."""


@pytest.fixture
def summer_time(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A place whose clocks are two hours ahead of UTC."""
    monkeypatch.setenv("TZ", "XST-2")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def start(part: int, path_us: int) -> dict[str, Any]:
    return {
        "at_us": 1_000_000 * part + path_us, "part": part, "path_us": path_us, "attempts": 1,
        "lead_us": 100_000, "spread_us": 80, "bound_us": 900,
    }  # fmt: skip


def first_words(*starts: dict[str, Any], **more: Any) -> list[str]:
    remarks = report_remarks(NOTHING | {"starts": list(starts)} | more)
    return [remark.partition(":")[0] for remark in remarks]


def test_second_part_of_a_program_is_no_resume() -> None:
    assert first_words(start(1, 0)) == ["start"]
    assert first_words(start(1, 0), start(1, 800_000)) == ["start", "resume 1"]
    assert first_words(start(1, 0), start(1, 800_000), start(2, 0), start(2, 5)) == [
        "start of part 1", "resume 1", "start of part 2", "resume 2",
    ]  # fmt: skip


def test_report_says_in_local_time_when_the_run_began_and_how_long_it_took(
    summer_time: None,
) -> None:
    begun = NOTHING | {"began_utc": "2026-06-30T22:15:07+00:00"}
    assert report_remarks(begun) == ["began 2026-07-01 00:15:07 +0200"]
    # Arm time says how long; the wall clock may have been set meanwhile.
    ended = begun | {"ended_at_us": 77_340_000, "ended_utc": "2026-06-30T21:16:20+00:00"}
    assert report_remarks(ended) == ["began 2026-07-01 00:15:07 +0200, took 72.3 s"]


def test_report_names_the_level_of_the_stop_and_the_overrides_in_force() -> None:
    report = NOTHING | {
        "stop_level": "stop-and-release",
        "stop_unconfirmed": ["middle", "tip"],
        "overrides": [
            {"at_us": 6_000_000, "percent": 50.0}, {"at_us": 9_250_000, "percent": 12.5},
        ],
    }  # fmt: skip
    assert report_remarks(report) == [
        "override: 50 %",
        "override: 12.5 %",
        "stop level: stop-and-release",
        "stop not confirmed by: middle, tip",
    ]


def test_report_tells_what_happened_in_order_of_time() -> None:
    hold = {"cause": "the operator asked", "path_us": {"base": 5}, "apart_us": 0}
    assert first_words(
        start(1, 0),
        start(1, 800_000),
        holds=[hold | {"at_us": 1_700_000}, hold | {"at_us": 2_900_000}],
        overrides=[{"at_us": 1_000_000, "percent": 50.0}, {"at_us": 2_000_000, "percent": 80.0}],
    ) == ["start", "override", "hold", "resume 1", "override", "hold"]


@pytest.mark.parametrize(
    ("path_us", "apart_us", "says"),
    [
        ({"base": 5, "middle": 805, "tip": 5}, 800, "joints 800 µs of path time apart"),
        (
            {"base": 5, "middle": 5, "tip": None},
            0,
            "path time of tip not known, the other joints 0 µs apart",
        ),
        ({"base": 5, "middle": None, "tip": None}, 0, "path time of middle, tip not known"),
        ({"base": None, "tip": None}, 0, "path time of base, tip not known"),
    ],
)
def test_hold_says_of_which_joint_the_place_is_not_known(
    path_us: dict[str, int | None], apart_us: int, says: str
) -> None:
    hold = {"at_us": 1, "cause": "tip is gone", "path_us": path_us, "apart_us": apart_us}
    assert report_remarks(NOTHING | {"holds": [hold]}) == [f"hold: tip is gone; {says}"]


def test_held_run_is_said_to_go_on_only_where_resume_would_not_be_refused() -> None:
    assert way_on({"obstacle": None}) == "'unisono resume' goes on, 'unisono stop' ends the run"
    apart = {"obstacle": None, "behind_us": {"base": 0, "tip": 100_000, "wrist": 2_400}}
    assert way_on(apart) == (
        "'unisono resume' first brings up slowly what is behind (tip by 100 ms, wrist by 2 ms), "
        "then goes on, 'unisono stop' ends the run"
    )
    lost = {"code": "joint-lost", "message": "tip is not there: silent"}
    assert way_on({"obstacle": lost}) == (
        "it cannot be resumed as it is: tip is not there: silent; 'unisono stop' ends the run"
    )
    ending = {"code": "ending", "message": "the coordinator is ending"}
    assert way_on({"obstacle": ending}) == "the coordinator is ending, and the run with it"


def joint(**values: Any) -> dict[str, Any]:
    return {
        "name": "turntable", "word": "A", "link": "up", "link_message": "", "state": "preparing",
        "energised": True, "homed": True, "position_deg": -123.45, "temperature_c": 51.2,
        "plausible": True, "warm": True, "supply_v": 24.1, "q_us": 1_234_567, "age_us": 940_000,
        "stop": 0, "faults": [], "clock": {"bound_us": 1_024, "locked": True, "reason": ""},
    } | values  # fmt: skip


def table_of(*joints: dict[str, Any]) -> list[str]:
    console = Console(width=80, color_system=None)
    with console.capture() as shown:
        console.print(joints_table({"arm": "a bench arm", "phase": "idle", "joints": joints}))
    return shown.get().splitlines()


def test_table_of_joints_fits_80_columns_without_a_cut_word() -> None:
    (row,) = [line for line in table_of(joint()) if "turntable" in line]
    cells = ["turntable", "A", "preparing", "on", "-123.45", "51.2", "24.1"]
    assert row.split() == [*cells, "1235", "1024", "940"]


def test_a_reading_that_cannot_be_believed_is_no_temperature() -> None:
    (row,) = [line for line in table_of(joint(plausible=False)) if "turntable" in line]
    assert "51.2" not in row
    assert row.split()[5] == "–"


def test_status_says_what_a_start_would_be_now_or_what_keeps_it_from_being_made() -> None:
    arm: dict[str, Any] = {"joints": [], "unknown": [], "warnings": []}
    start = {"lead_us": 231_400, "within_us": 1_210, "slowest": "elbow", "obstacle": None}
    assert joint_remarks(arm | {"next_start": start}) == [
        "a start now: set 231.4 ms ahead, all within 1210 µs of each other; slowest link: elbow"
    ]
    unknown = start | {"lead_us": None, "within_us": None, "slowest": None}
    assert joint_remarks(arm | {"next_start": unknown}) == [
        "a start now: links and clocks are still being measured"
    ]
    refused = {"code": "not-homed", "message": "elbow is not homed; home it first"}
    assert joint_remarks(arm | {"next_start": unknown | {"obstacle": refused}}) == [
        "no start now: elbow is not homed; home it first"
    ]
    assert joint_remarks(arm | {"next_start": None}) == []


def test_a_latched_stop_is_one_sentence_for_all_joints_that_have_it() -> None:
    joints = [
        joint(name=name, warm=False, stop=stop)
        for name, stop in (("base", 1), ("middle", 3), ("tip", 1))
    ]
    assert joint_remarks({"joints": joints, "unknown": [], "warnings": []}) == [
        "stop is latched in base tip; the next command that moves them lifts it",
        "release is latched in middle; the next command that moves them lifts it",
    ]


def test_title_says_where_a_run_is() -> None:
    run = {"number": 7, "line": 12, "path_us": 3_450_000}
    console = Console(width=80, color_system=None)
    with console.capture() as shown:
        console.print(joints_table({"arm": "an arm", "phase": "held", "run": run, "joints": []}))
    assert shown.get().splitlines()[0].rstrip() == "an arm: held, run 7 at line 12, 3.5 s"


@pytest.mark.parametrize(
    ("values", "state", "age"),
    [
        ({"link": "absent"}, "absent", "940"),
        ({"link": "refused", "age_us": None}, "refused", "–"),
        ({"age_us": 1_000_001}, "silent", "1000"),
        ({"age_us": None}, "up", "–"),
    ],
)
def test_what_a_joint_said_long_ago_is_not_shown_as_if_it_were_so_now(
    values: dict[str, Any], state: str, age: str
) -> None:
    gone = joint(faults=["hall-sensor"], stop=1) | values
    (row,) = [line for line in table_of(gone) if "turntable" in line]
    assert row.split() == ["turntable", "A", state, *["–"] * 6, age]
    assert joint_remarks({"joints": [gone], "unknown": [], "warnings": []}) == []


def warning(**values: Any) -> dict[str, Any]:
    return {
        "id": 3, "joint": "turntable", "code": "joint-warm", "level": "attention",
        "message": "turntable is warm: 51.2 °C", "advice": "let it rest", "since_us": 5,
        "since_utc": "2026-05-04T10:11:12+00:00", "acknowledged": False,
    } | values  # fmt: skip


def test_faults_warnings_and_a_stop_are_sentences_and_the_level_is_a_word() -> None:
    hot = warning(level="danger", message="turntable is too hot: 58.3 °C", acknowledged=True)
    arm = {
        "joints": [joint(faults=["hall-sensor"], stop=2)],
        "unknown": [],
        "warnings": [warning(), hot],
    }
    assert joint_remarks(arm) == [
        "turntable: fault: hall-sensor",
        "attention: turntable is warm: 51.2 °C",
        "danger: turntable is too hot: 58.3 °C (seen)",
        "stop-and-release is latched in turntable; the next command that moves them lifts it",
    ]
    assert joint_remarks({"joints": [joint()], "unknown": [], "warnings": []}) == []


def test_a_clock_that_is_not_locked_is_told_of_once() -> None:
    clock = {"bound_us": None, "locked": False, "reason": "the clock is not trusted: it is new"}
    arm = {"joints": [joint(clock=clock)], "unknown": [], "warnings": []}
    assert joint_remarks(arm) == [
        "turntable: its clock is not locked: the clock is not trusted: it is new"
    ]
    told = warning(code="clock-unlocked", message="turntable: the clock is not trusted")
    assert joint_remarks(arm | {"warnings": [told]}) == [
        "attention: turntable: the clock is not trusted"
    ]
