"""Links that break for long: the joints come back by themselves."""

from typing import Final

from tests.e2e.harness import until
from tests.lab.lab import Lab
from tests.lab.scale import often

GAPS: Final = often(1, 10)
"""In `make lab` more than a coordinator keeps handshakes of, after which none of its joints comes
back, until that is mended (`test_found_in_the_lab.py`)."""
GAP_S: Final = 12.0
"""Longer than either end waits for the other's pong, so that both give the stream up."""
BACK_S: Final = 10.0
"""From the end of the gap, which is told to be one long before it ends."""


def test_joints_come_back_from_a_gap_in_which_their_streams_ended(lab: Lab) -> None:
    lab.serve()
    lab.until_ready()
    for _ in range(GAPS):
        for name in lab.joints:
            lab.link(name).cut(GAP_S)
        until(lambda: all(joint["link"] == "offline" for joint in lab.states().values()), "the gap")
        until(lambda: not any(lab.link(name).is_cut for name in lab.joints), "the gap's end")
        lab.until_ready(BACK_S)
        lab.plays()
