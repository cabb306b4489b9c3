"""The joint in C does what the joint in Python does, whatever happens to both."""

from pathlib import Path

import pytest

from tests.joint_c.pair import Differs, Parted
from tests.joint_c.update_treatment import UpdateTreatment

STEPS = 12
SEEDS = 300
GROUPS = 10
UPDATE_SEEDS = 100
UPDATE_GROUPS = 4


def differs(program: Path, seed: int, *, alone: bool = False) -> str | None:
    """What differs after the sequence of a seed, and how it came to that; None for nothing.

    `alone`: of updates, and of nothing else that would need a joint that moves.
    """
    treatment = UpdateTreatment(program, seed, alone=alone)
    try:
        treatment.play(STEPS)
    except Parted:
        treatment.pair.end()
    except Differs as difference:
        lines = "\n".join(line[:150] for line in treatment.pair.log[-12:])
        return f"seed {seed}: {difference}\nstate {treatment.pair.joint.state.word}, after\n{lines}"
    return None


@pytest.mark.parametrize("group", range(GROUPS))
def test_both_joints_do_the_same_whatever_happens(joint_build: Path, group: int) -> None:
    share = SEEDS // GROUPS
    found = [
        differs(joint_build / "sequence", seed)
        for seed in range(group * share, (group + 1) * share)
    ]
    assert not [one for one in found if one is not None][:1]


@pytest.mark.parametrize("group", range(UPDATE_GROUPS))
def test_both_joints_take_the_same_firmware_whatever_happens(joint_build: Path, group: int) -> None:
    share = UPDATE_SEEDS // UPDATE_GROUPS
    found = [
        differs(joint_build / "sequence", seed, alone=True)
        for seed in range(group * share, (group + 1) * share)
    ]
    assert not [one for one in found if one is not None][:1]
