"""Power cuts while a board in C gets firmware, for as long as one likes.

`python -m tests.bench.joint_c_updates BUILD COUNT` pulls a board COUNT times, each at a random
instant of an update of its own; BUILD is a build folder of deploy/joint. It prints what the
coordinator had heard last, what came up afterwards and with how much of the image it went on. Exit
code 1 where a board did not come up, had lost something, or could not be updated then.
"""

import random
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

import tests.own  # noqa: F401 - a DNS-SD service of its own
from tests.joint_c.update_cuts import Cut, Found, Phase, Update, cut_at_random
from tests.joint_c.updated import NEW, Updated, set_up
from tests.joint_c.updating import Gone, Rejected, Signed, signed

AFRESH_AFTER = 50
"""Cuts, after which it is measured anew how long an update takes."""


def main(build: Path, count: int) -> int:
    image = signed((build / "joint-next").read_bytes(), NEW)
    done: list[Update] = []
    failed = 0
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        memory = set_up(build, folder / "first")
        span_s = 0.0
        for seed in range(count):
            if seed % AFRESH_AFTER == 0:
                span_s = uncut_s(memory, build, folder / "whole", image)
            try:
                draw = random.Random(seed)
                done.append(cut_at_random(memory, build, folder / "cut", image, draw, span_s))
            except (AssertionError, Gone, Rejected) as error:
                failed += 1
                print(f"cut {seed}: {type(error).__name__}: {error}", flush=True)
            shutil.rmtree(folder / "cut", ignore_errors=True)
    print(table(done, len(image.data)))
    print(f"{count} cuts, {failed} after which a board was not as it must be")
    return 1 if failed else 0


def uncut_s(memory: Path, build: Path, folder: Path, image: Signed) -> float:
    """Seconds that a whole update takes, from power to the confirmation."""
    whole = Cut(Updated.copy_of(memory, build, folder), image)
    if whole.play() is not None or whole.update.phase is not Phase.CONFIRMED:
        raise RuntimeError("an update to which nothing happens was not finished")
    shutil.rmtree(folder)
    return whole.update.took_s


def table(done: list[Update], size_bytes: int) -> str:
    """How often what came up, by what had been heard last."""
    found = Counter((one.phase, one.found) for one in done)
    heads = [one.value for one in Found]
    lines = [f"{'the coordinator had heard last':32} " + " ".join(f"{h:>24}" for h in heads)]
    for phase in Phase:
        cells = " ".join(f"{found[phase, one]:>24}" for one in Found)
        lines.append(f"{phase.value:32} {cells}")
    parts = [one.kept for one in done if 0 < one.kept < size_bytes]
    whole = sum(one.kept == size_bytes for one in done)
    lines.append(f"went on within the image: {len(parts)}, with all of it there: {whole}")
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]).resolve(), int(sys.argv[2])))
