"""A small part of the bench's table of alarms, and that it can tell bad ones."""

import pytest

from protocol.constants import US
from tests.bench.alarm_faults import FAULTS, Fault
from tests.bench.alarms import Begun, Case, Shift, Spell, judge, missed, shift

SHORT = tuple(one for one in FAULTS if one.name in ("supply sags to 19 V", "no motor supply"))
QUICK = Fault("sags", lambda *_: None, 10, frozenset({"supply-low"}))


def test_a_short_shift_with_faults_tells_each_soon_and_no_more() -> None:
    found = shift(Case(1, 0.18, SHORT, joints=2))
    # How many there are in ten minutes says nothing of so short a time.
    assert (found.missed, found.false, found.chatter, found.floods_told) == ([], [], 0, 0)
    assert len(found.alarms) == 2
    assert found.plays > 3
    # The delay of its kind, and a look of a second or a little more before and after it.
    (sags_us,) = found.told_us["supply sags to 19 V"]
    (gone_us,) = found.told_us["no motor supply"]
    assert 3 * US <= sags_us <= 6 * US
    assert 0 <= gone_us <= 2 * US


def test_a_quiet_time_has_no_alarm() -> None:
    found = shift(Case(2, 0.1, (), joints=2))
    assert (found.alarms, missed([found])) == ([], [])
    assert found.plays > 2


def a_shift(*seconds: float, hours: float = 1.0) -> Shift:
    """One whose alarms began then, all explained."""
    return Shift(hours, 1, [Begun(round(s * US), f"joint{k}", "x") for k, s in enumerate(seconds)])


def test_too_many_alarms_a_flood_and_chatter_are_told() -> None:
    assert missed([a_shift(0, 700, 1400)]) == []
    assert "1.17 alarms in ten minutes" in missed([a_shift(*range(0, 3500, 500))])[0]
    flood = a_shift(*range(0, 600, 60), hours=24.0)
    assert "a flood, 10 alarms within ten minutes" in missed([flood])[0]
    chatter = a_shift(0, 20, 60, hours=24.0)
    chatter.alarms = [Begun(one.at_us, "tip", "x") for one in chatter.alarms]
    assert missed([chatter]) == ["shift 0: an alarm chatters"]


@pytest.mark.parametrize(
    ("alarm", "told"),
    [
        (Begun(105 * US, "tip", "supply-low"), []),
        (Begun(105 * US, "base", "supply-low"), ["nobody was told: sags of tip", "a false alarm"]),
        (Begun(105 * US, "tip", "joint-hot"), ["nobody was told: sags of tip", "a false alarm"]),
        (Begun(99 * US, "tip", "supply-low"), ["nobody was told: sags of tip", "a false alarm"]),
        (Begun(900 * US, "tip", "supply-low"), ["nobody was told: sags of tip", "a false alarm"]),
    ],
)
def test_an_alarm_is_false_where_no_fault_of_its_joint_explains_it(
    alarm: Begun, told: list[str]
) -> None:
    found = Shift(24.0, 1, [alarm])
    judge(found, [Spell(QUICK, "tip", 100 * US)])
    said = missed([found])
    assert [words in one for words, one in zip(told, said, strict=True)] == [True] * len(told)
