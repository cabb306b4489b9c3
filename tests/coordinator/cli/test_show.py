"""What reports and tables say to people."""

from typing import Any

from coordinator.cli.show import report_remarks


def start(part: int, path_us: int) -> dict[str, Any]:
    return {
        "part": part, "path_us": path_us, "attempts": 1, "lead_us": 100_000, "spread_us": 80,
        "bound_us": 900,
    }  # fmt: skip


def first_words(*starts: dict[str, Any]) -> list[str]:
    report = {"starts": list(starts), "partial_starts": 0, "holds": []}
    return [remark.partition(":")[0] for remark in report_remarks(report)]


def test_second_part_of_a_program_is_no_resume() -> None:
    assert first_words(start(1, 0)) == ["start"]
    assert first_words(start(1, 0), start(1, 800_000)) == ["start", "resume 1"]
    assert first_words(start(1, 0), start(1, 800_000), start(2, 0), start(2, 5)) == [
        "start of part 1", "resume 1", "start of part 2", "resume 2",
    ]  # fmt: skip


def test_report_says_when_the_run_began_and_ended() -> None:
    report = {
        "starts": [], "partial_starts": 0, "holds": [],
        "began_utc": "2026-03-01T12:00:00+00:00", "ended_utc": None,
    }  # fmt: skip
    assert report_remarks(report) == ["began: 2026-03-01T12:00:00+00:00"]
