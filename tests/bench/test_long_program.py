"""The bench's long program, shortened to a minute of virtual time, and what it would tell."""

from tests.bench.long_program import Case, Found, Row, judged, play


def test_a_minute_of_the_long_program_stays_with_its_plan() -> None:
    found = play(Case("home", 1, 60_000_000, 2))
    assert judged("home", found) == []
    assert (found.outcome, len(found.rows)) == ("finished", 2)
    assert found.switched == found.to_switch > 0
    assert sum(row.looks for row in found.rows) >= 5
    assert max(row.path_error_us for row in found.rows) > 0
    assert found.ended_counts <= 1.0


def test_what_a_long_program_must_not_show_is_told() -> None:
    row = Row(until_us=1.0, looks=1, away_counts=1.5, beyond_us=3.0)
    wrong = Found([row], "finished", switched=1, to_switch=2)
    assert [sentence.partition(": ")[2] for sentence in judged("home", wrong)] == [
        "a joint was 1.50 counts from its plan",
        "a joint's path time was 3.0 µs beyond its clock's uncertainty",
        "1 of 2 switches were made",
    ]
    assert judged("home", Found([Row(1.0, beyond_us=-1.0)])) == ["home: nothing was compared"]
