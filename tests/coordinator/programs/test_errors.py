"""Every mistake that the language knows: its text, its place, what is told, and the section.

Sections are those of NISTIR 6556, marked (m) where they are from memory; *dialect* is this
project's own.
"""

import pytest

from coordinator.programs import read_program
from coordinator.programs.standard import FUNCTIONS, MEANINGS

LETTERS = {
    "A": "turntable", "B": "shoulder", "C": "elbow", "D": "forearm", "E": "wrist", "U": "tool",
}  # fmt: skip
JOINTS = "; the joints are A B C D E U"
G_WORDS = "; there are G0 G1 G4 G61 G61.1 G64 G80 G90 G91 G93 G94"
M_WORDS = "; there are M0 M1 M2 M3 M5 M8 M9 M30 M60"
NO_END = "the program ends without M2 or M30, and without standing between two lines with %"
ACTIVE = "; there are (UNISONO, speed 40) and (UNISONO, A turntable)"
NOT_TAKEN = "and not taken here"
PARAMETER = f"'#' is a parameter (NISTIR 6556 §3.3.2.2), {NOT_TAKEN}: write the number"
EXPRESSION = f"'[' is an expression (NISTIR 6556 §3.3.2.3), {NOT_TAKEN}: write the number"
PERCENT = (
    "'%' may only stand alone: on the first line of a program, and then on the line that ends it, "
    "after which nothing is read"
)
ONE = "; a line may hold one"
FREE = "A is the letter of turntable too, by the arm file: give turntable another one"


def mistakes_of(text: str, letters: dict[str, str] = LETTERS) -> list[tuple[int, int, str]]:
    """The mistakes of lines that are put before an M2."""
    _, problems = read_program(text + "\nM2", letters)
    return [(one.line, one.column, one.message) for one in problems.told()]


LINES = [
    ("G0 A1" + " " * 252, 1, 257, "the line has 257 characters, the limit is 256", "3.3"),
    ("N G0 A1", 1, 1, "N is no line number: it has digits only", "3.3.1 (m)"),
    ("N-5 G0 A1", 1, 1, "N-5 is no line number: it has digits only", "3.3.1 (m)"),
    ("N5.0 G0 A1", 1, 1, "N5.0 is no line number: it has digits only", "3.3.1 (m)"),
    ("N000009 G0 A1", 1, 1, "line number N000009 has 6 digits, the limit is 5", "3.3"),
    ("G0 N5", 1, 4, "a line number N may only stand at the beginning of its line", "3.3"),
    ("(a) N5", 1, 5, "a line number N may only stand at the beginning of its line", "3.3"),
    ("G0 / A1", 1, 4, "'/' may only be the first character of a line", "3.3"),
    ("N5 / G0", 1, 4, "'/' may only be the first character of a line", "3.3"),
    ("G0 A1\n%", 2, 1, PERCENT, "3.1"),
    ("G0 A1 %", 1, 7, PERCENT, "3.1"),
]
COMMENTS = [
    ("G0 A1 (open", 1, 7, "the comment is not closed on its line", "3.3.4 (m)"),
    ("G0 (a (b) A1", 1, 7, "comments do not nest", "3.3"),
    ("G0 A1 )", 1, 7, "')' closes no comment", "3.3.4 (m)"),
    ("(a\x07b)", 1, 3, "a comment cannot hold the character U+0007", "3.3.4 (m)"),
    ("G0 A1 ; down", 1, 7, "';' begins no comment here: write comments in parentheses", "3.3"),
]
NUMBERS = [
    ("A", 1, 1, "A lacks a number", "3.3.2 (m)"),
    ("G0 A.", 1, 4, "A. lacks a number", "3.3.2.1 (m)"),
    ("G0 A+ B1", 1, 4, "A+ lacks a number", "3.3.2.1 (m)"),
    ("G0 A--1", 1, 4, "A- lacks a number", "3.3.2.1 (m)"),
    ("G0 A1.2.3", 1, 8, "'.3' is no part of a word", "3.3.2.1 (m)"),
    ("5", 1, 1, "'5' is no part of a word", "3.3.2 (m)"),
    ("G0 ü", 1, 4, "'ü' is no part of a word", "3.3 (m)"),
    ("G0 \x00", 1, 4, "'U+0000' is no part of a word", "3.3 (m)"),
    ("G0 A\uff11", 1, 4, "A lacks a number", "3.3.2.1 (m)"),
    ("G0 A#5", 1, 5, PARAMETER, "3.3.2.2 (m)"),
    ("G0 A1 #5=3", 1, 7, PARAMETER, "3.3.3 (m)"),
    ("G0 A[1+2]", 1, 5, EXPRESSION, "3.3.2.3 (m)"),
    ("G0 A- [1]", 1, 7, EXPRESSION, "3.3.2.3 (m)"),
    ("G0 A1 [2]", 1, 7, EXPRESSION, "3.3.2.3 (m)"),
]
MODES = [
    ("G0 G1 A1 F60", 1, 4, f"G1 and G0 are both of the group motion{ONE}", "3.3.5"),
    ("G80 G0 A1", 1, 5, f"G0 and G80 are both of the group motion{ONE}", "3.3.5"),
    ("G90 G91", 1, 5, f"G91 and G90 are both of the group distance mode{ONE}", "3.3.5"),
    ("G93 G94", 1, 5, f"G94 and G93 are both of the group feed rate mode{ONE}", "3.3.5"),
    ("G61 G64", 1, 5, f"G64 and G61 are both of the group path control mode{ONE}", "3.3.5"),
    ("G61 G61.1", 1, 5, f"G61.1 and G61 are both of the group path control mode{ONE}", "3.3.5"),
    ("G4 G4 P1", 1, 4, f"G4 and G4 are both of the group non-modal words{ONE}", "3.3.5"),
    ("M0 M30", 1, 4, f"M30 and M0 are both of the group stopping{ONE}", "3.3.5"),
    ("M1 M60", 1, 4, f"M60 and M1 are both of the group stopping{ONE}", "3.3.5"),
    ("M3 M5", 1, 4, f"M5 and M3 are both of the group spindle turning{ONE}", "3.3.5"),
    ("M8 M9", 1, 4, f"M9 and M8 are both of the group coolant{ONE}", "3.3.5"),
    ("G0 A1 A1", 1, 7, "A stands twice on this line", "3.3.5"),
    ("F60 F60", 1, 5, "F stands twice on this line", "3.3.5"),
    ("G4 P1 P1", 1, 7, "P stands twice on this line", "3.3.5"),
]
WORDS = [
    ("G0", 1, 1, "G0 moves no joint", "3.5.1"),
    ("F60\nG1", 2, 1, "G1 moves no joint", "3.5.2"),
    ("A5", 1, 1, "A5 moves a joint before any G0 or G1", "3.5.1 (m)"),
    (
        "G80 G90 B2 A1",
        1,
        9,
        "B2 stands on the line of G80, which ends the motion mode",
        "3.5.15",
    ),
    (
        "G0 A1\nG80\nA2\nA3",
        3,
        1,
        "A2 moves a joint, but G80 on line 2 ended the motion mode, and no G0 or G1 came since",
        "3.5.15 (m)",
    ),
    ("G1 A1", 1, 1, "G1 needs a feed rate F, and none has been set in G94", "2.1.2.5"),
    (
        "G1 A1 F60\nG93 A2 F2\nG94\nA3",
        4,
        1,
        "G1 needs a feed rate F, and none has been set in G94",
        "dialect",
    ),
    ("G93\nG1 A1", 2, 1, "in G93 every line that moves by G1 needs its own F", "3.5.19"),
    ("G93 G1 A1 F2\nA2", 2, 1, "in G93 every line that moves by G1 needs its own F", "3.5.19"),
    ("G1 A1 F0", 1, 7, "feed rate F0 is not above zero", "3.7.1 (m)"),
    ("F-60", 1, 1, "feed rate F-60 is not above zero", "3.7.1 (m)"),
    ("G93 F0", 1, 5, "feed rate F0 is not above zero", "3.5.19 (m)"),
    ("G4", 1, 1, "G4 needs a time P in seconds", "3.5.4"),
    ("G4 P-0.1", 1, 4, "a dwell of -0.1 s is negative", "3.5.4"),
    ("G0 A1 P3", 1, 7, "P3 belongs to no G4 or G64 on this line", "3.5.4 (m)"),
    ("G61 P1", 1, 5, "P1 belongs to no G4 or G64 on this line", "3.5.14"),
    ("G61.1 P1", 1, 7, "P1 belongs to no G4 or G64 on this line", "3.5.14"),
    ("G64 P0", 1, 5, "a tolerance of 0° in G64: above 0 and up to 45° are possible", "dialect"),
    ("G64 P-1", 1, 5, "a tolerance of -1° in G64: above 0 and up to 45° are possible", "dialect"),
    (
        "P45.1G64",
        1,
        1,
        "a tolerance of 45.1° in G64: above 0 and up to 45° are possible",
        "dialect",
    ),
    ("G4 G64 P1", 1, 8, "P1 may be of G4 or of G64: give each a line of its own", "dialect"),
    ("G4 G64", 1, 1, "G4 needs a time P in seconds", "3.5.4"),
]
SPEED = "(UNISONO, speed …) belongs to a line that moves by G0"
DIALECT = [
    ("G0 A1 (UNISONO, speed 0)", 1, 7, "a speed of 0 %: above 0 and up to 100 are possible"),
    ("G0 A1 (UNISONO, speed 100.1 %)", 1, 7,
     "a speed of 100.1 %: above 0 and up to 100 are possible"),
    ("G0 A1 (UNISONO, spede 40)", 1, 7, f"(UNISONO, spede 40) is not known{ACTIVE}"),
    ("G0 A1 (UNISONO, speed 40) (UNISONO, speed 50)", 1, 27,
     "a second speed on one line; the first is 40 %"),
    ("G0 A1 (UNISONO, speed -4)", 1, 7, f"(UNISONO, speed -4) is not known{ACTIVE}"),
    ("G0 A1 (UNISONO, speed \uff14)", 1, 7, f"(UNISONO, speed \uff14) is not known{ACTIVE}"),
    ("(UNISONO, AB turntable)", 1, 1, f"(UNISONO, AB turntable) is not known{ACTIVE}"),
    ("(UNISONO, A turntable, B elbow)", 1, 1,
     f"(UNISONO, A turntable, B elbow) is not known{ACTIVE}"),
    ("(UNISONO,)", 1, 1, f"(UNISONO,) is not known{ACTIVE}"),
    ("G1 A1 F60 (UNISONO, speed 40)", 1, 11, SPEED),
    ("(UNISONO, speed 40)", 1, 1, SPEED),
    ("G0 A1\nG80 (UNISONO, speed 40)", 2, 5, SPEED),
    ("(UNISONO, X knee)", 1, 1,
     "there is no joint knee; this arm has turntable shoulder elbow forearm wrist tool"),
    ("(UNISONO, X elbow)\n (UNISONO, X tool)", 2, 2, "X is elbow already, by line 1"),
    ("(UNISONO, X elbow)(UNISONO, Y elbow)", 1, 19, "elbow has the letter X already, by line 1"),
    ("(UNISONO, S elbow)", 1, 1,
     "S can be no joint's letter: F G M N O P S T mean something in every program"),
    ("(x)\n(UNISONO, A elbow)\nG0 A1", 2, 1, FREE),
    ("(UNISONO, A elbow)", 1, 1, FREE),
    ("G0 A1\n(UNISONO, X elbow)", 2, 1,
     "the letter of elbow is given too late: the first motion is on line 1"),
    ("G0 X1 (UNISONO, X elbow)", 1, 7,
     "the letter of elbow is given too late: the first motion is on line 1"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "line", "column", "message"),
    [
        *(row[:4] for row in (*LINES, *COMMENTS, *NUMBERS, *MODES, *WORDS)),
        *DIALECT,
    ],
)
def test_each_mistake_of_the_language_is_told_at_its_place(
    text: str, line: int, column: int, message: str
) -> None:
    found = mistakes_of(text)
    assert (line, column, message) in found
    if text != "G0 X1 (UNISONO, X elbow)":  # where X1 is another mistake
        assert len(found) == 1


@pytest.mark.parametrize("text", ["", "G0 A1", "%\nG0 A1", "(M2)"])
def test_a_program_without_an_end_is_a_mistake(text: str) -> None:
    # §3.1.
    _, problems = read_program(text, LETTERS)
    assert [one.message for one in problems.told()] == [NO_END]


ARC, CYCLE, PLACES = "3.5.3", "3.5.16", "3.5.13"
STANDARD = [
    ("G2", "arc", ARC), ("G3", "arc", ARC), ("G10", "coordinate system", "3.5.5"),
    ("G17", "plane", "3.5.6"), ("G18", "plane", "3.5.6"), ("G19", "plane", "3.5.6"),
    ("G20", "inches", "3.5.7"), ("G21", "millimetres", "3.5.7"),
    ("G28", "home", "3.5.8"), ("G30", "home", "3.5.8"), ("G38.2", "probe", "3.5.9"),
    ("G40", "cutter radius", "3.5.10"), ("G41", "cutter radius", "3.5.10"),
    ("G42", "cutter radius", "3.5.10"), ("G43", "tool length", "3.5.11"),
    ("G49", "tool length", "3.5.11"), ("G53", "machine coordinates", "3.5.12"),
    *((f"G{code}", "coordinate system", PLACES) for code in (54, 55, 56, 57, 58, 59)),
    *((f"G59.{code}", "coordinate system", PLACES) for code in (1, 2, 3)),
    *((f"G{code}", "cycle", CYCLE) for code in range(81, 90)),
    ("G92", "offset", "3.5.18"), ("G92.1", "offset", "3.5.18"), ("G92.2", "offset", "3.5.18"),
    ("G92.3", "offset", "3.5.18"), ("G98", "cycle", "3.5.20"), ("G99", "cycle", "3.5.20"),
    ("M4", "spindle", "3.6.2"), ("M6", "tool change", "3.6.3"), ("M7", "coolant", "3.6.4"),
    ("M48", "override", "3.6.5"), ("M49", "override", "3.6.5"),
    ("H", "tool length", "3.5.11"), ("I", "arc", ARC), ("J", "arc", ARC), ("K", "arc", ARC),
    ("L", "cycle", CYCLE), ("Q", "peck", CYCLE), ("R", "arc", ARC),
    ("S", "spindle speed", "3.7.2"), ("T", "tool", "3.7.3"),
    ("X", "linear axis", "3.5.1"), ("Y", "linear axis", "3.5.1"), ("Z", "linear axis", "3.5.1"),
]  # fmt: skip
"""All from memory: code, a part of its plain name, section."""


@pytest.mark.parametrize(("code", "part", "section"), STANDARD)
def test_each_other_word_of_the_standard_is_refused_by_what_it_is(
    code: str, part: str, section: str
) -> None:
    word = code if len(code) > 1 else f"{code}1"
    ((line, column, message),) = mistakes_of(f"F60\n (x) {word} M9")
    assert (line, column) == (2, 6)
    assert message.startswith(f"{word} is ")
    assert part in message
    assert f"(NISTIR 6556 §{section}), {NOT_TAKEN}" in message
    assert message.endswith(JOINTS if len(code) == 1 else NOT_TAKEN)


def test_letters_of_the_standard_are_refused_where_no_joint_has_them() -> None:
    for letter, what in (("A", "rotary axis"), ("B", "rotary"), ("C", "rotary"), ("D", "radius")):
        _, problems = read_program(f"G0 X1 {letter}5\nM2", {"X": "only"})
        (problem,) = problems.told()
        assert (problem.line, problem.column) == (1, 7)
        assert what in problem.message


def test_the_table_of_the_standard_is_tested_whole() -> None:
    assert {code for code, _, _ in STANDARD} == set(MEANINGS) - set("ABCD")


@pytest.mark.parametrize(
    ("word", "more"),
    [
        *((word, G_WORDS) for word in ("G5", "G73", "G-1", "G0.5", "G61.2", "G1000", "G92.4")),
        *((word, M_WORDS) for word in ("M10", "M99", "M-1", "M0.5", "M98")),
        *((word, JOINTS) for word in ("V1", "W2", "O100")),
    ],
)
def test_what_the_standard_does_not_have_is_said_to_be_no_word_of_it(word: str, more: str) -> None:
    assert mistakes_of(f"F60\n {word}") == [(2, 2, f"{word} is no word of RS-274/NGC{more}")]


@pytest.mark.parametrize("name", FUNCTIONS)
def test_each_function_of_the_standard_is_refused_by_name(name: str) -> None:
    # §3.3.2.4 (m).
    told = f"{name} is a function (NISTIR 6556 §3.3.2.4), {NOT_TAKEN}: write the number"
    assert mistakes_of(f"G0 A {name}[30]") == [(1, 6, told)]
    assert mistakes_of(f"g0a{' '.join(name.upper())} [30]") == [(1, 4, told)]


@pytest.mark.parametrize("comment", ["(MSG, mind the tray)", "(DEBUG, 5)", "(msg,)", "(PRINT,#1)"])
def test_messages_of_the_standard_are_comments_that_do_nothing(comment: str) -> None:
    # §3.3.4 (m).
    assert mistakes_of(f"{comment}\nG0 A1 {comment}") == []
