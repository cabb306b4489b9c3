"""What reports and tables say to people."""

import time
from collections.abc import Iterator
from typing import Any

import pytest
from rich.console import Console

from coordinator.api.responses.arm import SHELF
from coordinator.api.responses.base import plain
from coordinator.api.responses.report import REPORT
from coordinator.cli.show import (
    check_sentences,
    joint_remarks,
    joints_table,
    report_remarks,
    report_table,
    way_on,
)
from coordinator.client.reading import read
from coordinator.client.values import ControlAsked, KeptReport, RunGoing
from coordinator.core.events import Because
from coordinator.motion import check_program
from coordinator.programs import Switches
from tests.bench.reversal import with_approach
from tests.coordinator.cli import servers
from tests.coordinator.cli.servers import ARM, CONTROL, GOING, REPORTED, arm_told
from tests.coordinator.motion.test_plan import ARM as DEMO

NOTHING = REPORTED | {
    "began_at_us": 5_000_000, "ended_at_us": None, "began_utc": None, "ended_utc": None,
}  # fmt: skip
"""The report of a run that has only just begun."""


def remarks_on(report: dict[str, Any]) -> list[str]:
    return report_remarks(read(KeptReport, report))


def test_a_report_says_which_switches_were_on() -> None:
    assert not any("switched on" in remark for remark in remarks_on(REPORTED))
    on = REPORTED | {"block_delete": True, "optional_stop": True}
    assert "switched on: block delete and optional stop" in remarks_on(on)
    on = REPORTED | {"optional_stop": True}
    assert "switched on: optional stop" in remarks_on(on)


def joint_remarks_on(told: dict[str, Any]) -> list[str]:
    return joint_remarks(arm_told(told))


def way_on_of(control: dict[str, Any] = CONTROL, **values: Any) -> str:
    run = read(RunGoing, GOING | {"phase": "held"} | values)
    return way_on(run, read(ControlAsked, control))


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
        "start_delay_us": 100_000, "start_skew_us": 80, "start_skew_max_us": 900,
        "confirm_us": 60_000, "joints": {},
    }  # fmt: skip


def first_words(*starts: dict[str, Any], **more: Any) -> list[str]:
    remarks = remarks_on(NOTHING | {"starts": list(starts)} | more)
    return [remark.split(": ")[1] for remark in remarks]


def test_second_part_of_a_program_is_no_resume() -> None:
    assert first_words(start(1, 0)) == ["start"]
    assert first_words(start(1, 0), start(1, 800_000)) == ["start", "resume 1"]
    assert first_words(start(1, 0), start(1, 800_000), start(2, 0), start(2, 5)) == [
        "start of part 1", "resume 1", "start of part 2", "resume 2",
    ]  # fmt: skip


def test_starts_behind_those_left_out_are_told_by_their_number() -> None:
    first = [start(1, k) for k in range(100)]
    last = [start(1, 1_000 + k) for k in range(100)]
    told = first_words(*first, *last, starts_left_out=800)
    assert told[:2] == ["start", "resume 1"]
    assert told[99:101] == ["resume 99", "start 901, a resume"]
    assert told[199] == "start 1000, a resume"
    assert first_words(start(1, 0), start(2, 0), starts_left_out=0)[1] == "start of part 2"


def test_report_says_in_local_time_when_the_run_began_and_how_long_it_took(
    summer_time: None,
) -> None:
    begun = NOTHING | {"began_utc": "2026-06-30T22:15:07+00:00"}
    assert remarks_on(begun) == ["began 2026-07-01 00:15:07 +0200"]
    # Arm time says how long; the wall clock may have been set meanwhile.
    ended = begun | {"ended_at_us": 77_340_000, "ended_utc": "2026-06-30T21:16:20+00:00"}
    assert remarks_on(ended) == ["began 2026-07-01 00:15:07 +0200, took 72.3 s"]


def test_report_names_the_level_of_the_stop_and_the_overrides_in_force() -> None:
    report = NOTHING | {
        "stop_level": "stop-and-release",
        "stop_unconfirmed": ["middle", "tip"],
        "overrides": [
            {"at_us": 6_000_000, "percent": 50.0}, {"at_us": 9_250_000, "percent": 12.5},
        ],
    }  # fmt: skip
    assert remarks_on(report) == [
        "1.0 s: override: 50 %",
        "4.2 s: override: 12.5 %",
        "stop level: stop-and-release",
        "stop not confirmed by: middle, tip",
    ]


def test_report_counts_the_holds_and_overrides_that_it_does_not_tell() -> None:
    assert remarks_on(NOTHING | {"holds_left_out": 3, "overrides_left_out": 5}) == [
        "holds that are not told here: 3",
        "overrides that are not told here: 5",
    ]


def test_report_tells_what_happened_in_order_of_time() -> None:
    hold = {
        "cause": "the operator asked", "path_us": {"base": 5}, "apart_us": 0, "unconfirmed": [],
    }  # fmt: skip
    assert first_words(
        start(1, 0),
        start(1, 800_000),
        holds=[hold | {"at_us": 1_700_000}, hold | {"at_us": 2_900_000}],
        overrides=[{"at_us": 1_800_000, "percent": 50.0}, {"at_us": 2_000_000, "percent": 80.0}],
    ) == ["start", "hold", "override", "resume 1", "override", "hold"]


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
    hold = {
        "at_us": 5_500_000, "cause": "tip is gone", "path_us": path_us, "apart_us": apart_us,
        "unconfirmed": [],
    }  # fmt: skip
    assert remarks_on(NOTHING | {"holds": [hold]}) == [f"0.5 s: hold: tip is gone; {says}"]


def test_held_run_is_said_to_go_on_only_where_resume_would_not_be_refused() -> None:
    assert way_on_of() == "'unisono resume' goes on, 'unisono stop' ends the run"
    behind_us = {"base": 0, "tip": 100_000, "wrist": 2_400}
    assert way_on_of(behind_us=behind_us) == (
        "'unisono resume' first brings up slowly what is behind (tip by 100 ms, wrist by 2 ms), "
        "then goes on, 'unisono stop' ends the run"
    )
    lost = {"code": "joint-offline", "message": "tip is offline: silent"}
    assert way_on_of(obstacle=lost) == (
        "it cannot be resumed as it is: tip is offline: silent; 'unisono stop' ends the run"
    )
    ending = {"code": "ending", "message": "the coordinator is ending"}
    assert way_on_of(obstacle=ending) == "the coordinator is ending, and the run with it"
    # Where that is why it is held, it has been said just before.
    assert way_on_of(obstacle=ending, message=str(Because.ENDING)) == "the run ends with it"


def test_whoever_lost_control_is_told_to_take_it_before_the_run_can_go_on() -> None:
    taken = CONTROL | {"holder": "they", "name": "a phone"}
    assert way_on_of(taken) == (
        "a phone has control: after 'unisono control take' 'unisono resume' goes on, "
        "'unisono stop' ends the run"
    )
    nobody = CONTROL | {"holder": None, "name": None}
    assert way_on_of(nobody) == way_on_of()


def joint(**values: Any) -> dict[str, Any]:
    return servers.joint("turntable") | {
        "word": "A", "link": "up", "link_message": "", "state": "preparing",
        "energised": True, "reduced": False,
        "homed": True, "position_deg": -123.45, "temperature_c": 51.2,
        "plausible": True, "warm": True, "supply_v": 24.1, "worst_delay_us": 1_234_567,
        "age_us": 940_000,
        "stop": 0, "faults": [], "clock": {"uncertainty_us": 1_024, "locked": True, "reason": ""},
    } | values  # fmt: skip


def table_of(*joints: dict[str, Any]) -> list[str]:
    console = Console(width=80, color_system=None)
    with console.capture() as shown:
        console.print(joints_table(arm_told(ARM | {"joints": joints})))
    return shown.get().splitlines()


def test_table_of_joints_fits_80_columns_without_a_cut_word() -> None:
    (row,) = [line for line in table_of(joint()) if "turntable" in line]
    cells = ["turntable", "A", "preparing", "on", "-123.45", "51.2", "24.1"]
    assert row.split() == [*cells, "1235", "1024", "940"]


def test_table_of_joints_fits_where_a_motor_has_reduced_current() -> None:
    (row,) = [line for line in table_of(joint(reduced=True)) if "turntable" in line]
    cells = ["turntable", "A", "preparing", "reduced", "-123.45", "51.2", "24.1"]
    assert row.split() == [*cells, "1235", "1024", "940"]


@pytest.mark.parametrize(
    ("left", "says"),
    [
        ((None, None, None), []),
        (
            (None, 7290.0, None),
            ["turntable: may reach its limit of 80 °C at this load, at the soonest in 121 min"],
        ),
        (
            (2050.0, 1290.0, 3600.0),
            [
                (
                    "turntable: at this load it is at its limit of 80 °C in about 34 min, at the "
                    "soonest in 21 min; there the arm stops"
                )
            ],
        ),
    ],
)
def test_a_joint_on_its_way_to_its_limit_is_told_of(
    left: tuple[float | None, ...], says: list[str]
) -> None:
    names = ("likely_s", "soonest_s", "latest_s")
    told = joint()
    warming = told["heat"] | {"limit": dict(zip(names, left, strict=True))}
    arm = ARM | {"joints": [told | {"heat": warming}], "start_forecast": None}
    assert joint_remarks_on(arm) == says
    assert joint_remarks_on(arm | {"joints": [told | {"heat": None}]}) == []
    resting = arm | {"joints": [told | {"heat": warming | {"rest_share": 0.35}}]}
    if left[0] is not None:
        assert joint_remarks_on(resting) == [
            f"{says[0]}; resting 35% of the time, in turns of a few minutes, keeps it below"
        ]


def test_every_column_of_figures_names_what_it_is_and_its_unit() -> None:
    lines = table_of(joint())
    first = next(k for k, line in enumerate(lines) if "angle" in line)
    assert lines[first].split() == ["angle", "heat", "supply", "delay", "clock", "age"]
    assert lines[first + 1].split() == [
        "joint", "word", "state", "motor", "°", "°C", "V", "ms", "±", "µs", "ms",
    ]  # fmt: skip


def test_a_joint_that_is_offline_is_told_of_once_with_the_level_of_its_warning() -> None:
    gone = joint(link="offline", link_message="silent for 9.0 s")
    told = "turntable is offline: silent for 9.0 s"
    lost = warning(
        code="joint-offline", level="danger", message="turntable is offline: silent for 3.0 s"
    )
    forecast = {
        "start_delay_us": None, "within_us": None, "slowest": None,
        "obstacle": {"code": "joint-offline", "message": told},
    }  # fmt: skip
    arm = ARM | {"joints": [gone], "warnings": [lost], "start_forecast": forecast}
    assert joint_remarks_on(arm) == [f"danger: {told}"]
    assert joint_remarks_on(arm | {"condition": ARM["condition"] | {"cause": told}}) == []
    # Once it is heard again the warning stands for a while.
    assert joint_remarks_on(arm | {"joints": [joint()], "start_forecast": None}) == [
        "danger: turntable is offline: silent for 3.0 s"
    ]


def test_all_joints_that_are_not_homed_are_named_and_once() -> None:
    joints = [joint(name=name, homed=name == "middle") for name in ("base", "middle", "tip")]
    obstacle = {"code": "not-homed", "message": "base is not homed; home it first"}
    forecast = {"start_delay_us": None, "within_us": None, "slowest": None, "obstacle": obstacle}
    arm = ARM | {"joints": joints, "start_forecast": forecast}
    assert joint_remarks_on(arm) == ["base and tip are not homed; home first"]
    cause = ARM["condition"] | {"cause": "base and tip are not homed"}
    assert joint_remarks_on(arm | {"condition": cause}) == []


def test_a_reading_that_cannot_be_believed_is_no_temperature() -> None:
    (row,) = [line for line in table_of(joint(plausible=False)) if "turntable" in line]
    assert "51.2" not in row
    assert row.split()[5] == "–"


def test_status_says_what_a_start_would_be_now_or_what_keeps_it_from_being_made() -> None:
    arm = ARM
    start = {"start_delay_us": 231_400, "within_us": 1_210, "slowest": "elbow", "obstacle": None}
    assert joint_remarks_on(arm | {"start_forecast": start}) == [
        "a start now: set 231.4 ms ahead, all within 1210 µs of each other; slowest link: elbow"
    ]
    unknown = start | {"start_delay_us": None, "within_us": None, "slowest": None}
    assert joint_remarks_on(arm | {"start_forecast": unknown}) == [
        "a start now: links and clocks are still being measured"
    ]
    refused = {"code": "not-homed", "message": "elbow is not homed; home it first"}
    assert joint_remarks_on(arm | {"start_forecast": unknown | {"obstacle": refused}}) == [
        "no start now: elbow is not homed; home it first"
    ]
    assert joint_remarks_on(arm | {"start_forecast": None}) == []


def test_a_latched_stop_is_one_sentence_for_all_joints_that_have_it() -> None:
    joints = [
        joint(name=name, warm=False, stop=stop)
        for name, stop in (("base", 1), ("middle", 3), ("tip", 1))
    ]
    assert joint_remarks_on(ARM | {"joints": joints}) == [
        "stop is latched in base tip; the next command that moves them clears the stop",
        "release is latched in middle; the next command that moves them clears the stop",
    ]


def test_title_says_where_a_run_is() -> None:
    run = GOING | {"number": 7, "line": 12, "path_us": 3_450_000}
    held = ARM["condition"] | {"word": "held", "cause": "the operator asked"}
    console = Console(width=80, color_system=None)
    with console.capture() as shown:
        console.print(joints_table(arm_told(ARM | {"condition": held, "run": run})))
    title = shown.get().splitlines()[0].rstrip()
    assert title == "an arm: held: the operator asked; run 7 at line 12, 3.5 s"


@pytest.mark.parametrize(
    ("values", "state", "age"),
    [
        ({"link": "offline", "age_us": 1_400_000}, "offline", "1400"),
        ({"link": "offline", "age_us": None}, "offline", "–"),
        ({"link": "conflict"}, "conflict", "940"),
    ],
)
def test_what_a_joint_said_long_ago_is_not_shown_as_if_it_were_so_now(
    values: dict[str, Any], state: str, age: str
) -> None:
    why = "silent for 1.4 s"
    gone = joint(faults=["hall-sensor"], stop=1, link_message=why) | values
    (row,) = [line for line in table_of(gone) if "turntable" in line]
    assert row.split() == ["turntable", "A", state, *["–"] * 6, age]
    (told,) = joint_remarks_on(ARM | {"joints": [gone]})
    assert told.removeprefix("turntable is offline").removeprefix("turntable") == f": {why}"
    # Where the headline has said it already it is not said again.
    cause = ARM["condition"] | {"cause": told}
    assert joint_remarks_on(ARM | {"joints": [gone], "condition": cause}) == []


def test_a_joint_whose_stream_is_opened_anew_is_shown_with_what_it_says_by_datagram() -> None:
    one = joint(link="connecting", link_message="the stream broke")
    (row,) = [line for line in table_of(one) if "turntable" in line]
    assert "-123.45" in row
    assert joint_remarks_on(ARM | {"joints": [one]}) == [
        "turntable is connecting: the stream broke"
    ]


def warning(**values: Any) -> dict[str, Any]:
    return {
        "id": 3, "joint": "turntable", "code": "joint-warm", "level": "attention",
        "message": "turntable is warm: 51.2 °C", "advice": "let it rest", "since_us": 5,
        "since_utc": "2026-05-04T10:11:12+00:00", "acknowledged": False,
        "state": "unacknowledged", "priority": "medium", "origin": "heat", "cause": "c",
        "consequence": "so", "episode": 1, "first_out": False,
    } | values  # fmt: skip


def test_faults_warnings_and_a_stop_are_sentences_and_the_level_is_a_word() -> None:
    hot = warning(level="danger", message="turntable is too hot: 58.3 °C", state="acknowledged")
    shelved = warning(message="turntable: 30% lost", state="shelved")
    alarms = {
        "returned": [warning(code="supply-low")],
        "shelved": [plain(SHELF)],
        "flood": {"since_us": 5, "count": 12, "by_origin": {"heat": 12}},
    }
    arm = ARM | {
        "joints": [joint(faults=["hall-sensor"], stop=2)],
        "warnings": [warning(), hot, shelved],
        "alarms": alarms,
    }
    assert joint_remarks_on(arm) == [
        "turntable: fault: hall-sensor",
        "attention: turntable is warm: 51.2 °C",
        "danger: turntable is too hot: 58.3 °C (acknowledged)",
        "attention: turntable: 30% lost (shelved)",
        "a flood of alarms: 12 began within ten minutes",
        "shelved, without a sign: link-lossy of wrist",
        "over, and acknowledged by nobody: supply-low of turntable",
        (
            "stop-and-release is latched in turntable; the next command that moves them clears "
            "the stop"
        ),
    ]
    assert joint_remarks_on(ARM | {"joints": [joint()]}) == []


def test_a_clock_that_is_not_locked_is_told_of_once() -> None:
    clock = {
        "start_skew_max_us": None,
        "locked": False,
        "reason": "the clock is not trusted: it is new",
    }
    arm = ARM | {"joints": [joint(clock=clock)]}
    assert joint_remarks_on(arm) == [
        "turntable: its clock is not locked: the clock is not trusted: it is new"
    ]
    told = warning(code="clock-unlocked", message="turntable: the clock is not trusted")
    assert joint_remarks_on(arm | {"warnings": [told]}) == [
        "attention: turntable: the clock is not trusted"
    ]


def test_check_says_where_joints_overtravel_how_long_and_where_they_do_not() -> None:
    text = "G1 F3000 A-20\nG64 A-30\nB20\nA-40\nM2\n"
    told = check_sentences("t.nc", check_program(text, with_approach(DEMO, 2), [0.0] * 6))
    assert told[1:3] == [
        "t.nc: overtravel at 2 stops by turntable: 1.2 s of that time",
        "t.nc: no overtravel at 2 ends that are passed: reversal error stays there",
    ]
    plain = check_sentences("t.nc", check_program(text, DEMO, [0.0] * 6))
    assert not any("overtravel" in sentence for sentence in plain)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"outcome": "stopped", "line": 7}, "the program was last at line 7"),
        ({"outcome": "paused", "line": 7}, "the program was last at line 7"),
        (
            {"outcome": "held", "line": 7, "loops": 3, "starts": 2},
            "the program was last at line 7, loop 2 of 3, part 2",
        ),
        (
            {"outcome": "stopped", "line": 7, "loops": None, "for_s": 60.0},
            "the program was last at line 7, loop 2",
        ),
        (
            {"outcome": "lost", "line": 7},
            "the program was last known to be at line 7, and may have gone on for some seconds",
        ),
        ({"outcome": "finished", "line": 7}, None),
        ({"outcome": "stopped", "line": None}, None),
    ],
)
def test_a_report_says_where_in_its_program_a_run_that_did_not_finish_was(
    changed: dict[str, Any], told: str | None
) -> None:
    report = NOTHING | changed | {"starts": []}
    if "starts" in changed:
        report["starts"] = [plain(REPORT)["start"] | {"part": part} for part in (1, 2)]
    if report["loops"] != 1:
        report["production"] = plain(REPORT)["production"] | {"done": 1}
    found = [one for one in remarks_on(report) if one.startswith("the program was")]
    assert found == ([] if told is None else [told])


@pytest.mark.parametrize("outcome", ["playing", "held", "finished", "refused", "lost", "stopped"])
def test_a_report_of_a_run_that_ended_early_says_how_the_arm_gets_back_to_it(outcome: str) -> None:
    said = remarks_on(NOTHING | {"outcome": outcome, "line": 7, "run": 12, "starts": []})
    wanted = "'unisono go --back --run 12' turns the joints, homed, slowly to where it would go on"
    assert (wanted in said) == (outcome in ("lost", "stopped"))
    assert wanted not in remarks_on(NOTHING | {"outcome": outcome, "line": None, "starts": []})


def test_only_of_a_run_that_finished_the_last_point_is_called_its_finish() -> None:
    for outcome, heading in (("finished", "finished at"), ("stopped", "last point at")):
        report = read(KeptReport, NOTHING | {"outcome": outcome})
        assert [column.header for column in report_table(report).columns][4] == heading


def test_check_says_how_often_a_program_waits_for_somebody() -> None:
    def said(text: str, **how: Any) -> str:
        result = check_program(text, DEMO, switches=Switches(**how))
        return "\n".join(check_sentences("t.nc", result))

    text = "G0 A1\nM0\nA2\nM1\nA3\nM2\n"
    once = "t.nc: it pauses once until somebody resumes; that is not in the time"
    assert once in said(text)
    assert "it pauses twice until somebody resumes" in said(text, optional_stop=True)
    assert "it pauses 3 times until" in said("G0 A1\nA2\nA3\nM0\nA4\nM2\n", step_by_line=True)
    assert "pauses" not in said("G0 A1\nM2\n")


def test_cycle_times_are_told_with_and_without_the_check_of_home_edges() -> None:
    production = plain(REPORT)["production"] | {"done": 3, "slowest": None}
    report = NOTHING | {"loops": 3, "check_edges": True}
    report["production"] = production | {"mean_us": 76_000_000, "edges_mean_us": 62_500_000}
    (told,) = (one for one in remarks_on(report) if one.startswith("loops:"))
    assert told == "loops: 3 done of 3, 76.0 s each, 13.5 s without the checks of home edges"


def test_check_says_nothing_of_home_edges_which_only_a_play_may_ask_for() -> None:
    widths = {joint.name: 4.0 for joint in DEMO.joints}
    known = check_program("G0 A1\nM2\n", DEMO, half_widths_deg=widths)
    assert known.edges_s is not None
    assert known.edges_s > 10.0
    assert not any("home edges" in one for one in check_sentences("t.nc", known))
    assert check_program("G0 A1\nM2\n", DEMO).edges_s is None
