"""The one table of alarms: complete, none without an action, and as the page for people has it."""

import importlib
import pkgutil
from pathlib import Path

import pytest

import coordinator.health
from coordinator.codes.level import Level
from coordinator.codes.priority import Priority
from coordinator.health import kinds
from coordinator.health.alarm_kind import Kind
from coordinator.health.kinds import KINDS
from coordinator.health.link import DOUBTED

PAGE = Path(__file__).parents[3] / "docs" / "alarms.md"
ALARMS = [kind for kind in KINDS if kind.priority is not Priority.JOURNAL]


def between(mark: str) -> str:
    """What stands on the page between two marks."""
    text = PAGE.read_text(encoding="utf-8")
    return text.partition(f"<!-- begin: {mark} -->\n")[2].partition(f"\n<!-- end: {mark} -->")[0]


def test_every_kind_that_there_is_stands_in_the_table() -> None:
    found = {
        value.code
        for module in pkgutil.iter_modules(coordinator.health.__path__)
        for value in vars(importlib.import_module(f"coordinator.health.{module.name}")).values()
        if isinstance(value, Kind)
    }
    assert found == set(kinds.BY_CODE)
    assert len(kinds.BY_CODE) == len(KINDS) >= 14


def test_the_page_for_people_has_the_table() -> None:
    assert between("alarms") == kinds.table()
    assert between("delays") == kinds.delays()


@pytest.mark.parametrize("kind", ALARMS, ids=lambda kind: kind.code)
def test_each_says_why_what_comes_of_it_and_what_to_do(kind: Kind) -> None:
    for words in (kind.cause, kind.consequence, kind.advice, kind.over, kind.dead_band):
        assert len(words) > 3
        assert not words.endswith(".")
    assert "|" not in kind.cause + kind.consequence + kind.advice + kind.dead_band
    # To wait is no action.
    assert not kind.advice.startswith("wait")


def test_what_asks_for_nothing_is_a_line_of_the_journal() -> None:
    assert [kind for kind in KINDS if not kind.advice] == [DOUBTED]
    assert DOUBTED.priority is Priority.JOURNAL


def test_what_stops_the_arm_or_leaves_it_limp_is_never_shelved_and_is_a_danger() -> None:
    never = {kind.code for kind in ALARMS if not kind.may_be_shelved}
    assert never == {"joint-offline", "motor-supply-lost", "joint-hot", "home-wandered"}
    assert {kind.code for kind in ALARMS if kind.level is Level.DANGER} == never


def test_the_most_pressing_come_first() -> None:
    order = list(Priority)
    places = [order.index(kind.priority) for kind in KINDS]
    assert places == sorted(places)


def test_the_sooner_somebody_must_act_the_sooner_it_begins() -> None:
    """By priority: 2 s for what is dangerous, a minute for the rest, at most."""
    most_s = {Priority.HIGH: 2.0, Priority.MEDIUM: 60.0, Priority.LOW: 60.0}
    assert all(kind.begin_after_us <= most_s[kind.priority] * 1e6 for kind in ALARMS)
