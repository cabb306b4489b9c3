"""Reading TOML so that every complaint names the line it is about.

`tomllib` tells a line only for a syntax error. `locate` finds the line of every key and element
of a text that `tomllib` accepts; `Table` reads values with their types and bounds and collects
what is wrong instead of stopping at the first.
"""

import difflib
import math
import re
import tomllib
from bisect import bisect_right
from collections.abc import Sequence
from typing import Final

from coordinator.config.mistake import Mistake

KeyPath = tuple[str | int, ...]

_KEY: Final = re.compile(r"""[A-Za-z0-9_-]+|"(?:\\.|[^"\\])*"|'[^']*'""")
_BLANK: Final = re.compile(r"[ \t]*")
_GAP: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR: Final = re.compile(
    r'''"""(?:\\.|[^\\])*?"{3,5}|\'\'\'.*?'{3,5}|"(?:\\.|[^"\\])*"|'[^']*'|[^,\]}#\r\n]+''',
    re.DOTALL,
)


def locate(text: str) -> dict[KeyPath, int]:
    """The line, from 1, of every table, key and element of a valid TOML text.

    A path holds keys and indices: `("joints", 2, "homing", "fast_deg_s")`. TOML 1.0.
    """
    return _Locator(text).run()


class _Locator:
    """Walks a text that is known to be valid, so it need not check anything."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.starts = [0, *(match.end() for match in re.finditer("\n", text))]
        self.lines: dict[KeyPath, int] = {(): 1}
        self.lengths: dict[KeyPath, int] = {}

    def run(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        while self._skip(_GAP) < len(self.text):
            if self._take("["):
                is_array = self._take("[")
                table = self._open(self._keys(), is_array)
                self.at += 2 if is_array else 1
            else:
                self._pair(table)
        return self.lines

    def _skip(self, pattern: re.Pattern[str]) -> int:
        found = pattern.match(self.text, self.at)
        if found is None:
            raise AssertionError(f"no valid TOML at character {self.at}")
        self.at = found.end()
        return self.at

    def _take(self, sign: str) -> bool:
        taken = self.text.startswith(sign, self.at)
        self.at += taken
        return taken

    def _note(self, path: KeyPath) -> None:
        self.lines.setdefault(path, bisect_right(self.starts, self.at))

    def _keys(self) -> list[str]:
        keys: list[str] = []
        while True:
            self._skip(_BLANK)
            begin = self.at
            self._skip(_KEY)
            raw = self.text[begin : self.at]
            keys.append(next(iter(tomllib.loads(f"{raw} = 0"))))
            self._skip(_BLANK)
            if not self._take("."):
                return keys

    def _open(self, keys: list[str], is_array: bool) -> KeyPath:
        path: KeyPath = ()
        for k, key in enumerate(keys):
            path = (*path, key)
            self._note(path)
            if is_array and k == len(keys) - 1:
                self.lengths[path] = self.lengths.get(path, 0) + 1
            if path in self.lengths:
                path = (*path, self.lengths[path] - 1)
                self._note(path)
        return path

    def _pair(self, table: KeyPath) -> None:
        begin = self.at
        path = table
        for key in self._keys():
            path = (*path, key)
            self.lines.setdefault(path, bisect_right(self.starts, begin))
        self.at += 1  # the equals sign
        self._skip(_BLANK)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        if self._take("["):
            index = 0
            while self._skip(_GAP) is not None and not self._take("]"):
                self._note((*path, index))
                self._value((*path, index))
                self._skip(_GAP)
                self._take(",")
                index += 1
        elif self._take("{"):
            while self._skip(_GAP) is not None and not self._take("}"):
                self._pair(path)
                self._skip(_GAP)
                self._take(",")
        else:
            self._skip(_SCALAR)


class Complaints:
    """Mistakes with their lines, or remarks, for one file."""

    def __init__(self, file_name: str, lines: dict[KeyPath, int]) -> None:
        self._file_name = file_name
        self._lines = lines
        self._found: list[tuple[int, str]] = []

    def add(self, path: KeyPath, sentence: str) -> None:
        """Complain about a key; one that is absent is looked for in the table around it."""
        while path not in self._lines:
            path = path[:-1]
        self._found.append((self._lines[path], sentence))

    def mistakes(self) -> tuple[Mistake, ...]:
        """All of them, in the order of the file."""
        ordered = sorted(self._found, key=lambda found: found[0])
        return tuple(Mistake(sentence, self._file_name, line) for line, sentence in ordered)

    def sentences(self) -> tuple[str, ...]:
        """`file:line: sentence` for all of them, in the order of the file."""
        return tuple(mistake.sentence for mistake in self.mistakes())


class Table:
    """One table, read key by key; `finish` then complains of keys that nobody read.

    A value that is absent or wrong is complained of and replaced by one that fails no further
    comparison (NaN, 0, an empty text), so that one slip makes one complaint.
    """

    def __init__(self, value: object, path: KeyPath, label: str, complaints: Complaints) -> None:
        self._values: dict[str, object] = value if isinstance(value, dict) else {}
        self._path = path
        self.label = label
        """With which its complaints begin."""
        self._complaints = complaints
        self._known: set[str] = set()
        self._usable = isinstance(value, dict)
        if not self._usable:
            self.complain(None, "must be a table of keys and values")

    def complain(self, key: str | None, sentence: str) -> None:
        """Complain of a key of this table, or of the table itself."""
        path = self._path if key is None else (*self._path, key)
        self._complaints.add(path, f"{self.label} {sentence}".strip())

    def has(self, key: str) -> bool:
        """Whether the key is there; asking makes it a known one."""
        self._known.add(key)
        return key in self._values

    def value(self, key: str) -> object | None:
        """The raw value, or None after a complaint that it is absent."""
        if self.has(key):
            return self._values[key]
        if self._usable:
            self.complain(key, f"lacks {key}")
        return None

    def number(
        self, key: str, low: float, high: float, unit: str = "", *, above: bool = False
    ) -> float:
        """A number from `low` (or just above it) to `high`, or NaN after a complaint."""
        value = self.value(key)
        if value is None:
            return math.nan
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.complain(key, f"{key} is {show(value)}, but must be a number")
            return math.nan
        if not (low < value if above else low <= value) or not value <= high:
            bounds = f"above {low:g} and at most {high:g}" if above else f"{low:g} to {high:g}"
            self.complain(key, f"{key} is {show(value)}, but must be {bounds} {unit}".rstrip())
            return math.nan
        return float(value)

    def integer(self, key: str, low: int, high: int) -> int:
        """A whole number from `low` to `high`, or 0 after a complaint."""
        value = self.value(key)
        if value is None:
            return 0
        if isinstance(value, bool) or not isinstance(value, int):
            self.complain(key, f"{key} is {show(value)}, but must be a whole number")
            return 0
        if not low <= value <= high:
            self.complain(key, f"{key} is {show(value)}, but must be {low} to {high}")
            return 0
        return value

    def boolean(self, key: str) -> bool:
        """True or false, or False after a complaint."""
        value = self.value(key)
        if value is not None and not isinstance(value, bool):
            self.complain(key, f"{key} is {show(value)}, but must be true or false")
        return value is True

    def sign(self, key: str) -> int:
        """1 or −1, or 0 after a complaint."""
        value = self.value(key)
        if value is None:
            return 0
        if isinstance(value, bool) or not isinstance(value, int) or value not in (-1, 1):
            self.complain(key, f"{key} is {show(value)}, but must be 1 or -1")
            return 0
        return value

    def text(self, key: str, pattern: str, meaning: str) -> str:
        """A text that matches a pattern wholly, or an empty one after a complaint."""
        value = self.value(key)
        if value is None:
            return ""
        if not isinstance(value, str) or re.fullmatch(pattern, value) is None:
            self.complain(key, f"{key} is {show(value)}, but must be {meaning}")
            return ""
        return value

    def texts(self, key: str, pattern: str, meaning: str) -> tuple[str, ...]:
        """A list of such texts, without those complained of."""
        found: list[str] = []
        for value in self.items(key):
            if isinstance(value, str) and re.fullmatch(pattern, value):
                if value in found:
                    self.complain(key, f"{key} names {value} twice")
                found.append(value)
            else:
                self.complain(key, f"{key} holds {show(value)}, but each must be {meaning}")
        return tuple(found)

    def items(self, key: str) -> Sequence[object]:
        """A list, or an empty one after a complaint."""
        value = self.value(key)
        if value is None:
            return ()
        if not isinstance(value, list):
            self.complain(key, f"{key} is {show(value)}, but must be a list")
            return ()
        return value

    def table(self, key: str, label: str) -> "Table | None":
        """A table within this one, or None after a complaint that it is absent."""
        value = self.value(key)
        if value is None:
            return None
        return Table(value, (*self._path, key), label, self._complaints)

    @property
    def names(self) -> tuple[str, ...]:
        """All keys of the table, none if it is not one."""
        return tuple(self._values)

    def finish(self) -> None:
        """Complain of every key that was not asked for."""
        for key in self._values:
            if key in self._known:
                continue
            near = difflib.get_close_matches(key, sorted(self._known), n=1, cutoff=0.5)
            hint = f"; the nearest that is known is {near[0]}" if near else ""
            self.complain(key, f"has an unknown key {key}{hint}")


def show(value: object) -> str:
    """A value as a file would write it, cut to what fits a sentence."""
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 40 else text[:37] + "…"
