"""The joint in C does what the joint in Python does, whatever happens to both.

`python -m tests.joint_c.test_differential PROGRAM FIRST COUNT` does it for so many seeds from FIRST on.
"""

import sys
from pathlib import Path

import pytest

from tests.joint_c.pair import Differs, Parted
from tests.joint_c.treatment import Treatment

STEPS = 12
SEEDS = 300
GROUPS = 10


def differs(program: Path, seed: int) -> str | None:
    """What differs after the sequence of a seed, and how it came to that; None where nothing does."""
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
    found = [differs(joint_build / "sequence", seed) for seed in range(group * share, (group + 1) * share)]
    assert not [one for one in found if one is not None][:1]


def main(program: str, first: str, count: str) -> int:
    """The long run: prints every seed at which the joints differ; exit code 1 where there is one."""
    found = 0
    for seed in range(int(first), int(first) + int(count)):
        difference = differs(Path(program), seed)
        if difference is not None:
            found += 1
            print(difference, flush=True)
    print(f"{count} sequences of {STEPS} steps, {found} differ")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:4]))
