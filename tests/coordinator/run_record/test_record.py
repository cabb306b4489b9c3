"""A run's record: what stands in it, that no text of a program or a name becomes markup, and that
what is not known is said. The outside parser is expat (XML 1.0); tests/browser/test_run_record.py
holds it against Chromium's.
"""

import hashlib
import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.api.responses.base import plain
from coordinator.api.responses.report import EVENT, REPORT
from coordinator.programs.size import MAX_PROGRAM_BYTES
from coordinator.run_record.listing import digest
from coordinator.run_record.record import WhatIsKept, run_record

SVG = "{http://www.w3.org/2000/svg}"
XHTML = "{http://www.w3.org/1999/xhtml}"
PROGRAM = "(one tray)\r\nG0 A-35 B-20\r\nM2\r\n"
HOSTILE = (
    "</li></ol><script>alert(1)</script>", "<img src=x onerror=alert(1)>", "]]>&lt;<!--",
    "\u202eG0 A90\u202c", "\x00\x1b[31m\ud800", "' onload='x\" onload=\"x",
)  # fmt: skip


def record(
    program: str | None = PROGRAM,
    journal: Sequence[Mapping[str, Any]] | None = (plain(EVENT),),
    **changed: object,
) -> str:
    report = {**plain(REPORT), **changed}
    return run_record(WhatIsKept(report, program, journal, "2026-05-02T08:00:00+00:00", "0.1.0"))


def parsed(text: str) -> ET.Element:
    """By expat; the document type has no entities, so nothing is loaded."""
    return ET.fromstring(text)


def words(text: str) -> str:
    return " ".join(" ".join(parsed(text).itertext()).split())


def listing(text: str) -> list[str]:
    return ["".join(one.itertext()) for one in parsed(text).iter(f"{XHTML}li")][-1000:]


def rows(text: str) -> dict[str, list[str]]:
    """Cells by the heading of their row."""
    found = {}
    for row in parsed(text).iter(f"{XHTML}tr"):
        cells = ["".join(cell.itertext()) for cell in row]
        found[cells[0]] = cells[1:]
    return found


def test_it_says_which_arm_what_when_by_whom_with_which_switches_and_how_it_ended() -> None:
    made = record(optional_stop=True, loops=3)
    found = rows(made)
    assert found["Arm"] == ["bench arm"]
    assert found["Program"] == ["prick_out_tray.nc"]
    assert found["SHA-256 of its text"] == [hashlib.sha256(PROGRAM.encode()).hexdigest()]
    assert found["Commanded by"] == ["the terminal of gardener@bench"]
    assert found["Began (UTC)"] == ["2026-05-01T10:00:20+00:00"]
    assert found["Took"] == ["10.500 s"]
    assert found["To be played"] == ["3 times"]
    assert found["Switch optional stop"] == ["on"]
    assert found["Switch block delete"] == ["off"]
    assert found["Played by Unisono"] == ["0.1.0"]
    assert "The run was played to its end." in words(made)


def test_loops_stand_with_their_times_what_held_the_slowest_up_and_who_interfered() -> None:
    production = {
        "done": 4,
        "mean_us": 9_500_000,
        "slowest": {
            "loop": 3,
            "lasted_us": 21_250_000,
            "delays": [{"kind": "held", "why": "operator", "lasted_us": 11_000_000}],
        },
        "interventions": {
            "holds": 1, "takeovers": 0, "other_holds": 0, "pauses": 0, "speed_changes": 2,
        },
    }  # fmt: skip
    made = record(
        loops=None, for_s=60.0, check_edges=True, production=production, starts_left_out=7,
        edges_passed={"elbow": 3}, edges_unconfirmed={"elbow": 1},
    )  # fmt: skip
    found = rows(made)
    assert found["To be played"] == ["loops begun for 60 s, home edges checked between loops"]
    assert found["Loops done"] == ["4"]
    assert found["Mean"] == ["9.5 s"]
    assert found["Slowest"] == ["loop 3, 21.2 s"]
    assert (found["Holds by people"], found["Changes of speed"]) == (["1"], ["2"])
    for told in (
        "held 11.0 s (operator)", "Of 7 starts in between nothing is kept",
        "was where it should be between loops: elbow: 3", "was not seen between loops: elbow: 1",
    ):  # fmt: skip
        assert told in words(made)
    before = record(loops=2, production=None)
    assert "To be played: 2 times." in words(before)
    assert "how long they took, is not kept" in words(before)


def test_starts_stand_with_their_skew_and_its_bound_joint_by_joint() -> None:
    found = rows(record())
    assert found["1, a start"] == [
        "1.000 s", "1", "0.000 s", "1", "240.0 ms", "310 µs", "820 µs"
    ]  # fmt: skip
    # The last row of the joint is that of heat and links.
    assert found["elbow"] == [
        "41.5 °C", "31.0 ms", "310.0 ms", "412 µs", "10.400 s", "software"
    ]  # fmt: skip
    assert "-140 µs" in words(record())
    unproved = plain(REPORT)["starts"][0] | {"start_skew_us": None, "start_skew_max_us": None}
    assert rows(record(starts=[unproved]))["1, a start"][-2:] == ["no estimate", "not proved"]


def starts_at(*at_s: float) -> list[dict[str, Any]]:
    one = plain(REPORT)["starts"][0] | {"joints": {}}
    return [one | {"at_us": round(at * 1e6)} for at in at_s]


def bars(made: str) -> list[tuple[float, float]]:
    """Where the bars of the course begin and end: those above its axis."""
    course = next(parsed(made).iter(f"{SVG}svg"))
    found = [one.attrib for one in course.iter(f"{SVG}rect") if one.get("height") == "12.0"]
    return [(float(one["x"]), float(one["x"]) + float(one["width"])) for one in found]


def test_starts_behind_those_left_out_keep_their_number_and_no_bar_goes_over_the_gap() -> None:
    began_s = plain(REPORT)["began_at_us"] / 1e6
    starts = starts_at(*(began_s + k for k in range(100)), *(began_s + 900 + k for k in range(100)))
    ended_us = round((began_s + 1000) * 1e6)
    made = record(starts=starts, starts_left_out=800, holds=[], ended_at_us=ended_us)
    found = rows(made)
    assert {"1, a start", "100, a start", "901, a start", "1000, a start"} <= found.keys()
    assert "101, a start" not in found
    assert found["901, a start"][0] == "900.000 s"
    drawn = bars(made)
    assert len(drawn) == 200
    assert drawn[99][1] < drawn[100][0] - 500
    assert "The drawing is dashed there." in words(made)


def test_a_bar_of_the_course_is_not_said_to_be_motion() -> None:
    made = words(record())
    assert "under way" not in made.partition("All starts")[0]
    assert "not all the time of a bar was motion" in made
    began_s = plain(REPORT)["began_at_us"] / 1e6
    holds = [plain(REPORT)["holds"][0] | {"at_us": round((began_s + 2) * 1e6)}]
    ended_us = round((began_s + 10) * 1e6)
    (bar,) = bars(record(starts=starts_at(began_s), holds=holds, ended_at_us=ended_us))
    assert bar == pytest.approx((76.0, 76.0 + 730.0 * 0.2), abs=0.2)


def test_holds_speeds_and_interventions_stand_with_cause_and_who() -> None:
    found = rows(record())
    assert found["4.000 s"] == ["the operator asked", "0 µs", "none"]
    assert found["3.000 s"] == ["50 %"]
    assert found["0.000 s"] == [
        "info",
        "play prick_out_tray.nc, run 1",
        "the terminal of gardener@bench",
    ]
    hot = plain(EVENT) | {"level": "attention", "message": "elbow is warm: 52.0 °C"}
    assert "Lines that ask for attention: 1." in words(record(journal=[hot]))


def test_program_stands_line_by_line_and_how_its_lines_end_is_said() -> None:
    made = record()
    assert listing(made)[-3:] == ["(one tray)", "G0 A-35 B-20", "M2"]
    assert "3 lines, 30 bytes in UTF-8, lines end with CR LF." in words(made)
    assert "1 line, 2 bytes in UTF-8, without a line end." in words(record("M2"))


def test_a_program_too_long_to_be_printed_is_known_by_its_lines_place_and_hash() -> None:
    program = "G0 A-35 B-20\n" * 80_000
    made = record(program, run=7)
    assert (
        "80000 lines, too long to be printed here; the text is at GET /runs/7/program, and is "
        f"known by its SHA-256, {hashlib.sha256(program.encode()).hexdigest()}."
    ) in words(made)
    assert "G0 A-35" not in made
    assert len(made) < 100_000
    just = "M2\n" + " " * (MAX_PROGRAM_BYTES - 3)
    assert listing(record(just))[-2] == "M2"


def test_a_stop_that_is_not_confirmed_stands_before_all_else() -> None:
    made = words(record(outcome="stopped", stop_unconfirmed=["elbow"], stop_level="stop"))
    assert made.index("STOP NOT CONFIRMED by elbow") < made.index("The run was stopped")


@pytest.mark.parametrize("outcome", ["playing", "held", "paused"])
def test_a_run_that_is_not_over_says_so_and_no_end(outcome: str) -> None:
    made = record(outcome=outcome, ended_at_us=None, ended_utc=None)
    assert "not over as this was written" in words(made)
    assert rows(made)["Ended (UTC)"] == ["not known"]
    assert "When the run ended, or whether it has." in words(made)


def test_what_is_not_known_is_said_never_shown_as_zero_or_left_out() -> None:
    old = {"run": 3, "name": "a.nc", "outcome": "finished", "message": ""}
    made = run_record(WhatIsKept(old, None, None, "2026-05-02T08:00:00+00:00", "0.1.0"))
    found = rows(made)
    for name in ("Arm", "Commanded by", "SHA-256 of its text", "Took", "To be played",
                 "Played from", "Switch optional stop", "Played by Unisono"):  # fmt: skip
        assert found[name] == ["not known"], name
    told = words(made)
    for sentence in (
        "Its text is not known.", "Which arm file the arm had", "Who commanded the run.",
        "No start of all joints is recorded.", "Whether the speed was changed is not known.",
        "Not known: the journal does not have this run.",
    ):  # fmt: skip
        assert sentence in told
    unwritten = [{"what": "event stop", "utc": "2026-05-01T10:00:30+00:00", "why": "disk full"}]
    assert "Not in the database: event stop" in words(record(unwritten=unwritten))


@pytest.mark.parametrize("bad", HOSTILE)
def test_hostile_text_stays_text_wherever_it_stands(bad: str) -> None:
    line = plain(EVENT) | {"message": bad, "who": bad, "level": bad}
    joint = plain(REPORT)["joints"][0] | {"name": bad, "firmware": bad}
    start = plain(REPORT)["starts"][0]
    start = start | {"joints": {bad: start["joints"]["elbow"]}}
    hold = plain(REPORT)["holds"][0] | {"cause": bad, "path_us": {bad: None}}
    made = record(
        f"G0 A1\n{bad}", [line], name=bad, message=bad, asked_by=bad, arm=bad, outcome=bad,
        joints=[joint], starts=[start], holds=[hold], stop_unconfirmed=[bad],
        unwritten=[{"what": bad, "utc": bad, "why": bad}],
    )  # fmt: skip
    root = parsed(made)
    assert made.encode("utf-8")
    tags = {element.tag.split("}")[-1] for element in root.iter()}
    assert tags <= {
        "html", "head", "meta", "title", "style", "body", "main", "section", "footer", "h1", "h2",
        "h3", "p", "ul", "ol", "li", "table", "thead", "tbody", "tr", "th", "td",
        "div", "svg", "rect", "text", "line", "path", "polygon",
    }  # fmt: skip
    attributes = {name for element in root.iter() for name in element.attrib}
    assert not {name for name in attributes if name.startswith("on")}
    assert attributes.isdisjoint({"src", "href", "style"})
    assert not re.search("[\u202a-\u202e\x00-\x08\x1b]", made)


def test_a_character_that_cannot_be_seen_is_shown_by_its_number() -> None:
    assert listing(record("G0 A1\n(\u202eM2)"))[-1] == "(⟨U+202E⟩M2)"
    assert digest("\u202e") == hashlib.sha256(b"\xe2\x80\xae").hexdigest()


def test_it_loads_nothing_and_runs_nothing() -> None:
    made = record()
    without_names = made.replace("http://www.w3.org/1999/xhtml", "").replace(
        "http://www.w3.org/2000/svg", ""
    )
    assert not re.search(r"https?:|url\(|@import|<script|<link|<iframe", without_names)
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', made)
    assert policy is not None
    assert policy[1].startswith("default-src 'none'; style-src 'sha256-")


SOME = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=6),
    lambda inner: (
        st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=4), inner, max_size=2)
    ),
    max_leaves=5,
)


@given(st.dictionaries(st.sampled_from(sorted(plain(REPORT))), SOME), st.text(max_size=20))
def test_whatever_the_database_holds_makes_a_record_that_can_be_read(
    changed: dict[str, Any], program: str
) -> None:
    parsed(record(program, None, **changed))


def test_it_says_how_many_holds_and_speeds_it_does_not_tell() -> None:
    told = words(record(holds_left_out=3, overrides_left_out=5))
    assert "Of 3 holds and 5 speeds in between nothing is kept" in told
    assert "in between nothing is kept" not in words(record())


def test_it_says_at_which_line_loop_and_part_a_stopped_run_was() -> None:
    found = words(record(outcome="stopped", line=7, loops=3, production={"done": 2}))
    assert "The program was last at line 7, loop 3 of 3." in found
    assert "The program was last" not in words(record(outcome="finished"))
    assert "last point of a part reached" in words(record(outcome="stopped"))
