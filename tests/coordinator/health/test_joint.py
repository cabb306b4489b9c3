"""What one status says of a joint, all kinds together."""

from dataclasses import replace

import pytest

from coordinator.health.joint import JointHealth
from coordinator.timing.link_quality import LinkQuality
from protocol.states import JointState
from protocol.status import Fault, Status
from tests.coordinator.health.joints import S, tip

WELL = Status(
    boot=1, sequence=1, state=JointState.READY, temperature_centi_c=3_000, supply_mv=24_000
)


def bad(health: JointHealth, status: Status, now: int = 0) -> set[str]:
    """The codes of what is bad."""
    found = health.findings(status, "", LinkQuality(), None, now)
    return {finding.kind.code for finding in found if finding.bad}


@pytest.mark.parametrize(
    ("changes", "codes"),
    [
        ({}, set()),
        ({"temperature_centi_c": None, "supply_mv": None}, set()),
        ({"temperature_centi_c": 5_100, "fan_percent": 100}, {"joint-warm"}),
        ({"temperature_centi_c": 5_100}, {"joint-warm", "fan-still"}),
        ({"temperature_centi_c": 5_900, "fan_percent": 100}, {"joint-warm", "joint-hot"}),
        ({"supply_mv": 19_900}, {"supply-low"}),
        ({"supply_mv": 40, "faults": Fault.SUPPLY_LOW}, {"motor-supply-lost"}),
        (
            {"temperature_centi_c": None, "faults": Fault.TEMPERATURE_SENSOR},
            {"temperature-implausible"},
        ),
        ({"faults": Fault.DRIVER}, set()),
    ],
)
def test_each_reading_is_judged_by_itself(changes: dict[str, object], codes: set[str]) -> None:
    assert bad(JointHealth(tip()), replace(WELL, **changes)) == codes  # type: ignore[arg-type]


@pytest.mark.parametrize("centi_c", [-5_000, 27_990])
def test_a_broken_sensor_says_nothing_of_how_warm_the_joint_is(centi_c: int) -> None:
    # What an open and a shorted TMP3x read over a 3.3 V converter (Analog Devices data sheet).
    broken = replace(WELL, temperature_centi_c=centi_c)
    assert bad(JointHealth(tip()), broken) == {"temperature-implausible"}


def test_a_reading_that_jumped_may_be_true_all_the_same() -> None:
    health = JointHealth(tip())
    assert bad(health, WELL) == set()
    jumped = replace(WELL, temperature_centi_c=5_900, fan_percent=100)
    assert bad(health, jumped, S) == {"temperature-implausible", "joint-warm", "joint-hot"}
