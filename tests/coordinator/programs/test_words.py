"""Lines and words of RS-274/NGC. Sections are those of NISTIR 6556."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.programs.words import MAX_LINE_LENGTH, lines_of, read_line


def words(text: str) -> list[tuple[str, float]]:
    line = read_line(text, 1)
    assert line.problems == ()
    return [(word.letter, word.value) for word in line.words]


def problems(text: str) -> list[tuple[int, str]]:
    return [(problem.column, problem.message) for problem in read_line(text, 1).problems]


def test_spaces_and_case_are_ignored_outside_comments() -> None:
    # §3.3: `g0x +0. 12 34y 7` = `g0 x+0.1234 y7`.
    assert words("g0x +0. 12 34y 7") == words("g0 x+0.1234 y7")
    assert words("g0x +0. 12 34y 7") == [("G", 0.0), ("X", 0.1234), ("Y", 7.0)]
    assert words("\tG\t0 \t1.\t5") == [("G", 1.5)]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("A5", 5.0), ("A+5", 5.0), ("A-5", -5.0), ("A5.", 5.0), ("A.5", 0.5), ("A-.5", -0.5),
        ("A+0.50", 0.5), ("A007", 7.0), ("A- 1 2 . 5", -12.5), ("A-0", 0.0),
    ],
)  # fmt: skip
def test_a_number_has_an_optional_sign_digits_and_at_most_one_point(
    text: str, value: float
) -> None:
    assert words(text) == [("A", value)]


@pytest.mark.parametrize(
    "text", ["G0 A1e-05 B-60", "G0 A1E-05", "G0 A1.e5", "G0 A1e+5", "G0 A1E5.5"]
)
def test_what_could_be_an_exponent_is_refused_and_not_read_as_a_joint(text: str) -> None:
    # §3.3.2.1 has no exponents, and by §3.3 `A1e-05` were A1 and E-5: as other languages print
    # 0.00001, a joint E would turn by 5°. E is no word of the standard, so refusing takes nothing.
    ((column, message),) = problems(text)
    assert column == 4
    assert "could be a number with an exponent" in message
    assert "write a space before E, or the number without an exponent" in message


@given(st.floats(allow_nan=False, allow_infinity=False).filter(lambda value: "e" in repr(value)))
def test_no_exponent_that_python_prints_is_read_as_a_word(value: float) -> None:
    assert len(problems(f"G0 A{value!r}")) == 1


def test_with_a_space_before_it_e_is_a_word() -> None:
    assert words("F1 E3") == [("F", 1.0), ("E", 3.0)]
    assert words("A1 E-05") == [("A", 1.0), ("E", -5.0)]
    assert words("E3A1") == [("E", 3.0), ("A", 1.0)]


def test_a_typographic_minus_is_named() -> None:
    ((column, message),) = problems("G0 A\u22125")
    assert column == 5
    assert message == "'\u2212' (U+2212) is no minus sign here: write '-'"
    ((column, message),) = problems("G0 A\u20135")
    assert message == "'\u2013' (U+2013) is no minus sign here: write '-'"


@pytest.mark.parametrize(
    "text",
    [
        "G1 A1.2.3 B B4 (x (y) N2 C.",
        "G1 A1 ; go down, then 3 more",
        "G1 A1 go down (to the (left) tray)",
        "G1 A1 #5=3",
        "(x (y) G1 A1)",
        "(\x07\x07 never closed",
    ],
)
def test_of_a_line_that_cannot_be_read_to_its_end_the_first_cause_is_told(text: str) -> None:
    assert len(problems(text)) == 1


def test_words_before_what_cannot_be_read_are_still_read() -> None:
    line = read_line("G1 A1 ? B2", 1)
    assert [word.text for word in line.words] == ["G1", "A1"]


def test_wrong_line_number_hides_nothing_behind_it() -> None:
    assert [column for column, _ in problems("N5.0 G1 ?")] == [1, 9]


@pytest.mark.parametrize("number", ["N1", "N00001", "n99999", "N 1 2", "N0"])
def test_a_line_number_has_one_to_five_digits_and_is_no_word(number: str) -> None:
    assert words(f"{number} G1") == [("G", 1.0)]
    assert words(f"  {number}") == []


def test_comments_stand_anywhere_between_words_and_hold_any_printable_character() -> None:
    assert words("(a) G1 (B2; /%[#) A1(ü\t–)") == [("G", 1.0), ("A", 1.0)]


def test_a_line_has_at_most_256_characters() -> None:
    assert MAX_LINE_LENGTH == 256  # §3.3
    fitting = "G1 (" + "x" * 251 + ")"
    assert len(fitting) == 256
    assert words(fitting) == [("G", 1.0)]
    assert problems(fitting + " ") == [(257, "the line has 257 characters, the limit is 256")]


def test_the_longest_number_is_still_finite() -> None:
    assert words("A" + "9" * 255)[0][1] == pytest.approx(1e255)


def test_columns_count_characters_of_the_file() -> None:
    line = read_line("  /N10 (ü) g1\tA 5", 3)
    assert line.deletable
    assert [(word.text, word.column) for word in line.words] == [("G1", 12), ("A5", 15)]


def test_lines_end_with_cr_lf_or_both() -> None:
    assert list(lines_of("G1\rG2\r\nG3\nG4\n")) == ["G1", "G2", "G3", "G4", ""]


def test_no_other_character_ends_a_line() -> None:
    assert len(list(lines_of("G1\x0bG2\x0cG3\x85G4\u2028G5"))) == 1


WORDS = st.tuples(
    st.sampled_from("ABCDEFGHIJKLMOPQRSTUVWXYZ"),
    st.sampled_from(["", "+", "-"]),
    st.from_regex(r"[0-9]{1,4}(\.[0-9]{0,4})?|\.[0-9]{1,4}", fullmatch=True),
)
FILL = st.sampled_from(["", "", " ", "\t", "  "])


@given(st.data(), st.lists(WORDS, max_size=8))
def test_words_read_back_however_they_are_spaced_cased_and_commented(
    data: st.DataObject, chosen: list[tuple[str, str, str]]
) -> None:
    text = data.draw(FILL)
    expected = []
    for letter, sign, digits in chosen:
        expected.append((letter, float(sign + digits), len(text) + 1, letter + sign + digits))
        text += data.draw(st.sampled_from([letter, letter.lower()]))
        for character in sign + digits:
            text += data.draw(FILL) + character
        text += data.draw(st.sampled_from(["", "", " ", "()", "(G1 A1)", " (x) "]))
    if len(text) > MAX_LINE_LENGTH:
        return
    line = read_line(text, 1)
    assert line.problems == ()
    assert [(w.letter, w.value, w.column, w.text) for w in line.words] == expected


@given(st.text(alphabet=st.sampled_from("GMNAF019.+-()/%;# \tü\x00x"), max_size=40))
def test_every_character_is_read_or_complained_of(text: str) -> None:
    line = read_line(text, 1)
    assert all(1 <= problem.column <= len(text) for problem in line.problems)
    if not line.problems and not line.deletable and "(" not in text:
        rest = "".join(text.upper().split())
        numbered = rest.removeprefix("N").lstrip("0123456789") if rest[:1] == "N" else rest
        assert "".join(word.text for word in line.words) == numbered
