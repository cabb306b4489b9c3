"""The joint in C does what the joint in Python does, whatever happens to both."""

from pathlib import Path

import pytest

from tests.joint_c.pair import Differs, Parted
from tests.joint_c.treatment import Treatment

STEPS = 12
SEEDS = 300
GROUPS = 10


def differs(program: Path, seed: int) -> str | None:
    """What differs after the sequence of a seed, and how it came to that; None for nothing."""
    treatment = Treatment(program, seed)
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
