"""Steps as a program's text. Reading it gives the same steps again, but for lines and columns."""

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal

from coordinator.programs.steps import Dwell, End, Move, Output, PathControl, Pause, Step
from coordinator.programs.words import MAX_LINE_LENGTH


def print_program(steps: Iterable[Step], letters: Sequence[str], title: str = "") -> str:
    """The text, under a comment with its title if there is one.

    `letters` are the joints', base to tool. Numbers have all their digits; only the time of a G93
    move may come back with its last binary digit another one, as F is its inverse. Raises
    ValueError for a move that takes more characters than a line may have.
    """
    printer = _Printer(letters)
    lines = [f"({title})"] * (title != "") + ["G90 G94"]
    for step in steps:
        lines += printer.lines(step)
    for line in lines:
        if len(line) > MAX_LINE_LENGTH:
            raise ValueError(f"{line[:40]}… has {len(line)} characters, of {MAX_LINE_LENGTH}")
    return "\n".join([*lines, ""])


class _Printer:
    """The modes in force: a word for one stands only where another one comes."""

    def __init__(self, letters: Sequence[str]) -> None:
        self._letters = letters
        self._distance = "G90"
        self._feed_mode = "G94"
        self._path_control = PathControl.EXACT_STOP.value

    def lines(self, step: Step) -> Iterator[str]:
        match step:
            case Move():
                yield from self._modes(step)
                yield self._move(step)
            case Dwell():
                yield f"G4 P{number(step.seconds)}"
            case Output():
                yield step.word
            case Pause():
                yield "M1" if step.optional else "M0"
            case End():
                yield "M2"

    def _modes(self, move: Move) -> Iterator[str]:
        path_control = move.path_control.value
        if move.tolerance_deg is not None:
            path_control += f" P{number(move.tolerance_deg)}"
        if path_control != self._path_control:
            self._path_control = path_control
            yield path_control
        distance = "G91" if move.relative else "G90"
        if distance != self._distance:
            self._distance = distance
            yield distance
        feed_mode = "G94" if move.nominal_s is None else "G93"
        if feed_mode != self._feed_mode and not move.rapid:
            self._feed_mode = feed_mode
            yield feed_mode

    def _move(self, move: Move) -> str:
        words = ["G0" if move.rapid else "G1"]
        words += [f"{self._letters[one.joint]}{number(one.degrees)}" for one in move.targets]
        if move.feed_deg_min is not None:
            words.append(f"F{number(move.feed_deg_min)}")
        if move.nominal_s is not None:
            words.append(f"F{number(60.0 / move.nominal_s)}")
        if move.comment:
            words.append(f"({move.comment})")
        if move.share != 1.0:
            words.append(f"(UNISONO, speed {_digits(Decimal(repr(move.share)) * 100)})")
        return " ".join(words)


def number(value: float) -> str:
    """All digits that the value needs, without an exponent, as the language has none."""
    return _digits(Decimal(repr(value)))


def _digits(value: Decimal) -> str:
    digits = f"{value:f}"
    return digits.rstrip("0").rstrip(".") if "." in digits else digits
