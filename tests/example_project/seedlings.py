"""Prick out seedlings: from a seed tray at one side into the cells of a planting tray."""

import sys

from coordinator.client import Client

CELLS = 6
"""That the turntable reaches in the planting tray's row."""
SEEDS_DEG = -35.0
"""Turntable over the seed tray."""
FIRST_CELL_DEG = 22.0
CELL_DEG = 6.0

ABOVE = "B-20 C80 E-30"
IN_SOIL = "B-8 C86 E-44"


def tray(cells: int) -> str:
    """A program that fills so many cells, 1 to 6. Raises ValueError."""
    if not 1 <= cells <= CELLS:
        raise ValueError(f"cells is {cells}, but the arm reaches 1 to {CELLS}")
    lines = ["G90 G94"]
    for cell in range(cells):
        lines += [
            f"(seedling {cell + 1})",
            f"G0 A{SEEDS_DEG:g} {ABOVE}",
            f"G1 {IN_SOIL} F1800 (down beside the roots)",
            "U90 F3000 (take hold)",
            f"G1 {ABOVE} F1200 (lift slowly)",
            f"G0 A{FIRST_CELL_DEG + cell * CELL_DEG:g} (over the cell)",
            f"G1 {IN_SOIL} F1500 (set it in)",
            "U0 F3000 (let go)",
            f"G0 {ABOVE}",
        ]
    return "\n".join([*lines, "G0 A0", "M2", ""])


def prick_out(arm: Client, cells: int) -> str:
    """Home what is not homed, fill so many cells, and say how it went."""
    text = tray(cells)
    if away := [name for name, joint in arm.joints().items() if not joint.homed]:
        arm.home_and_wait(away)
    report = arm.play_and_wait(f"{cells} seedlings", text)
    return f"{cells} seedlings: {report.outcome}"


if __name__ == "__main__":
    with Client() as real_arm:
        print(prick_out(real_arm, int(sys.argv[1])))
