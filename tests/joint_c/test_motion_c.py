"""The law of motion in C against the golden vectors, in microseconds and in whole numbers."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.joint_c.asking import Vectors

FOLDER = Path(__file__).parents[2] / "protocol" / "vectors"
MOTION = ("ramp", "course", "clock", "segments", "middle", "fixedpoint")
FILES: dict[str, Any] = {name: json.loads((FOLDER / f"{name}.json").read_text()) for name in MOTION}
ROWS = FILES["ramp"]["rows"]
COURSES = FILES["course"]["cases"]
WHOLE = FILES["fixedpoint"]

# protocol/README.md, "Permitted error": of path time, a rate, the arm clock.
PATH_US, RATE_PPM, CLOCK_US = 0.5, 1.0, 1.0


def close(value: float, wanted: float, error: float) -> bool:
    return abs(value - wanted) <= error


@pytest.mark.parametrize("case", FILES["ramp"]["cases"], ids=lambda case: str(case["time_us"]))
def test_the_ramp_gives_path_and_rate(vectors: Vectors, case: dict[str, Any]) -> None:
    answer = vectors.ask("ramp", rows=ROWS, time_256=round(case["time_us"] * 256))
    assert close(answer["path_us"], case["path_us"], PATH_US)
    assert close(answer["rate_ppm"], case["rate"] * 1e6, RATE_PPM)


@pytest.mark.parametrize("place", range(len(COURSES)))
def test_a_course_gives_path_time_and_rate(vectors: Vectors, place: int) -> None:
    course = COURSES[place]
    for case in course["at"]:
        answer = vectors.ask(
            "course", rows=ROWS, change=course["change"], arm_256=round(case["arm_us"] * 256)
        )
        assert close(answer["path_us"], case["path_us"], PATH_US)
        assert close(answer["rate_ppm"], case["rate"] * 1e6, RATE_PPM)


@pytest.mark.parametrize("place", range(len(COURSES)))
def test_a_course_settles_where_the_vectors_say(vectors: Vectors, place: int) -> None:
    course = COURSES[place]
    answer = vectors.ask("settled", rows=ROWS, change=course["change"])
    # A millionth of a rate is what the rounding of it to ppm can move the settling by, in time.
    assert close(answer["arm_us"], course["settled_us"], 1)
    assert close(answer["path_us"], course["settled_path_us"], PATH_US)


@pytest.mark.parametrize("place", range(len(COURSES)))
def test_a_path_time_is_reached_at_the_instant_or_never(vectors: Vectors, place: int) -> None:
    course = COURSES[place]
    for case in course["when"]:
        answer = vectors.ask("when", rows=ROWS, change=course["change"], path_us=case["path_us"])
        if case["arm_us"] is None:
            assert answer["arm_us"] is None
            continue
        # It may be off by the time in which path time grows by the permitted error: ask back.
        back = vectors.ask(
            "course", rows=ROWS, change=course["change"], arm_256=round(answer["arm_us"] * 256)
        )
        assert close(back["path_us"], case["path_us"], PATH_US)
        assert close(answer["arm_us"], case["arm_us"], 20)


@pytest.mark.parametrize("place", range(len(COURSES)))
def test_a_fall_comes_to_rest_where_the_vectors_say(vectors: Vectors, place: int) -> None:
    course = COURSES[place]
    fall = course["fall"]
    answer = vectors.ask("fall", rows=ROWS, change=course["change"], permit_us=fall["permit_us"])
    slack_us = PATH_US / max(fall["rate"], 0.01)
    assert close(answer["arm_us"], fall["arm_us"], slack_us)
    assert close(answer["rest_us"], fall["rest_us"], slack_us + 1)
    assert close(answer["rest_path_us"], fall["rest_path_us"], PATH_US)


def maps_until(place: int) -> dict[str, Any]:
    taken = [
        {"map": case["map"], "taken_joint_us": case["taken_joint_us"], "at_rest": case["at_rest"]}
        for case in FILES["clock"]["cases"][: place + 1]
    ]
    return {"first_map": FILES["clock"]["first_map"], "taken": taken}


@pytest.mark.parametrize("place", range(len(FILES["clock"]["cases"])))
def test_the_arm_clock_shows_what_the_vectors_say_and_holds_backwards(
    vectors: Vectors, place: int
) -> None:
    for reading in FILES["clock"]["cases"][place]["readings"]:
        answer = vectors.ask("clock", **maps_until(place), joint_us=reading["joint_us"])
        assert close(answer["arm_us"], reading["arm_us"], CLOCK_US)
        assert close(answer["remainder_us"], reading["remainder_us"], CLOCK_US)
        back = vectors.ask(
            "clock-back", **maps_until(place), arm_256=round(reading["arm_us"] * 256)
        )
        assert close(back["joint_us"], reading["joint_us"], CLOCK_US)


@pytest.mark.parametrize("case", FILES["segments"]["cases"], ids=lambda case: case["name"])
def test_a_segment_has_the_peaks_and_the_verdict_of_the_vectors(
    vectors: Vectors, case: dict[str, Any]
) -> None:
    file = FILES["segments"]
    answer = vectors.ask(
        "segment",
        velocity=file["velocity"],
        acceleration=file["acceleration"],
        a=case["a"],
        b=case["b"],
    )
    assert answer["refused"] == case["refused"]
    for name in (
        "peak_velocity",
        "peak_acceleration",
        "allowance_velocity",
        "allowance_acceleration",
    ):
        assert answer[name] == pytest.approx(case[name], rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("place", range(len(FILES["middle"]["cases"])))
def test_the_middle_of_the_edges_shifts_and_tells_what_was_lost(
    vectors: Vectors, place: int
) -> None:
    case = dict(FILES["middle"]["cases"][place])
    wanted = {name: case.pop(name) for name in ("middle", "shift", "lost")}
    assert vectors.ask("middle", **case) == wanted


def test_whole_numbers_of_the_ramp_are_exact(vectors: Vectors) -> None:
    # `paths` is the table's own column. At its last row P goes by the piece before it, which
    # rounds otherwise.
    for row, path in zip(ROWS[:-1], WHOLE["paths"][:-1], strict=True):
        assert vectors.ask("whole-path", rows=ROWS, time=row[0] * 256) == {"path": path}
    for case in WHOLE["ramp"]:
        assert vectors.ask("whole-path", rows=ROWS, time=case["time"]) == {"path": case["path"]}
        assert vectors.ask("whole-time", rows=ROWS, path=case["path"]) == {
            "time": case["time_of_path"]
        }
    for case in WHOLE["times"]:
        assert vectors.ask("whole-rate", rows=ROWS, ppm=case["ppm"]) == {"time": case["time"]}


@pytest.mark.parametrize("place", range(len(WHOLE["courses"])))
def test_whole_numbers_of_a_course_are_exact(vectors: Vectors, place: int) -> None:
    course = WHOLE["courses"][place]
    given = {"rows": ROWS, "change": course["change"]}
    wanted = {name: course[name] for name in ("begin", "end", "settled", "settled_path")}
    assert vectors.ask("whole-change", **given) == wanted
    for case in course["at"]:
        assert vectors.ask("whole-course", **given, arm=case["arm"]) == {"path": case["path"]}
    fall = dict(course["fall"])
    assert vectors.ask("whole-fall", **given, permit=fall.pop("permit")) == fall


@pytest.mark.parametrize("place", range(len(WHOLE["clock"])))
def test_whole_numbers_of_the_clock_are_exact(vectors: Vectors, place: int) -> None:
    case = WHOLE["clock"][place]
    [until] = [
        k
        for k, one in enumerate(FILES["clock"]["cases"])
        if one["map"]["number"] == case["map_number"]
    ]
    answer = vectors.ask("whole-clock", **maps_until(until), joint=case["joint"])
    assert answer == {"arm": case["arm"], "remainder": case["remainder"]}
    back = vectors.ask("whole-clock-back", **maps_until(until), arm=case["arm"])
    assert back == {"joint": case["joint_again"]}
