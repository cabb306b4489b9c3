"""Lines of keys in TOML, and reading values with complaints that name them."""

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from coordinator.config.toml_table import Complaints, KeyPath, Table, locate

EXAMPLE = '''# a comment with [brackets] and "quotes"
title = "a # is no comment here"

[owner]
"full name" = 'literal \\ text'
born.year = 1970   # dotted
notes = """
[not.a.table]
key = "neither" """
after = [1, [2,
  3], # comment, ]
  { deep = true },
]

[[fruit]]
name = "plum"
size = { width = 2, height = { value = 3 } }

[fruit.shape]
round = true

[[fruit]]
name = "pear"
'''


def test_every_key_and_element_of_an_example_has_its_line() -> None:
    lines = locate(EXAMPLE)
    assert lines["title",] == 2
    assert lines["owner",] == 4
    assert lines["owner", "full name"] == 5
    assert lines["owner", "born", "year"] == 6
    assert lines["owner", "notes"] == 7
    assert lines["owner", "after"] == 10
    assert lines["owner", "after", 1, 1] == 11
    assert lines["owner", "after", 2, "deep"] == 12
    assert lines["fruit", 0] == 15
    assert lines["fruit", 0, "name"] == 16
    assert lines["fruit", 0, "size", "height", "value"] == 17
    assert lines["fruit", 0, "shape"] == 19
    assert lines["fruit", 0, "shape", "round"] == 20
    assert lines["fruit", 1] == 22
    assert lines["fruit", 1, "name"] == 23


def paths_of(value: object, path: KeyPath = ()) -> set[KeyPath]:
    """All paths in what tomllib made of a text."""
    inner: list[tuple[str | int, object]] = []
    if isinstance(value, dict):
        inner = list(value.items())
    elif isinstance(value, list):
        inner = list(enumerate(value))
    return {path}.union(*(paths_of(item, (*path, key)) for key, item in inner))


def test_the_located_paths_are_those_that_tomllib_finds() -> None:
    assert set(locate(EXAMPLE)) == paths_of(tomllib.loads(EXAMPLE))


SCALARS = st.sampled_from(
    ["1", "-2.5e3", "true", '"a,b]}#"', "'x'", "1979-05-27 07:32:00", '""', "inf", '"""\n[a]\n"""']
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: "[" + ",\n ".join(items) + "]"),
        st.lists(inner, max_size=3).map(
            lambda items: "[ # list\n" + "".join(f"{item} , # ]\n" for item in items) + "]"
        ),
        st.lists(inner.filter(lambda text: "\n" not in text), max_size=3).map(
            lambda items: "{" + ", ".join(f"k{n} = {item}" for n, item in enumerate(items)) + "}"
        ),
    ),
    max_leaves=8,
)
KEYS = st.sampled_from(["a", "b-1", '"q.r"', "'s t'", "n.m", 'x . "y"'])
TABLES = st.tuples(
    st.sampled_from(["[t]", "[t.u]", "[[rows]]", "[[rows]]", "[rows.part]"]),
    st.dictionaries(KEYS, VALUES, max_size=4),
)


@given(st.dictionaries(KEYS, VALUES, max_size=4), st.lists(TABLES, max_size=5))
def test_each_path_of_any_valid_text_is_located_on_the_line_it_was_written_on(
    top: dict[str, str], tables: list[tuple[str, dict[str, str]]]
) -> None:
    # Independent of `locate`: the line is known from writing the text down.
    text = ""
    expected: list[tuple[str, int]] = []
    for header, pairs in [("", top), *tables]:
        if header:
            text += f"{header}\n"
        for key, value in pairs.items():
            expected.append((key, text.count("\n") + 1))
            text += f"{key} = {value}\n"
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return  # such as a table that is defined twice
    lines = locate(text)
    assert set(lines) == paths_of(values)
    written = sorted(line for _, line in expected)
    finals = {"a", "b-1", "q.r", "s t", "m", "y"}
    found = sorted(
        line
        for path, line in lines.items()
        if path and path[-1] in finals and isinstance(path[-1], str)
    )
    assert found == written


def read(text: str) -> tuple[Table, Complaints]:
    complaints = Complaints("file.toml", locate(text))
    return Table(tomllib.loads(text), (), "thing:", complaints), complaints


def test_a_number_out_of_bounds_is_complained_of_with_limit_and_value() -> None:
    table, complaints = read("\nspeed_deg_s = 70\n")
    table.number("speed_deg_s", 0.0, 60.0, "°/s")
    assert complaints.sentences() == (
        "file.toml:2: thing: speed_deg_s is 70, but must be 0 to 60 °/s",
    )


def test_true_and_texts_and_not_a_number_are_no_numbers() -> None:
    table, complaints = read('a = true\nb = "60"\nc = nan\nd = inf\ne = 1.0\n')
    for key in "abcd":
        table.number(key, 0.0, 60.0)
    table.integer("e", 0, 60)
    assert [sentence.split(":")[1] for sentence in complaints.sentences()] == list("12345")


def test_a_huge_integer_is_complained_of_like_any_other() -> None:
    table, complaints = read(f"a = {'9' * 400}\n")
    table.number("a", 0.0, 60.0)
    (sentence,) = complaints.sentences()
    assert sentence.startswith("file.toml:1: thing: a is 999")
    assert len(sentence) < 120


def test_an_unknown_key_is_complained_of_with_the_nearest_known_one() -> None:
    table, complaints = read("velocity_rpm = 10\n")
    table.has("velocity_deg_s")
    table.finish()
    (sentence,) = complaints.sentences()
    assert sentence == (
        "file.toml:1: thing: has an unknown key velocity_rpm; "
        "the nearest that is known is velocity_deg_s"
    )
