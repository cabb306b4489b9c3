"""docs/design.md says what the code does, and whoever cites it names something that is there."""

import importlib
import re
from functools import cache
from pathlib import Path
from typing import Final

import pytest

from protocol.constants import US
from protocol.ramp import Ramp
from tests.campaign.invariants import ALWAYS
from tests.campaign.invariants.base import Invariant

ROOT: Final = Path(__file__).parents[1]
DESIGN: Final = (ROOT / "docs" / "design.md").read_text(encoding="utf-8")
DEVELOPERS: Final = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PATH: Final = re.compile(r"`((?:coordinator|docs|protocol|simulator|tests)/[\w./]+)`")
PROSE, _, _TABLE = DESIGN.partition("<!-- table: figures -->")

FIGURE: Final = re.compile(r"(\d[\d.]*) ?(µs|ms|s|ppm|ppb|%)?\s\(`([A-Z][A-Z0-9_]+)`")
"""A figure in the text, its unit, and in brackets the constant that it is."""
SCALES: Final = {"µs": 1.0, "ms": 1e3, "s": 1e6, "ppm": 1.0, "%": 1e4, "ppb": 1.0, "": 1.0}
"""What one unit of the text is in that of the constant, µs or ppm."""
WHOLE_MS: Final = {"SKEW_LIMIT_MS"}

OTHERS: Final = ("tests/protocol/strategies.py",)
"""Where such a name means an integer of so many bits."""
CITED_IN: Final = ("coordinator", "protocol", "simulator", "tests", "deploy")
KINDS: Final = (".css", ".html", ".js", ".md", ".py", ".toml")
LINE_END: Final = re.compile(r'"?\n *(?:#|f?"(?!"))?')
"""With the marks of a comment or a text that goes on in the next line."""
SECTION: Final = r"\d+(?:\.\d+)?"
LOOSE: Final = re.compile(r"\b[Dd]esign\b")
CITATION: Final = re.compile(
    rf"\b[Dd]esign (?:sections? (?P<sections>{SECTION}(?:(?:,| and| to) {SECTION})*)"
    rf"|(?P<invariant>I\d+)\b)"
)


def constants() -> dict[str, tuple[str, float]]:
    """Module and value of every constant in the table of figures."""
    found: dict[str, tuple[str, float]] = {}
    for path, names in re.findall(r"^\| `(\S+)\.py` \| (.+) \|$", _TABLE, re.M):
        for name, value in re.findall(r"`(\w+)` ([\d.]+)", names):
            assert name not in found, f"{name} stands there twice"
            found[name] = path.replace("/", "."), float(value)
    return found


def headings() -> set[str]:
    """The numbers of all sections."""
    return set(re.findall(rf"^##+ ({SECTION})\.? ", DESIGN, re.M))


def invariants() -> dict[str, str]:
    """The invariants, each with its text."""
    return dict(re.findall(r"^\| (I\d+) \| ([^|]+) \|$", DESIGN, re.M))


def watched() -> dict[str, str]:
    """What watches each invariant."""
    return dict(re.findall(r"^\| (I\d+) \| [^|]+ \| ([^|]+) \|$", DESIGN, re.M))


@cache
def texts() -> tuple[tuple[str, str], ...]:
    """All that may cite the design: its name, and its text as one line without leading marks."""
    paths = [path for path in ROOT.glob("*.md") if path.name != "CHANGELOG.md"]
    for folder in CITED_IN:
        paths += [path for path in (ROOT / folder).rglob("*") if path.suffix in KINDS]
    found = []
    for path in sorted(paths):
        if path != Path(__file__) and not {"vendor", "__pycache__"} & set(path.parts):
            text = path.read_text(encoding="utf-8")
            whole = " ".join(LINE_END.sub(" ", text).split())
            found.append((str(path.relative_to(ROOT)), whole))
    return tuple(found)


def test_every_constant_of_the_design_has_its_value_in_the_code() -> None:
    assert len(constants()) > 50
    for name, (module, value) in constants().items():
        assert getattr(importlib.import_module(module), name) == value, name


def test_every_figure_in_the_text_is_the_constant_that_it_names() -> None:
    known = constants()
    figures = FIGURE.findall(" ".join(PROSE.split()))
    for number, unit, name in figures:
        scale = 1.0 if name in WHOLE_MS else SCALES[unit]
        assert float(number) * scale == pytest.approx(known[name][1]), f"{number} {unit} ({name})"
    named = set(re.findall(r"`([A-Z][A-Z0-9]*_[A-Z0-9_]+)`", PROSE))
    assert named <= {name for _, _, name in figures}
    assert {name for _, _, name in figures} == set(known)


def test_the_ramp_is_as_long_as_the_design_says() -> None:
    # 60 °/s and 120 °/s²: v/a is 0.5 s. The curve's own figures are in tests/protocol/test_ramp.py.
    ramp = Ramp.for_ratio(0.5)
    assert f"{ramp.duration_us / US:.2f} s and {ramp.path_us / US:.2f} s" in " ".join(PROSE.split())


def test_every_citation_of_the_design_names_a_section_or_an_invariant_that_is_there() -> None:
    cited = 0
    for name, text in texts():
        for found in CITATION.finditer(text):
            cited += 1
            for section in re.findall(SECTION, found["sections"] or ""):
                assert section in headings(), f"{name} cites design section {section}"
            assert found["invariant"] in (None, *invariants()), f"{name}: {found[0]}"
        for found in re.finditer(r"(?<![\w/])I1?\d\b", "" if name in OTHERS else text):
            assert found[0] in invariants(), f"{name} names {found[0]}"
    assert cited > 60


def test_code_cites_the_design_in_one_form_only() -> None:
    for name, text in texts():
        if "/" not in name:
            continue  # the pages for people may speak of it as they like
        rest = CITATION.sub("", text).replace("docs/design.md", "")
        loose = [rest[max(0, one.start() - 40) :][:80] for one in LOOSE.finditer(rest)]
        assert loose == [], f"{name} names no section of the design"


def test_every_file_that_the_design_or_a_first_change_names_is_there() -> None:
    recipes = DEVELOPERS.partition("## Your first change")[2].partition("## Testing")[0]
    assert len(PATH.findall(recipes)) > 25
    named = set(PATH.findall(DESIGN + recipes))
    links = set(re.findall(r"\]\((\.\./[\w./]+)", DESIGN))
    assert len(named) > 40
    missing = [one for one in named if not (ROOT / one).exists()]
    missing += [one for one in links if not (ROOT / "docs" / one).exists()]
    assert missing == []


def test_every_place_that_the_design_links_to_is_a_heading() -> None:
    places = {
        re.sub(r"[^\w\- ]", "", line.lower()).replace(" ", "-")
        for line in re.findall(r"^#+ (.+)$", DESIGN, re.M)
    }
    assert set(re.findall(r"\]\(#([^)]+)\)", DESIGN)) <= places


def test_every_invariant_has_a_rule_that_watches_it_or_says_who_does() -> None:
    assert list(invariants()) == [f"I{number}" for number in range(1, 13)]
    assert list(watched()) == list(invariants())
    rules = {rule.name: rule for rule in ALWAYS}
    for name, who in watched().items():
        rule = rules.get(name)
        assert (rule is None) == (name in ("I10", "I12")), name
        files = [one for one in re.findall(r"`([\w/.]+)`", who) if "/invariants/" in one]
        for one in files:
            module = importlib.import_module(one.removesuffix(".py").replace("/", "."))
            kinds = [kind for kind in vars(module).values() if isinstance(kind, type)]
            held = [getattr(kind, "name", "") for kind in kinds if issubclass(kind, Invariant)]
            assert name in held, f"{one} has no rule {name}"


def test_the_design_says_that_no_stop_is_an_emergency_stop() -> None:
    assert "**None of these is a safety-rated emergency stop**" in DESIGN
