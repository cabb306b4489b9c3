"""Questions on the law of motion and the clock, with the errors that the page permits."""

from collections.abc import Callable, Iterator
from typing import Any, Final

from coordinator.conform.check import Wrong
from coordinator.conform.vectors.question import Judge, Question, exactly, member, near, number
from protocol.constants import CLOCK_ERROR_US, PATH_ERROR_US, PPM
from protocol.pathtime import Course, RateChange
from protocol.ramp import Ramp

Read = Callable[[str], Any]
RATE_PPM: Final = 1.0
PARTS: Final = 256
"""Of a µs."""


def motion_questions(read: Read) -> Iterator[Question]:
    """All of them; `read` gives a file of vectors."""
    yield from _ramp(read)
    yield from _courses(read)
    yield from _clock(read)
    yield from _segments(read)
    yield from _middle(read)
    yield from _whole(read)


def _ramp(read: Read) -> Iterator[Question]:
    found = read("ramp")
    for k, case in enumerate(found["cases"], 1):
        given = {"rows": found["rows"], "time_256": round(case["time_us"] * PARTS)}
        judge = near(
            path_us=(case["path_us"], PATH_ERROR_US), rate_ppm=(case["rate"] * PPM, RATE_PPM)
        )
        yield Question(f"ramp cases {k}", "ramp", given, judge)


def _reaching(course: Course, path_us: float, expected_us: float | None, name: str) -> Judge:
    """An instant at which a path time is reached, but for what path time may be off."""

    def judge(answer: dict[str, Any]) -> None:
        if expected_us is None:
            came = member(answer, name)
            if came is not None:
                raise Wrong(f"{name} null: it is never reached", f"{came}")
            return
        came = number(answer, name)
        off_us = abs(course.at(came)[0] - path_us)
        # At rest before a start path time does not tell instants apart: the ramp takes 0.7 ms for
        # the first half µs.
        if off_us > PATH_ERROR_US or abs(came - expected_us) > 1_000.0:
            raise Wrong(
                f"{name} {expected_us}, within {PATH_ERROR_US} µs of path time",
                f"{came}, {off_us:.3f} µs off",
            )

    return judge


def _courses(read: Read) -> Iterator[Question]:
    rows = read("ramp")["rows"]
    ramp = Ramp([tuple(row) for row in rows])
    for k, case in enumerate(read("course")["cases"], 1):
        law = {"rows": rows, "change": case["change"]}
        course, name = Course.of(RateChange(**case["change"]), ramp), f"course cases {k}"
        judge = near(
            arm_us=(case["settled_us"], CLOCK_ERROR_US),
            path_us=(case["settled_path_us"], PATH_ERROR_US),
        )
        yield Question(f"{name} settled", "settled", law, judge)
        for j, one in enumerate(case["at"], 1):
            given = {**law, "arm_256": round(one["arm_us"] * PARTS)}
            judge = near(
                path_us=(one["path_us"], PATH_ERROR_US), rate_ppm=(one["rate"] * PPM, RATE_PPM)
            )
            yield Question(f"{name} at {j}", "course", given, judge)
        for j, one in enumerate(case["when"], 1):
            given = {**law, "path_us": one["path_us"]}
            judge = _reaching(course, one["path_us"], one["arm_us"], "arm_us")
            yield Question(f"{name} when {j}", "when", given, judge)
        yield Question(
            f"{name} fall",
            "fall",
            {**law, "permit_us": case["fall"]["permit_us"]},
            _fall(course, case["fall"]),
        )


def _fall(course: Course, fall: dict[str, float]) -> Judge:
    late_us = CLOCK_ERROR_US + PATH_ERROR_US / fall["rate"]
    begins = _reaching(course, fall["permit_us"], fall["arm_us"], "arm_us")
    rests = near(
        rest_us=(fall["rest_us"], late_us), rest_path_us=(fall["rest_path_us"], PATH_ERROR_US)
    )

    def judge(answer: dict[str, Any]) -> None:
        begins(answer)
        rests(answer)

    return judge


def _taken(cases: list[dict[str, Any]], count: int) -> list[dict[str, Any]]:
    return [
        {name: case[name] for name in ("map", "taken_joint_us", "at_rest")}
        for case in cases[:count]
    ]


def _clock(read: Read) -> Iterator[Question]:
    found = read("clock")
    for k, case in enumerate(found["cases"], 1):
        maps = {"first_map": found["first_map"], "taken": _taken(found["cases"], k)}
        for j, one in enumerate(case["readings"], 1):
            name = f"clock cases {k} readings {j}"
            judge = near(
                arm_us=(one["arm_us"], CLOCK_ERROR_US),
                remainder_us=(one["remainder_us"], CLOCK_ERROR_US),
            )
            yield Question(name, "clock", {**maps, "joint_us": one["joint_us"]}, judge)
            given = {**maps, "arm_256": round(one["arm_us"] * PARTS)}
            judge = near(joint_us=(one["joint_us"], CLOCK_ERROR_US))
            yield Question(f"{name} back", "clock-back", given, judge)


def _segments(read: Read) -> Iterator[Question]:
    found = read("segments")
    limits = {name: found[name] for name in ("velocity", "acceleration")}
    for k, case in enumerate(found["cases"], 1):
        given = {**limits, "a": case["a"], "b": case["b"]}
        yield Question(f"segments cases {k}", "segment", given, exactly(refused=case["refused"]))


def _middle(read: Read) -> Iterator[Question]:
    for k, case in enumerate(read("middle")["cases"], 1):
        names = ("rising", "falling", "home", "counts_per_turn")
        given = {name: case[name] for name in names}
        judge = exactly(middle=case["middle"], shift=case["shift"], lost=case["lost"])
        yield Question(f"middle cases {k}", "middle", given, judge)


def _whole(read: Read) -> Iterator[Question]:
    found, rows = read("fixedpoint"), read("ramp")["rows"]
    # The last row lies in the last piece, whose own rounding counts there: `ramp` has it.
    for k, (row, path) in enumerate(zip(rows[:-1], found["paths"], strict=False), 1):
        given = {"rows": rows, "time": row[0] * PARTS}
        yield Question(f"fixedpoint paths {k}", "whole-path", given, exactly(path=path))
    for k, case in enumerate(found["ramp"], 1):
        given = {"rows": rows, "time": case["time"]}
        name = f"fixedpoint ramp {k}"
        yield Question(name, "whole-path", given, exactly(path=case["path"]))
        given = {"rows": rows, "path": case["path"]}
        judge = exactly(time=case["time_of_path"])
        yield Question(f"{name} back", "whole-time", given, judge)
    for k, case in enumerate(found["times"], 1):
        given = {"rows": rows, "ppm": case["ppm"]}
        yield Question(f"fixedpoint times {k}", "whole-rate", given, exactly(time=case["time"]))
    for k, case in enumerate(found["courses"], 1):
        law, name = {"rows": rows, "change": case["change"]}, f"fixedpoint courses {k}"
        names = ("begin", "end", "settled", "settled_path")
        judge = exactly(**{one: case[one] for one in names})
        yield Question(f"{name} change", "whole-change", law, judge)
        for j, one in enumerate(case["at"], 1):
            given = {**law, "arm": one["arm"]}
            yield Question(f"{name} at {j}", "whole-course", given, exactly(path=one["path"]))
        fall = case["fall"]
        judge = exactly(**{one: fall[one] for one in ("arm", "begin", "rest", "rest_path")})
        yield Question(f"{name} fall", "whole-fall", {**law, "permit": fall["permit"]}, judge)
    clock = read("clock")
    numbers = [case["map"]["number"] for case in clock["cases"]]
    for k, case in enumerate(found["clock"], 1):
        count, name = numbers.index(case["map_number"]) + 1, f"fixedpoint clock {k}"
        maps = {"first_map": clock["first_map"], "taken": _taken(clock["cases"], count)}
        judge = exactly(arm=case["arm"], remainder=case["remainder"])
        yield Question(name, "whole-clock", {**maps, "joint": case["joint"]}, judge)
        judge = exactly(joint=case["joint_again"])
        yield Question(f"{name} back", "whole-clock-back", {**maps, "arm": case["arm"]}, judge)
