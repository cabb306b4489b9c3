"""From a program's text to the words on its lines (RS-274/NGC, NISTIR 6556 §3.1 to §3.3).

A line is: an optional `/`, an optional line number, then words and comments. Spaces, tabs and
the case of letters mean nothing outside comments. A word is a letter and a number; a number has
an optional sign, digits and at most one decimal point, at least one digit, and no exponent.
What could be one is refused: `A1e-05` is A1 and E-5 to the letter, and hardly ever meant so.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from coordinator.config.problems import Problem
from coordinator.programs.standard import FUNCTIONS

MAX_LINE_LENGTH: Final = 256
"""Characters (NISTIR 6556 §3.3)."""
MAX_LINE_DIGITS: Final = 5
"""Digits of a line number (NISTIR 6556 §3.3)."""

_END_OF_LINE: Final = re.compile(r"\r\n|\r|\n")
_BLANKS: Final = re.compile(r"[ \t]*")
NUMBER: Final = re.compile(r"[ \t]*[+-]?(?:[ \t]*[0-9])*(?:[ \t]*\.(?:[ \t]*[0-9])*)?")
_EXPONENT: Final = re.compile(r"(?<=[0-9.])[Ee][+-]?[0-9]+")
_FOREIGN: Final = re.compile(r"[^A-Za-z \t();#\[]+")
_FUNCTION: Final = re.compile(
    "[ \t]*(" + "|".join("[ \t]*".join(name) for name in FUNCTIONS) + r")[ \t]*\[", re.IGNORECASE
)
_STANDARD: Final = {
    "#": "'#' is a parameter (NISTIR 6556 §3.3.2.2), and not taken here: write the number",
    "[": "'[' is an expression (NISTIR 6556 §3.3.2.3), and not taken here: write the number",
}
"""What may begin a number in the standard."""
_MINUSES: Final = "\u2010\u2011\u2012\u2013\u2014\u2212\ufe63\uff0d"
"""What looks like a minus sign, and is another character."""


@dataclass(frozen=True, slots=True)
class Word:
    """A letter with its number."""

    letter: str
    """Upper case."""
    value: float
    column: int
    """Of the letter, from 1."""
    text: str
    """As written, without blanks and in upper case."""


@dataclass(frozen=True, slots=True)
class Comment:
    """What stands between two parentheses."""

    column: int
    """Of the first of them, from 1."""
    text: str


@dataclass(frozen=True, slots=True)
class Line:
    """The words of one line, without its line number."""

    number: int
    """In the file, from 1."""
    words: tuple[Word, ...]
    problems: tuple[Problem, ...]
    deletable: bool
    """It begins with a slash: not executed while the operator's block delete switch is on."""
    comments: tuple[Comment, ...] = ()
    line_number: Word | None = None
    """Its N word."""


def lines_of(text: str) -> Iterator[str]:
    """Lines without their ends, which are CR, LF or both (NISTIR 6556 §3.3), one by one."""
    begin = 0
    for end in _END_OF_LINE.finditer(text):
        yield text[begin : end.start()]
        begin = end.end()
    yield text[begin:]


def count_lines(text: str) -> int:
    """How many lines a person sees: a line end at the end of a file begins no other."""
    count, last = 0, ""
    for line in lines_of(text):
        count, last = count + 1, line
    return count - (last == "")


def missing_line(line: int, text: str) -> Problem | None:
    """Why a program cannot begin from a line; None where its text has that line."""
    count = count_lines(text)
    if 1 <= line <= count:
        return None
    lines = "1 line" if count == 1 else f"{count} lines"
    sentence = f"the line to begin from is {line}, but the program has {lines}, counted from 1"
    return Problem(max(line, 1), 1, sentence)


def read_line(text: str, number: int) -> Line:
    """The words of one line, up to the first thing that cannot be one: that is a problem.

    What stands behind it is not read, as it may only make sense together with it. Never raises.
    """
    return _LineReader(text, number).read()


class _LineReader:
    def __init__(self, text: str, number: int) -> None:
        self.text = text
        self.number = number
        self.at = 0
        self.words: list[Word] = []
        self.problems: list[Problem] = []
        self.comments: list[Comment] = []
        self.line_number: Word | None = None

    def read(self) -> Line:
        if len(self.text) > MAX_LINE_LENGTH:
            self._problem(
                MAX_LINE_LENGTH,
                f"the line has {len(self.text)} characters, the limit is {MAX_LINE_LENGTH}",
            )
            return Line(self.number, (), tuple(self.problems), False)
        self._skip_blanks()
        deletable = self.text.startswith("/", self.at)
        if deletable:
            self.at += 1
            self._skip_blanks()
        if self.text[self.at : self.at + 1] in ("N", "n"):
            self._line_number()
        known = len(self.problems)
        while len(self.problems) == known and self._skip_blanks() < len(self.text):
            self._item()
        return Line(
            self.number,
            tuple(self.words),
            tuple(self.problems),
            deletable,
            tuple(self.comments),
            self.line_number,
        )

    def _problem(self, at: int, message: str) -> None:
        self.problems.append(Problem(self.number, at + 1, message))

    def _skip_blanks(self) -> int:
        self.at = _end(_BLANKS, self.text, self.at)
        return self.at

    def _number(self) -> str:
        """The number that follows, without its blanks; empty or without a digit if none does."""
        begin = self.at
        self.at = _end(NUMBER, self.text, begin)
        return re.sub(r"[ \t]", "", self.text[begin : self.at])

    def _line_number(self) -> None:
        begin = self.at
        self.at += 1
        digits = self._number()
        if not digits.isdigit():
            self._problem(begin, f"N{digits} is no line number: it has digits only")
        elif len(digits) > MAX_LINE_DIGITS:
            self._problem(
                begin,
                f"line number N{digits} has {len(digits)} digits, the limit is {MAX_LINE_DIGITS}",
            )
        else:
            self.line_number = Word("N", float(digits), begin + 1, f"N{digits}")

    def _item(self) -> None:
        sign = self.text[self.at]
        if sign == "(":
            self._comment()
        elif sign.isascii() and sign.isalpha():
            self._word()
        elif sign == ";":
            self._problem(self.at, "';' begins no comment here: write comments in parentheses")
        elif sign == ")":
            self._problem(self.at, "')' closes no comment")
        elif sign in _STANDARD:
            self._problem(self.at, _STANDARD[sign])
        else:
            foreign = self.text[self.at : _end(_FOREIGN, self.text, self.at)]
            self._problem(self.at, _foreign(foreign))

    def _comment(self) -> None:
        begin = self.at
        close = self.text.find(")", begin)
        nested = self.text.find("(", begin + 1, close if close >= 0 else None)
        self.at = close + 1 if close >= 0 else len(self.text)
        for k in range(begin, self.at):
            if not (self.text[k].isprintable() or self.text[k] == "\t"):
                self._problem(k, f"a comment cannot hold the character U+{ord(self.text[k]):04X}")
                return
        if close < 0:
            self._problem(begin, "the comment is not closed on its line")
        elif nested >= 0:
            self._problem(nested, "comments do not nest")
        else:
            self.comments.append(Comment(begin + 1, self.text[begin + 1 : close]))

    def _word(self) -> None:
        begin = self.at
        letter = self.text[begin].upper()
        self.at += 1
        number = self._number()
        if letter == "N":
            self._problem(begin, "a line number N may only stand at the beginning of its line")
        elif not any(sign.isdigit() for sign in number):
            self._no_number(begin, letter + number)
        elif exponent := _EXPONENT.match(self.text, self.at):
            self._problem(
                begin,
                f"{self.text[begin : exponent.end()]} could be a number with an exponent, and "
                "there are none: write a space before E, or the number without an exponent",
            )
        else:
            # At most 256 characters, so the value is always finite.
            self.words.append(Word(letter, float(number), begin + 1, letter + number))

    def _no_number(self, begin: int, word: str) -> None:
        """Of a word without one, where something else stands that the standard has."""
        at = _end(_BLANKS, self.text, self.at)
        function = _FUNCTION.match(self.text, self.at)
        follows = self.text[at : at + 1]
        if follows in _STANDARD:
            self._problem(at, _STANDARD[follows])
        elif follows and follows in _MINUSES:
            named = f"'{follows}' (U+{ord(follows):04X})"
            self._problem(at, f"{named} is no minus sign here: write '-'")
        elif function is not None:
            name = re.sub(r"[ \t]", "", function[1]).lower()
            told = f"{name} is a function (NISTIR 6556 §3.3.2.4), and not taken here"
            self._problem(function.start(1), f"{told}: write the number")
        else:
            self._problem(begin, f"{word} lacks a number")


def _end(pattern: re.Pattern[str], text: str, begin: int) -> int:
    found = pattern.match(text, begin)
    return found.end() if found else begin


def _foreign(signs: str) -> str:
    if signs == "%":
        return (
            "'%' may only stand alone: on the first line of a program, and then on the line that "
            "ends it, after which nothing is read"
        )
    if signs.startswith("/"):
        return "'/' may only be the first character of a line"
    shown = signs if signs.isprintable() else " ".join(f"U+{ord(sign):04X}" for sign in signs)
    return f"'{shown}' is no part of a word"
