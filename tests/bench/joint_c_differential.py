"""The joint in C against the one in Python, for as long as one likes.

`python -m tests.bench.joint_c_differential PROGRAM FIRST COUNT` plays the sequences of so many
seeds from FIRST on to both; PROGRAM is `build/sequence` of deploy/joint. Prints every seed at which
they differ; exit code 1 where there is one.
"""

import sys
from pathlib import Path

from tests.joint_c.test_differential import STEPS, differs


def main(program: str, first: str, count: str) -> int:
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
