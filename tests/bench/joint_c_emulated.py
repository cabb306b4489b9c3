"""What the joint in C costs on an emulated controller.

`python -m tests.bench.joint_c_emulated FOLDER` builds it in FOLDER, which holds the `sequence` of
this machine (`make -C deploy/joint emulate` does both), plays one whole start to it and prints
code, state, stack and instructions. Exit code 1 where it does anything else than on this machine.
"""

import sys
from pathlib import Path

from tests.joint_c.emulated import answers_of, build, costs, missing, run, size, whole_start


def main(folder: Path) -> int:
    if (sentence := missing()) is not None:
        print(sentence, file=sys.stderr)
        return 2
    build(folder)
    lines, wanted = whole_start(folder / "sequence")
    answers = answers_of(run(folder / "sequence.elf", lines, folder))
    spent = costs(lines, answers)
    for answer in answers:
        del answer["instructions"], answer["stack"]
    differ = sum(one != other for one, other in zip(answers, wanted, strict=True))
    found = size(folder)
    print(f"{len(lines)} events of a whole start, {differ} answered otherwise than here")
    print(
        f"code {found.code} bytes, of the cable {found.cable_code}, of images {found.image_code}; "
        f"state {found.state} bytes, of images {found.image_state}"
    )
    print(f"{'event':10} {'times':>5} {'mean':>9} {'most':>9} instructions {'stack':>5} bytes")
    for kind, cost in spent.items():
        print(f"{kind:10} {cost.count:5} {cost.mean:9} {cost.most:9} {'':12} {cost.stack:5}")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
